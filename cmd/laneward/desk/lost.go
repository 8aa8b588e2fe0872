package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"

	"github.com/google/uuid"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

type syncLostCommand struct {
	remote.Flags
	Squad string `env:"LANEWARD_SQUAD" placeholder:"NAME" help:"Only this squad, by name or id; without it all on this computer."`
	Send  bool   `help:"Send again what you may send; the records go out at the next sync."`
	Drop  bool   `help:"Discard them for good: this computer may hold the only copy."`
}

func (syncLostCommand) Help() string {
	return `Records that this computer holds and the server has lost, because a backup was restored there. They stay here until you send them again or drop them. One that the server has in another version becomes a conflict, for you to choose. Athletes can send their own shots, sessions and balls; a coach everything.

Examples:

    laneward sync lost
    laneward sync lost --send
    laneward sync lost --drop --squad "Tuesday squad"`
}

// Run lists, sends or drops what the server has lost.
func (c *syncLostCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Send && c.Drop {
		return terminal.Usage("choose one of --send and --drop")
	}
	return withCopy(ctx, env, c.Flags, func(conn *copyConnection) error {
		all, err := conn.Status(ctx)
		if err != nil {
			return err
		}
		if c.Squad != "" {
			one, err := conn.localSquad(ctx, c.Squad)
			if err != nil {
				return err
			}
			all = []local.Status{{Squad: one}}
		}
		list := lostList{conn: conn, table: terminal.NewTable("squad", "records>", "kind", "what is done")}
		for _, squad := range all {
			switch {
			case c.Send:
				err = conn.sendLost(ctx, squad.Squad)
			case c.Drop:
				err = conn.dropLost(ctx, squad.Squad)
			default:
				err = list.add(ctx, squad.Squad)
			}
			if err != nil {
				return err
			}
		}
		if c.Send || c.Drop {
			return nil
		}
		return list.print()
	})
}

func (c *copyConnection) sendLost(ctx context.Context, squad local.Squad) error {
	queued, conflicts, err := c.SendAgain(ctx, squad.ID)
	if err != nil {
		return err
	}
	left, err := c.Lost(ctx, squad.ID)
	if err != nil {
		return err
	}
	if queued > 0 {
		c.Say(
			"%s: %s at the next sync: laneward sync",
			squad.Name,
			terminal.Counted(queued, "record goes out", "records go out"),
		)
	}
	if conflicts > 0 {
		c.Say(
			"%s: %s another version on the server, for you to choose: laneward sync conflicts",
			squad.Name,
			terminal.Counted(conflicts, "record has", "records have"),
		)
	}
	if len(left) > 0 {
		c.Say(
			"%s: %s only a coach can send, from a device that holds them.",
			squad.Name,
			terminal.Things(len(left), "record"),
		)
	}
	return nil
}

func (c *copyConnection) dropLost(ctx context.Context, squad local.Squad) error {
	n, err := c.ForgetLost(ctx, squad.ID)
	if err == nil && n > 0 {
		c.Say("%s: %s dropped.", squad.Name, terminal.Counted(int(n), "record was", "records were"))
	}
	return err
}

// lostList is what the server has lost of each squad, kind by kind.
type lostList struct {
	conn  *copyConnection
	table *terminal.Table
	all   []lostRecord
	rows  int
}

// lostRecord is what sync lost prints with --json.
type lostRecord struct {
	SquadID uuid.UUID       `json:"squad_id"`
	Kind    client.Kind     `json:"kind"`
	ID      uuid.UUID       `json:"id"`
	Mine    json.RawMessage `json:"mine"`
	Theirs  json.RawMessage `json:"theirs,omitempty"`
	May     bool            `json:"may_send"`
}

func (l *lostList) add(ctx context.Context, squad local.Squad) error {
	lost, err := l.conn.Lost(ctx, squad.ID)
	if err != nil {
		return err
	}
	type group struct {
		kind client.Kind
		done string
	}
	count := make(map[group]int)
	var order []group
	for _, one := range lost {
		l.all = append(l.all, lostRecord{squad.ID, one.Kind, one.ID, one.Mine, one.Theirs, one.May})
		g := group{one.Kind, "sent again by --send"}
		switch {
		case !one.May:
			g.done = "only a coach can send it"
		case one.Theirs != nil:
			g.done = "the server has another version: --send lets you choose"
		}
		if count[g]++; count[g] == 1 {
			order = append(order, g)
		}
	}
	for _, g := range order {
		l.table.Add(squad.Name, strconv.Itoa(count[g]), string(g.kind), g.done)
		l.rows++
	}
	return nil
}

func (l *lostList) print() error {
	if l.conn.JSON {
		text, err := json.Marshal(append([]lostRecord{}, l.all...))
		if err != nil {
			return fmt.Errorf("write what is lost: %w", err)
		}
		return l.conn.PrintJSON(text)
	}
	if l.rows == 0 {
		l.conn.Say("The server has lost nothing that this computer holds.")
		return nil
	}
	if err := l.conn.PrintTable(l.table); err != nil {
		return err
	}
	l.conn.Say("\nSend them again with laneward sync lost --send, or discard them with --drop.")
	return nil
}
