package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

// asideFlags name changes that were set aside.
type asideFlags struct {
	remote.Flags
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
			return nil, &client.Error{
				Code:   client.NotFound,
				Detail: fmt.Sprintf("there is no change %d in the list", number),
			}
		}
		chosen = append(chosen, all[at])
	}
	return chosen, nil
}

// one fails unless exactly one change is named.
func (f asideFlags) one(flag string) error {
	if len(f.Numbers) != 1 {
		return terminal.Usage("%s is for one change: name it by its number in the list", flag)
	}
	return nil
}

type syncRefusedCommand struct {
	asideFlags
	Edit   bool   `help:"Fix it in your editor ($VISUAL or $EDITOR), and put it back into the queue."`
	Body   string `placeholder:"JSON" help:"The fixed record: JSON, a file's name, or - for stdin. It goes back into the queue."`
	Drop   bool   `help:"Discard it for good."`
	Erased bool   `help:"Only changes that belong to an athlete who was erased for good; they cannot be stored. With --drop all of them."`
}

func (syncRefusedCommand) Help() string {
	return `Changes that the server refused, with the reason. They stay here until you fix or drop them; a fixed one is sent at the next sync. Give a number to print that one as JSON.

Examples:

    laneward sync refused
    laneward sync refused 12
    laneward sync refused 12 --edit
    laneward sync refused 12 --body fixed.json
    laneward sync refused 12 13 --drop
    laneward sync refused --erased --drop`
}

// Run lists, fixes or drops refused changes.
func (c *syncRefusedCommand) Run(ctx context.Context, env terminal.Environment) error {
	if countTrue(c.Edit, c.Body != "", c.Drop) > 1 {
		return terminal.Usage("choose one of --edit, --body and --drop")
	}
	return withCopy(ctx, env, c.Flags, func(conn *copyConnection) error {
		chosen, err := c.chosen(ctx, conn, local.Refused)
		if c.Erased {
			chosen = slices.DeleteFunc(chosen, func(p local.Pending) bool { return !p.Erased() })
		}
		switch {
		case err != nil:
			return err
		case c.Edit:
			if err := c.one("--edit"); err != nil {
				return err
			}
			return conn.requeue(ctx, chosen, func(p local.Pending) ([]byte, error) { return edit(ctx, env, p.Mine) })
		case c.Body != "":
			if err := c.one("--body"); err != nil {
				return err
			}
			return conn.requeue(ctx, chosen, func(local.Pending) ([]byte, error) { return readBody(env, c.Body) })
		case c.Drop:
			if len(c.Numbers) == 0 && !c.Erased {
				return terminal.Usage("say which to drop, by their numbers in the list")
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
	if c.JSON {
		return c.printPending(all)
	}
	if len(all) == 0 {
		c.Say("Nothing was refused.")
		return nil
	}
	list := terminal.NewTable("number>", "change", "problem, and how to fix it")
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
			list.Add(number, title, why)
			number, title = "", ""
		}
	}
	if err := c.PrintTable(list); err != nil {
		return err
	}
	c.Say("\nFix one with laneward sync refused NUMBER --edit, or discard it with --drop.")
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
	return c.PrintJSON(text)
}

func (c *copyConnection) printBodies(chosen []local.Pending) error {
	if c.JSON {
		return c.printPending(chosen)
	}
	for _, p := range chosen {
		body := p.Mine
		if body == nil {
			c.Say("Change %d deletes %s %s.", p.Number, p.Kind, p.ID)
			continue
		}
		var indented bytes.Buffer
		if err := json.Indent(&indented, body, "", "  "); err != nil {
			return fmt.Errorf("write the record: %w", err)
		}
		for _, why := range reasonLines(p.Reasons) {
			c.Say("%s", why)
		}
		if err := c.Print(indented.String() + "\n"); err != nil {
			return err
		}
	}
	return nil
}

// requeue puts what body makes of each change back into the queue.
func (c *copyConnection) requeue(
	ctx context.Context,
	chosen []local.Pending,
	body func(local.Pending) ([]byte, error),
) error {
	for _, p := range chosen {
		changed, err := body(p)
		if err != nil {
			return err
		}
		if err := c.Resolve(ctx, p.Number, changed); err != nil {
			return err
		}
	}
	c.Say("%s in the queue: laneward sync sends it.", terminal.Counted(len(chosen), "change is", "changes are"))
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
		c.Say("Discarded your change to %s.", title)
	}
	return nil
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
func (c *syncConflictsCommand) Run(ctx context.Context, env terminal.Environment) error {
	choices := countTrue(c.Mine, c.Theirs, c.Body != "")
	if choices > 1 {
		return terminal.Usage("choose one of --mine, --theirs and --body")
	}
	if choices == 1 && len(c.Numbers) == 0 {
		return terminal.Usage("say which conflict, by its number in the list")
	}
	return withCopy(ctx, env, c.Flags, func(conn *copyConnection) error {
		chosen, err := c.chosen(ctx, conn, local.Conflict)
		switch {
		case err != nil:
			return err
		case c.Mine:
			return conn.requeue(ctx, chosen, func(p local.Pending) ([]byte, error) { return p.Mine, nil })
		case c.Theirs:
			return conn.drop(ctx, chosen)
		case c.Body != "":
			if err := c.one("--body"); err != nil {
				return err
			}
			return conn.requeue(ctx, chosen, func(local.Pending) ([]byte, error) { return readBody(env, c.Body) })
		case conn.JSON:
			return conn.printPending(chosen)
		case len(chosen) == 0:
			conn.Say("Nothing conflicts.")
			return nil
		}
		for i, p := range chosen {
			if err := conn.showConflict(ctx, p, i > 0); err != nil {
				return err
			}
		}
		conn.Say("\nChoose with laneward sync conflicts NUMBER and --mine, --theirs or --body.")
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
	if err := c.Print(heading); err != nil {
		return err
	}
	switch {
	case p.Mine == nil:
		return c.Print(c.Paragraph("You deleted it, and the server still has it: "+reasons(p.Reasons)+".", "    "))
	case p.Theirs == nil:
		return c.Print("    You changed it, and it has been deleted on the server.\n")
	}
	names, err := local.Differing(p.Mine, p.Theirs)
	if err != nil {
		return err
	}
	var mine, theirs map[string]json.RawMessage
	if err := errors.Join(json.Unmarshal(p.Mine, &mine), json.Unmarshal(p.Theirs, &theirs)); err != nil {
		return fmt.Errorf("read the versions: %w", err)
	}
	list := terminal.NewTable("field", "yours", "the server's")
	for _, name := range names {
		yours, err := c.fieldText(ctx, p.Squad, name, mine[name])
		if err != nil {
			return err
		}
		servers, err := c.fieldText(ctx, p.Squad, name, theirs[name])
		if err != nil {
			return err
		}
		list.Add(name, yours, servers)
	}
	return c.PrintTable(list)
}
