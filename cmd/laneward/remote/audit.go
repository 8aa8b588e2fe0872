package remote

import (
	"context"
	"fmt"
	"iter"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

type resetCodeCommand struct {
	squadFlags
	Member string `arg:"" help:"Who cannot sign in, by name or id."`
}

func (resetCodeCommand) Help() string {
	return `For a coach. Prints a code, good once and for seven days, with which the member sets a new password. Whoever has it can take the account over, so give it to that person only. The audit log notes it.

Example:

    laneward reset-code Rhea`
}

// Run makes a code for a member.
func (c *resetCodeCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	var members []client.Record
	for member, err := range conn.Members(ctx, conn.squad) {
		if err != nil {
			return err
		}
		members = append(members, client.Record{Kind: client.Member, ID: member.Value.ID, JSON: member.JSON})
	}
	member, err := client.Pick(members, client.Member, c.Member)
	if err != nil {
		return err
	}
	made, err := conn.MakeResetCode(ctx, conn.squad, member.ID)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(made.JSON)
	}
	conn.Say(
		"Good once, until %s. With it they set a new password: laneward reset-password EMAIL CODE",
		env.Local(made.Value.ExpiresAt).Format("2006-01-02 15:04"),
	)
	return conn.Print(made.Value.Code + "\n")
}

type auditCommand struct {
	squadFlags
	Limit int `default:"50" help:"At most so many lines, the newest first (${default})."`
}

func (auditCommand) Help() string {
	return `For a coach. The log keeps ids and no names: those printed are of the people in the squad today.

Example:

    laneward audit --limit 10`
}

// Run prints the squad's audit log.
func (c *auditCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	name := func(name *string, id fmt.Stringer) string {
		if name != nil {
			return *name
		}
		return id.String()
	}
	return listItems(
		conn.Console,
		terminal.NewTable("time", "action", "whom", "by", "detail"),
		first(c.Limit, conn.Audit(ctx, conn.squad)),
		func(one openapi.AuditEntry) ([]string, error) {
			by, detail := "the server", ""
			if one.ByID != nil {
				by = name(one.ByName, one.ByID)
			}
			if one.Detail != nil {
				detail = *one.Detail
			}
			return []string{env.ClockTime(one.At), one.Action, name(one.SubjectName, one.SubjectID), by, detail}, nil
		},
	)
}

// first are the first n of a list.
func first[T any](n int, list iter.Seq2[T, error]) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		left := n
		for item, err := range list {
			if left--; left < 0 || !yield(item, err) {
				return
			}
		}
	}
}
