package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client/local"
)

type syncStatusCommand struct {
	remote.Flags
}

func (syncStatusCommand) Help() string {
	return `How the copy of each squad on this computer stands. Needs no network.

    unsent     goes at the next sync
    waiting    was sent, and goes again when the record it refers to is there, or the squad has room
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

// Run prints the state of each copy.
func (c *syncStatusCommand) Run(ctx context.Context, env terminal.Environment) error {
	return withCopy(ctx, env, c.Flags, func(conn *copyConnection) error {
		all, err := conn.Status(ctx)
		if err != nil {
			return err
		}
		if conn.JSON {
			return conn.printStatus(all)
		}
		if len(all) == 0 {
			conn.Say("There is nothing on this computer yet: run laneward sync with a network.")
			return nil
		}
		list := terminal.NewTable("squad", "last sync", "records>", "unsent>", "waiting>", "refused>", "conflicts>")
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
				last = env.ClockTime(s.SyncedAt)
			}
			list.Add(
				s.Name,
				last,
				strconv.Itoa(s.Records),
				some(s.Queued),
				some(s.Waiting),
				some(s.Refused),
				some(s.Conflicts),
			)
		}
		if err := conn.PrintTable(list); err != nil {
			return err
		}
		if err := conn.tellWaiting(ctx); err != nil {
			return err
		}
		for _, s := range all {
			if s.Lost > 0 {
				conn.Say("\n%s: the server has lost %s that this computer still has: laneward sync lost", s.Name, terminal.Things(s.Lost, "record"))
			}
		}
		for _, s := range all {
			if s.Since != "" {
				conn.Say(
					"\n%s: sessions since %s are on this computer; for all: laneward sync --since all",
					s.Name,
					s.Since,
				)
			}
		}
		conn.Say("\nThe copy is in %s.", conn.File())
		return nil
	})
}

func (c *copyConnection) printStatus(all []local.Status) error {
	report := statusReport{File: c.File(), Squads: []squadStatus{}}
	for _, s := range all {
		one := squadStatus{Member: s.Member, squadReport: squadReport{
			SquadID:   s.ID,
			Name:      s.Name,
			Rev:       s.Rev,
			Records:   s.Records,
			Queued:    s.Queued,
			Waiting:   s.Waiting,
			Refused:   s.Refused,
			Erased:    s.Erased,
			Conflicts: s.Conflicts,
			Lost:      s.Lost,
			Since:     s.Since,
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
	return c.PrintJSON(text)
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
	c.Say("")
	for _, text := range why {
		c.Say("%s waiting: %s.", terminal.Counted(count[text], "is", "are"), text)
	}
	return nil
}
