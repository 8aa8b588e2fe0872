package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"

	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

type syncStatusCommand struct {
	clientFlags
}

func (syncStatusCommand) Help() string {
	return `How the copy of each squad on this computer stands. Needs no network.

    unsent     goes at the next sync
    waiting    was sent, and goes again when the record it refers to is there
    refused    the server said no: laneward sync refused
    conflicts  changed here and elsewhere: laneward sync conflicts

Example:

    laneward sync status`
}

// statusReport is what sync status prints with --json.
type statusReport struct {
	File   string        `json:"file"`
	Squads []squadStatus `json:"squads"`
}

type squadStatus struct {
	squadReport
	Member   bool   `json:"member"`
	SyncedAt string `json:"synced_at,omitempty"`
}

// Run tells how the copies stand.
func (c *syncStatusCommand) Run(ctx context.Context, env environment) error {
	return c.withCopy(ctx, env, func(conn *copyConnection) error {
		all, err := conn.Status(ctx)
		if err != nil {
			return err
		}
		if conn.json {
			return conn.printStatus(all)
		}
		if len(all) == 0 {
			conn.say("There is nothing on this computer yet: run laneward sync with a network.")
			return nil
		}
		list := newTable("squad", "last sync", "records>", "unsent>", "waiting>", "refused>", "conflicts>")
		some := func(n int) string {
			if n == 0 {
				return ""
			}
			return strconv.Itoa(n)
		}
		for _, s := range all {
			last := "never"
			switch {
			case !s.Member:
				last = "you left it"
			case !s.SyncedAt.IsZero():
				last = clockTime(s.SyncedAt)
			}
			list.add(s.Name, last, strconv.Itoa(s.Records), some(s.Queued), some(s.Waiting), some(s.Refused), some(s.Conflicts))
		}
		if err := conn.printTable(list); err != nil {
			return err
		}
		if err := conn.tellWaiting(ctx); err != nil {
			return err
		}
		conn.say("\nThe copy is in %s.", conn.File())
		return nil
	})
}

func (c *copyConnection) printStatus(all []local.Status) error {
	report := statusReport{File: c.File(), Squads: []squadStatus{}}
	for _, s := range all {
		one := squadStatus{Member: s.Member, squadReport: squadReport{
			SquadID: s.ID, Name: s.Name, Rev: s.Rev, Records: s.Records, Queued: s.Queued, Waiting: s.Waiting, Refused: s.Refused, Conflicts: s.Conflicts,
		}}
		if !s.SyncedAt.IsZero() {
			one.SyncedAt = s.SyncedAt.UTC().Format("2006-01-02T15:04:05Z07:00")
		}
		report.Squads = append(report.Squads, one)
	}
	text, err := json.Marshal(report)
	if err != nil {
		return fmt.Errorf("write the status: %w", err)
	}
	return c.printJSON(text)
}

// tellWaiting says what waits, and for what: many shots mostly wait for one session.
func (c *copyConnection) tellWaiting(ctx context.Context) error {
	waiting, err := c.Pending(ctx, local.Waiting)
	if err != nil || len(waiting) == 0 {
		return err
	}
	count := make(map[string]int)
	var why []string
	for _, p := range waiting {
		text := reasons(p.Reasons)
		if count[text]++; count[text] == 1 {
			why = append(why, text)
		}
	}
	c.say("")
	for _, text := range why {
		c.say("%s waiting: %s.", verb(count[text], "is", "are"), text)
	}
	return nil
}

// asideFlags name changes that were set aside.
type asideFlags struct {
	clientFlags
	Numbers []int64 `arg:"" optional:"" name:"number" help:"The change, by its number in the list; several for one decision on all."`
}

// chosen are the changes in a state that were named; all when none was.
func (f asideFlags) chosen(ctx context.Context, c *copyConnection, state local.State) ([]local.Pending, error) {
	all, err := c.Pending(ctx, state)
	if err != nil || len(f.Numbers) == 0 {
		return all, err
	}
	chosen := make([]local.Pending, 0, len(f.Numbers))
	for _, number := range f.Numbers {
		at := slices.IndexFunc(all, func(p local.Pending) bool { return p.Number == number })
		if at < 0 {
			return nil, &client.Error{Code: client.NotFound, Detail: fmt.Sprintf("there is no change %d in the list", number)}
		}
		chosen = append(chosen, all[at])
	}
	return chosen, nil
}

// one holds that a decision which is written out is for one change.
func (f asideFlags) one(flag string) error {
	if len(f.Numbers) != 1 {
		return usage("%s is for one change: name it by its number in the list", flag)
	}
	return nil
}

type syncRefusedCommand struct {
	asideFlags
	Edit bool   `help:"Mend it in your editor ($VISUAL or $EDITOR), and put it back into the queue."`
	Body string `placeholder:"JSON" help:"The mended record: JSON, a file's name, or - for stdin. It goes back into the queue."`
	Drop bool   `help:"Give it up. It is gone then."`
}

func (syncRefusedCommand) Help() string {
	return `Changes that the server refused, with the reason. They stay here until you mend or drop them; a mended one goes at the next sync. Named by its number one is printed as JSON.

Examples:

    laneward sync refused
    laneward sync refused 12
    laneward sync refused 12 --edit
    laneward sync refused 12 --body mended.json
    laneward sync refused 12 13 --drop`
}

// Run lists, mends or drops refused changes.
func (c *syncRefusedCommand) Run(ctx context.Context, env environment) error {
	if countTrue(c.Edit, c.Body != "", c.Drop) > 1 {
		return usage("choose one of --edit, --body and --drop")
	}
	return c.withCopy(ctx, env, func(conn *copyConnection) error {
		chosen, err := c.chosen(ctx, conn, local.Refused)
		switch {
		case err != nil:
			return err
		case c.Edit:
			if err := c.one("--edit"); err != nil {
				return err
			}
			return conn.mend(ctx, chosen, func(p local.Pending) ([]byte, error) { return edit(ctx, env, p.Mine) })
		case c.Body != "":
			if err := c.one("--body"); err != nil {
				return err
			}
			return conn.mend(ctx, chosen, func(local.Pending) ([]byte, error) { return readBody(env, c.Body) })
		case c.Drop:
			if len(c.Numbers) == 0 {
				return usage("say which to drop, by their numbers in the list")
			}
			return conn.drop(ctx, chosen)
		case len(c.Numbers) > 0:
			return conn.printBodies(chosen)
		}
		return conn.listRefused(ctx, chosen)
	})
}

func countTrue(flags ...bool) (n int) {
	for _, flag := range flags {
		if flag {
			n++
		}
	}
	return n
}

func (c *copyConnection) listRefused(ctx context.Context, all []local.Pending) error {
	if c.json {
		return c.printPending(all)
	}
	if len(all) == 0 {
		c.say("Nothing was refused.")
		return nil
	}
	list := newTable("number>", "change", "why, and how to mend it")
	for _, p := range all {
		title, err := c.titleOf(ctx, p)
		if err != nil {
			return err
		}
		if p.Mine == nil {
			title = "delete " + title
		}
		number := strconv.FormatInt(p.Number, 10)
		for _, why := range reasonLines(p.Reasons) {
			list.add(number, title, why)
			number, title = "", ""
		}
	}
	if err := c.printTable(list); err != nil {
		return err
	}
	c.say("\nMend one with laneward sync refused NUMBER --edit, or give it up with --drop.")
	return nil
}

// pendingReport is a change that was set aside, as printed with --json.
type pendingReport struct {
	Number  int64           `json:"number"`
	SquadID string          `json:"squad_id"`
	Kind    client.Kind     `json:"kind"`
	ID      string          `json:"id"`
	State   local.State     `json:"state"`
	Mine    json.RawMessage `json:"mine,omitempty"`
	Theirs  json.RawMessage `json:"theirs,omitempty"`
	Reasons any             `json:"reasons"`
}

func (c *copyConnection) printPending(all []local.Pending) error {
	list := make([]pendingReport, len(all))
	for i, p := range all {
		list[i] = pendingReport{p.Number, p.Squad.String(), p.Kind, p.ID.String(), p.State, p.Mine, p.Theirs, p.Reasons}
	}
	text, err := json.Marshal(map[string]any{"items": list})
	if err != nil {
		return fmt.Errorf("write the list: %w", err)
	}
	return c.printJSON(text)
}

func (c *copyConnection) printBodies(chosen []local.Pending) error {
	if c.json {
		return c.printPending(chosen)
	}
	for _, p := range chosen {
		body := p.Mine
		if body == nil {
			c.say("Change %d deletes %s %s.", p.Number, p.Kind, p.ID)
			continue
		}
		var indented bytes.Buffer
		if err := json.Indent(&indented, body, "", "  "); err != nil {
			return fmt.Errorf("write the record: %w", err)
		}
		for _, why := range reasonLines(p.Reasons) {
			c.say("%s", why)
		}
		if err := c.print(indented.String() + "\n"); err != nil {
			return err
		}
	}
	return nil
}

// mend puts what of makes of each change into the queue.
func (c *copyConnection) mend(ctx context.Context, chosen []local.Pending, of func(local.Pending) ([]byte, error)) error {
	for _, p := range chosen {
		body, err := of(p)
		if err != nil {
			return err
		}
		if err := c.Resolve(ctx, p.Number, body); err != nil {
			return err
		}
	}
	c.say("%s in the queue: laneward sync sends it.", verb(len(chosen), "change is", "changes are"))
	return nil
}

func (c *copyConnection) drop(ctx context.Context, chosen []local.Pending) error {
	for _, p := range chosen {
		title, err := c.titleOf(ctx, p)
		if err != nil {
			return err
		}
		if err := c.Drop(ctx, p.Number); err != nil {
			return err
		}
		c.say("Gave up your change to %s.", title)
	}
	return nil
}

// readBody reads a record that was written out: JSON, or the name of a file that holds it.
func readBody(env environment, text string) ([]byte, error) {
	body := []byte(text)
	if !strings.HasPrefix(strings.TrimSpace(text), "{") {
		var err error
		if body, err = readInput(env, text); err != nil {
			return nil, err
		}
	}
	return body, checkObject(body)
}

func checkObject(body []byte) error {
	var object map[string]json.RawMessage
	err := json.Unmarshal(body, &object)
	if err == nil && object == nil {
		err = errors.New("it is null")
	}
	if err != nil {
		return fmt.Errorf("that is no record in JSON, so nothing was changed: %w", err)
	}
	return nil
}

// edit lets the person change a record in their editor.
func edit(ctx context.Context, env environment, body []byte) (changed []byte, err error) {
	if body == nil {
		return nil, usage("this change deletes a record: there is nothing to mend; give it up with --drop")
	}
	editor := env.getenv("VISUAL")
	if editor == "" {
		editor = env.getenv("EDITOR")
	}
	if editor == "" {
		return nil, usage("neither VISUAL nor EDITOR names your editor: set one, or give the record with --body")
	}
	var indented bytes.Buffer
	if err := json.Indent(&indented, body, "", "  "); err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	file, err := os.CreateTemp("", "laneward-*.json")
	if err != nil {
		return nil, fmt.Errorf("make a file to edit: %w", err)
	}
	defer func() { err = errors.Join(err, os.Remove(file.Name())) }()
	_, err = file.Write(append(indented.Bytes(), '\n'))
	if err = errors.Join(err, file.Close()); err != nil {
		return nil, fmt.Errorf("make a file to edit: %w", err)
	}
	words := strings.Fields(editor)
	run := exec.CommandContext(ctx, words[0], append(words[1:], file.Name())...) //nolint:gosec // the person's own editor
	run.Stdin, run.Stdout, run.Stderr = env.stdin, env.stdout, env.stderr
	if err := run.Run(); err != nil {
		return nil, fmt.Errorf("the editor %s failed, so nothing was changed: %w", editor, err)
	}
	if changed, err = os.ReadFile(file.Name()); err != nil {
		return nil, fmt.Errorf("read what was edited: %w", err)
	}
	return changed, checkObject(changed)
}

type syncConflictsCommand struct {
	asideFlags
	Mine   bool   `help:"Take yours: it goes over what the server has."`
	Theirs bool   `help:"Take the server's: yours is given up."`
	Body   string `placeholder:"JSON" help:"Take this record instead of either: JSON, a file's name, or - for stdin."`
}

func (syncConflictsCommand) Help() string {
	return `Records that were changed here and, meanwhile, elsewhere, both versions field by field. Nothing is lost: both stay until you choose. What you choose goes at the next sync, over what the server had when you chose; if that has changed again, you are asked again.

Examples:

    laneward sync conflicts
    laneward sync conflicts 12 --mine
    laneward sync conflicts 12 13 --theirs
    laneward sync conflicts 12 --body chosen.json`
}

// Run shows or settles conflicts.
func (c *syncConflictsCommand) Run(ctx context.Context, env environment) error {
	choices := countTrue(c.Mine, c.Theirs, c.Body != "")
	if choices > 1 {
		return usage("choose one of --mine, --theirs and --body")
	}
	if choices == 1 && len(c.Numbers) == 0 {
		return usage("say which conflict, by its number in the list")
	}
	return c.withCopy(ctx, env, func(conn *copyConnection) error {
		chosen, err := c.chosen(ctx, conn, local.Conflict)
		switch {
		case err != nil:
			return err
		case c.Mine:
			return conn.mend(ctx, chosen, func(p local.Pending) ([]byte, error) { return p.Mine, nil })
		case c.Theirs:
			return conn.drop(ctx, chosen)
		case c.Body != "":
			if err := c.one("--body"); err != nil {
				return err
			}
			return conn.mend(ctx, chosen, func(local.Pending) ([]byte, error) { return readBody(env, c.Body) })
		case conn.json:
			return conn.printPending(chosen)
		case len(chosen) == 0:
			conn.say("Nothing conflicts.")
			return nil
		}
		for i, p := range chosen {
			if err := conn.showConflict(ctx, p, i > 0); err != nil {
				return err
			}
		}
		conn.say("\nChoose with laneward sync conflicts NUMBER and --mine, --theirs or --body.")
		return nil
	})
}

// showConflict prints the two versions of a record, side by side where they differ.
func (c *copyConnection) showConflict(ctx context.Context, p local.Pending, gap bool) error {
	title, err := c.titleOf(ctx, p)
	if err != nil {
		return err
	}
	heading := fmt.Sprintf("%d  %s\n", p.Number, title)
	if gap {
		heading = "\n" + heading
	}
	if err := c.print(heading); err != nil {
		return err
	}
	switch {
	case p.Mine == nil:
		return c.print(c.paragraph("You deleted it, and the server still has it: "+reasons(p.Reasons)+".", "    "))
	case p.Theirs == nil:
		return c.print("    You changed it, and it has been deleted on the server.\n")
	}
	names, err := local.Differing(p.Mine, p.Theirs)
	if err != nil {
		return err
	}
	var mine, theirs map[string]json.RawMessage
	if err := errors.Join(json.Unmarshal(p.Mine, &mine), json.Unmarshal(p.Theirs, &theirs)); err != nil {
		return fmt.Errorf("read the versions: %w", err)
	}
	list := newTable("field", "yours", "the server's")
	for _, name := range names {
		yours, err := c.fieldText(ctx, p.Squad, name, mine[name])
		if err != nil {
			return err
		}
		servers, err := c.fieldText(ctx, p.Squad, name, theirs[name])
		if err != nil {
			return err
		}
		list.add(name, yours, servers)
	}
	return c.printTable(list)
}
