package desk

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

type syncCommand struct {
	Now       syncNowCommand       `cmd:"" default:"withargs" help:"Send what is unsent and fetch what is new: what laneward sync alone does."`
	Status    syncStatusCommand    `cmd:"" help:"What is on this computer, and what is unsent. Needs no network."`
	Refused   syncRefusedCommand   `cmd:"" help:"Changes that the server refused: fix or drop them."`
	Conflicts syncConflictsCommand `cmd:"" help:"Records changed both here and elsewhere: choose a version."`
	Lost      syncLostCommand      `cmd:"" help:"Records that the server has lost and this computer still holds: send them again."`
}

func (syncCommand) Help() string {
	return `Keeps a copy of your squads on this computer, and sends what you changed without a network. Whatever happens on the way nothing is lost, and it is safe to run again: unsent changes stay on this computer, for you alone, until the server has them.

Exit code 6 means that changes were refused or conflict: laneward sync refused and laneward sync conflicts show them.

When a backup was restored on the server, the next sync notices, reads a new copy and says what the server has lost: laneward sync lost sends it again.

laneward sync now --help lists the flags of laneward sync alone.

Examples:

    laneward sync
    laneward sync --watch
    laneward sync --verify
    laneward sync status`
}

type syncNowCommand struct {
	remote.Flags
	Squad   string `env:"LANEWARD_SQUAD" placeholder:"NAME" help:"Only this squad, by name or id; without it all you are in."`
	Since   string `placeholder:"DAY" help:"Keep only sessions held since a day, or for a number of days such as 90d, with their shots; all keeps all. Older sessions are added later by asking for more. It holds until changed."`
	Athlete string `placeholder:"NAME" help:"Keep only this athlete's sessions and shots, beside shared sessions; all keeps everybody's. It holds until changed."`
	Watch   bool   `help:"Stay, send what comes into the queue and take in what others do, until Ctrl-C."`
	Verify  bool   `help:"Prove, record by record, that this computer holds what the server does; read a new copy if it does not."`
}

func (syncNowCommand) Help() string {
	return `Exit code 6 means that changes were refused or conflict.

Examples:

    laneward sync
    laneward sync now --squad "Tuesday squad" --verify
    laneward sync --since 90d
    laneward sync --since all
    laneward sync --watch`
}

// Run syncs.
func (c *syncNowCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Watch && c.Verify {
		return terminal.Usage("--watch and --verify do not go together: verify first, then watch")
	}
	return withCopy(ctx, env, c.Flags, func(conn *copyConnection) error {
		squads, err := conn.squadsToSync(ctx, c.Squad)
		if err != nil {
			return errors.Join(err, conn.tellKept(ctx, uuid.Nil))
		}
		if err := conn.hold(ctx, squads, c.Since, c.Athlete); err != nil {
			return err
		}
		if c.Watch {
			err = conn.watch(ctx, squads)
		} else {
			err = conn.syncAll(ctx, squads, c.Verify)
		}
		if err != nil {
			return err
		}
		return conn.asideError(ctx, squads)
	})
}

// squadsToSync asks the server which squads the person is in, and reports those they left with
// something unsent.
func (c *copyConnection) squadsToSync(ctx context.Context, named string) ([]local.Squad, error) {
	me, err := c.Me(ctx)
	if err != nil {
		return nil, err
	}
	if me.Value.UserID != c.User() {
		return nil, fmt.Errorf(
			"the server knows you as another user than when you signed in: sign in again with laneward sign-in",
		)
	}
	if err := c.SetSquads(ctx, me.Value.Squads); err != nil {
		return nil, err
	}
	only := uuid.Nil
	if named != "" || len(me.Value.Squads) == 0 {
		chosen, err := remote.ChooseSquad(me.Value.Squads, named)
		if err != nil {
			return nil, errors.Join(c.tellLeft(ctx), err)
		}
		only = chosen.SquadID
	}
	all, err := c.Squads(ctx)
	if err != nil {
		return nil, err
	}
	var squads []local.Squad
	for _, squad := range all {
		if squad.Member && (only == uuid.Nil || squad.ID == only) {
			squads = append(squads, squad)
		}
	}
	return squads, c.tellLeft(ctx)
}

// everybody is the athlete whose sessions are kept when all athletes' are.
const everybody = "all"

// hold makes the copies hold the sessions and shots that were asked for; an empty flag leaves its
// half as it is.
func (c *copyConnection) hold(ctx context.Context, squads []local.Squad, since, athlete string) error {
	if since == "" && athlete == "" {
		return nil
	}
	for _, squad := range squads {
		day, of := cmp.Or(since, squad.Since, local.All), squad.Of
		switch athlete {
		case "":
		case everybody:
			of = nil
		default:
			found, err := c.Find(ctx, squad.ID, client.Athlete, athlete)
			if err != nil {
				return err
			}
			of = &found.ID
		}
		run := &local.Sync{Client: c.Client, Store: c.Store, Squad: squad.ID}
		if err := run.Hold(ctx, day, of); err != nil {
			return err
		}
		c.Say("%s: this computer keeps %s.", squad.Name, spanWords(day, athlete))
	}
	return nil
}

// spanWords say which sessions are kept.
func spanWords(since, athlete string) string {
	words := "sessions since " + since
	if days, is := strings.CutSuffix(since, "d"); is {
		words = "the sessions of the last " + days + " days, and older ones it has"
	} else if since == local.All {
		words = "all sessions"
	}
	if athlete != "" && athlete != everybody {
		words += ", and of those that are not shared only " + athlete + "'s"
	}
	return words
}

// tellLeft reports what is unsent in squads that the person is no longer in.
func (c *copyConnection) tellLeft(ctx context.Context) error {
	all, err := c.Status(ctx)
	for _, status := range all {
		if !status.Member {
			c.Warn(
				"you are not in %s any more: %s stays unsent on this computer, and goes if you join again",
				status.Name,
				terminal.Things(status.Unsent(), "change"),
			)
		}
	}
	return err
}

// syncAll syncs squad after squad. One that fails does not stop the others.
func (c *copyConnection) syncAll(ctx context.Context, squads []local.Squad, verify bool) error {
	var failures []error
	done := syncReport{Squads: []squadReport{}}
	for _, squad := range squads {
		line := &progressLine{Console: c.Console, name: squad.Name}
		run := &local.Sync{Client: c.Client, Store: c.Store, Squad: squad.ID, Told: line.show}
		result, err := run.Once(ctx)
		line.clear()
		if err != nil {
			failures = append(failures, err, c.tellKept(ctx, squad.ID))
			if ctx.Err() != nil || client.CodeOf(err) == client.Unreachable {
				break
			}
			continue
		}
		report, err := c.report(ctx, squad.ID, result)
		if err != nil {
			return err
		}
		done.Squads = append(done.Squads, report)
		if !c.JSON && !c.Quiet {
			if err := c.Print(report.Name + ": " + report.sentence() + ".\n"); err != nil {
				return err
			}
		}
		c.tellPending(report)
		if verify {
			if err := c.verify(ctx, run, squad.Name); err != nil {
				failures = append(failures, err)
			}
		}
	}
	if c.JSON {
		text, err := json.Marshal(done)
		if err != nil {
			return fmt.Errorf("write the summary: %w", err)
		}
		if err := c.PrintJSON(text); err != nil {
			return err
		}
	}
	return errors.Join(failures...)
}

// tellKept says what stays unsent when a sync has failed: in a squad, or in all for the nil UUID.
func (c *copyConnection) tellKept(ctx context.Context, squad uuid.UUID) error {
	all, err := c.Status(context.WithoutCancel(ctx))
	for _, status := range all {
		if n := status.Unsent(); n > 0 && (status.ID == squad || squad == uuid.Nil && status.Member) {
			c.Say("%s: %s kept on this computer, unsent.", status.Name, terminal.Counted(n, "change is", "changes are"))
		}
	}
	return err
}

// syncReport is what a sync prints with --json.
type syncReport struct {
	Squads []squadReport `json:"squads"`
}

type squadReport struct {
	SquadID   uuid.UUID `json:"squad_id"`
	Name      string    `json:"name"`
	Rev       int64     `json:"rev"`
	Records   int       `json:"records"`
	Sent      int       `json:"sent"`
	Received  int       `json:"received"`
	Copied    bool      `json:"copied"`
	Queued    int       `json:"queued"`
	Waiting   int       `json:"waiting"`
	Refused   int       `json:"refused"`
	Erased    int       `json:"erased,omitempty"` // of those, of athletes who were erased for good
	Conflicts int       `json:"conflicts"`
	Restored  bool      `json:"restored,omitempty"`
	Lost      int       `json:"lost,omitempty"`
	Since     string    `json:"since,omitempty"` // the first day of its sessions, "" when it has all
	// Usage is the squad's when it is near its quota, as the server said with what was sent.
	Usage *openapi.Usage `json:"usage,omitempty"`
}

func (c *copyConnection) report(ctx context.Context, squad uuid.UUID, result local.Result) (squadReport, error) {
	all, err := c.Status(ctx)
	for _, s := range all {
		if s.ID == squad {
			return squadReport{
				SquadID:   s.ID,
				Name:      s.Name,
				Rev:       s.Rev,
				Records:   s.Records,
				Sent:      result.Sent,
				Received:  result.Received,
				Copied:    result.Copied,
				Queued:    s.Queued,
				Waiting:   s.Waiting,
				Refused:   s.Refused,
				Erased:    s.Erased,
				Conflicts: s.Conflicts,
				Restored:  result.Restored,
				Lost:      s.Lost,
				Since:     s.Since,
				Usage:     result.Usage,
			}, nil
		}
	}
	if err == nil {
		err = fmt.Errorf("the squad %s has gone from this computer meanwhile", squad)
	}
	return squadReport{}, err
}

// tellPending says where to look at what the server has not accepted.
func (c *copyConnection) tellPending(r squadReport) {
	if r.Restored {
		c.Say("  the server's data was restored from a backup, and a new copy was read")
	}
	if r.Lost > 0 {
		c.Say(
			"  the server has lost %s that this computer still has; send again: laneward sync lost --send",
			terminal.Things(r.Lost, "record"),
		)
	}
	if r.Usage != nil {
		c.Say("  %s", remote.UsageWords(*r.Usage))
	}
	if r.Waiting > 0 {
		c.Say("  %s on this computer for now; why: laneward sync status", terminal.Counted(r.Waiting, "stays", "stay"))
	}
	if r.Erased > 0 {
		c.Say(
			"  %s to an athlete who was erased for good, and cannot be stored; discard: laneward sync refused --erased --drop",
			terminal.Counted(r.Erased, "belongs", "belong"),
		)
	}
	if others := r.Refused - r.Erased; others > 0 {
		c.Say("  %s refused; fix or drop: laneward sync refused", terminal.Counted(others, "was", "were"))
	}
	if r.Conflicts > 0 {
		c.Say(
			"  %s with a change made elsewhere, for you to choose: laneward sync conflicts",
			terminal.Counted(r.Conflicts, "conflicts", "conflict"),
		)
	}
}

func (r squadReport) sentence() string {
	var parts []string
	if r.Sent > 0 {
		parts = append(parts, "sent "+terminal.Things(r.Sent, "change"))
	}
	switch {
	case r.Copied:
		copied := "copied " + terminal.Things(r.Records, "record")
		if r.Since != "" {
			copied += ", with sessions since " + r.Since
		}
		parts = append(parts, copied)
	case r.Received > 0:
		parts = append(parts, "received "+strconv.Itoa(r.Received))
	}
	if parts == nil {
		return "nothing new"
	}
	return strings.Join(parts, ", ")
}

// verify checks that the copy is what the server has. One that is not is read again.
func (c *copyConnection) verify(ctx context.Context, run *local.Sync, name string) error {
	for again := false; ; again = true {
		differing, rev, err := run.Verify(ctx)
		if err != nil {
			return err
		}
		if len(differing) == 0 {
			c.Say("%s: this computer holds exactly what the server does, at revision %d.", name, rev)
			return nil
		}
		if again {
			return fmt.Errorf(
				"%s: a new copy is not what the server has either: report this, with the server's version",
				name,
			)
		}
		list := terminal.NewTable("kind", "here>", "on the server>")
		for _, d := range differing {
			list.Add(
				string(d.Kind),
				terminal.Things(int(d.Here.Count), "record"),
				terminal.Things(int(d.There.Count), "record"),
			)
		}
		c.Warn("%s: this computer does not hold what the server does; reading a new copy", name)
		c.Say("%s", strings.TrimRight(list.Text(c.Width(), false), "\n"))
		if err := run.Anew(ctx); err != nil {
			return err
		}
	}
}

// asideError makes the exit code of changes that the person has to decide.
func (c *copyConnection) asideError(ctx context.Context, squads []local.Squad) error {
	all, err := c.Status(context.WithoutCancel(ctx))
	if err != nil {
		return err
	}
	for _, status := range all {
		for _, squad := range squads {
			if status.ID == squad.ID && status.Refused+status.Conflicts > 0 {
				return terminal.ErrPartial
			}
		}
	}
	return nil
}

// watch follows all squads at once until ctx ends or none can be followed any more.
func (c *copyConnection) watch(ctx context.Context, squads []local.Squad) error {
	names := make([]string, len(squads))
	for i, squad := range squads {
		names[i] = squad.Name
	}
	c.Say("Following %s; press Ctrl-C to stop.", strings.Join(names, ", "))
	var mu sync.Mutex // keeps lines from running into each other
	failures := make([]error, len(squads))
	var watches sync.WaitGroup
	for i, squad := range squads {
		watches.Go(func() {
			run := &local.Sync{Client: c.Client, Store: c.Store, Squad: squad.ID}
			failures[i] = run.Watch(ctx, func(result local.Result, err error, wait time.Duration) {
				mu.Lock()
				defer mu.Unlock()
				c.tellWatch(ctx, squad, result, err, wait)
			})
			if failures[i] != nil {
				failures[i] = errors.Join(failures[i], c.tellKept(ctx, squad.ID))
			}
		})
	}
	watches.Wait()
	return errors.Join(failures...)
}

func (c *copyConnection) tellWatch(
	ctx context.Context,
	squad local.Squad,
	result local.Result,
	err error,
	wait time.Duration,
) {
	now := c.Env.Now().Format(time.TimeOnly)
	if err != nil {
		c.Say("%s %s: %v; trying again in %s", now, squad.Name, err, wait.Round(100*time.Millisecond))
		return
	}
	report, err := c.report(context.WithoutCancel(ctx), squad.ID, result)
	if err != nil {
		c.Warn("%v", err)
		return
	}
	c.Say("%s %s: %s", now, squad.Name, report.sentence())
	c.tellPending(report)
}

// progressLine shows on a terminal, in a line of its own, how far a sync has got.
type progressLine struct {
	terminal.Console
	name  string
	last  time.Time
	shown bool
}

// progressEvery is how often the line changes, at most.
const progressEvery = 100 * time.Millisecond

func (l *progressLine) show(p local.Progress) {
	now := l.Env.Now()
	if l.Quiet || terminal.File(l.Env.Stderr) == nil || now.Sub(l.last) < progressEvery {
		return
	}
	l.last, l.shown = now, true
	text := fmt.Sprintf("received %d", p.Received)
	switch {
	case p.ToSend > 0:
		text = fmt.Sprintf("sent %d of %d", p.Sent, p.ToSend)
	case p.Copying:
		text = fmt.Sprintf("copying, %d records so far", p.Received)
	}
	fmt.Fprintf(l.Env.Stderr, "\r\x1b[K%s: %s", l.name, text)
}

func (l *progressLine) clear() {
	if l.shown {
		fmt.Fprint(l.Env.Stderr, "\r\x1b[K")
	}
}
