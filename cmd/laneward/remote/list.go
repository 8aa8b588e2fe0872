package remote

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"slices"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/service/shot"
)

// recordKind is a kind of record on a command line, one or many.
type recordKind client.Kind

// UnmarshalText reads athlete or athletes.
func (k *recordKind) UnmarshalText(text []byte) error {
	for _, kind := range client.Kinds {
		if string(text) == string(kind) || string(text) == kind.Plural() {
			*k = recordKind(kind)
			return nil
		}
	}
	if string(text) == string(client.Shot) {
		*k = recordKind(client.Shot)
		return nil
	}
	return fmt.Errorf("unknown kind %q; choose one of %s", text, strings.Join(KindNames(), ", "))
}

// ListNames are the words that laneward list takes.
func ListNames() []string {
	names := []string{listShots, listMembers, listInvitations}
	for _, kind := range client.Kinds {
		names = append(names, kind.Plural())
	}
	return names
}

// KindNames are the kinds of record, one of each.
func KindNames() []string {
	var names []string
	for _, kind := range client.Kinds {
		names = append(names, string(kind))
	}
	return append(names, string(client.Shot))
}

// The lists that are not of records with ids and names of their own.
const (
	listShots       = "shots"
	listMembers     = "members"
	listInvitations = "invitations"
)

type listCommand struct {
	squadFlags
	Kind    string `arg:"" predict:"lists" help:"What to list: athletes, balls, patterns, sessions, drills, assignments, shots, members or invitations."`
	Session string `placeholder:"NAME" help:"For shots: the session they were bowled in."`
	IDs     bool   `name:"ids" help:"Show the ids too."`
}

func (listCommand) Help() string {
	return `A list shows what you may see. Names are enough for other commands; ids tell apart what has the same name.

Examples:

    laneward list athletes
    laneward list sessions --ids
    laneward list shots --session 2026-11-20
    laneward list drills --json`
}

// Run lists records.
func (c *listCommand) Run(ctx context.Context, env terminal.Environment) error {
	if !slices.Contains(ListNames(), c.Kind) {
		return terminal.Usage("unknown kind %q; choose one of %s", c.Kind, strings.Join(ListNames(), ", "))
	}
	if (c.Kind == listShots) != (c.Session != "") {
		return terminal.Usage("shots are listed of one session, and --session is for shots: laneward list shots --session NAME")
	}
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	switch c.Kind {
	case listShots:
		return conn.listShots(ctx, c.Session, c.IDs)
	case listMembers:
		return conn.listMembers(ctx, c.IDs)
	case listInvitations:
		return conn.listInvitations(ctx, c.IDs)
	}
	return conn.listRecords(ctx, client.Kind(strings.TrimSuffix(c.Kind, "s")), c.IDs)
}

// printItems prints a whole list as the server would one page of it.
func printItems(c terminal.Console, items []json.RawMessage) error {
	var b bytes.Buffer
	b.WriteString(`{"items":[`)
	for i, item := range items {
		if i > 0 {
			b.WriteByte(',')
		}
		b.Write(item)
	}
	b.WriteString("]}")
	return c.PrintJSON(b.Bytes())
}

func (c *squadConnection) listRecords(ctx context.Context, kind client.Kind, ids bool) error {
	records, err := c.All(ctx, c.squad, kind)
	if err != nil {
		return err
	}
	if c.JSON {
		items := make([]json.RawMessage, len(records))
		for i, record := range records {
			items[i] = record.JSON
		}
		return printItems(c.Console, items)
	}
	if len(records) == 0 {
		c.Say("No %s yet: laneward add %s --help shows how to add one.", kind.Plural(), kind)
		return nil
	}
	rows := make([][]string, len(records))
	var list *terminal.Table
	for i, record := range records {
		fields, err := views[kind](ctx, c.book, record)
		if err != nil {
			return err
		}
		fields = slices.DeleteFunc(fields, func(f field) bool { return f.detail })
		if list == nil {
			list = terminal.NewTable(columnsOf(fields)...)
		}
		for _, f := range fields {
			rows[i] = append(rows[i], f.value)
		}
		id := ""
		if ids {
			id = record.ID.String()
		}
		rows[i] = append([]string{id}, rows[i]...)
	}
	slices.SortStableFunc(rows, func(a, b []string) int { return slices.Compare(a[1:], b[1:]) })
	list.Rows = rows
	return c.PrintTable(list)
}

// columnsOf names the columns of a list whose records have these fields.
func columnsOf(fields []field) []string {
	names := []string{"id"}
	for _, f := range fields {
		if f.right {
			f.name += ">"
		}
		names = append(names, f.name)
	}
	return names
}

func (c *squadConnection) listShots(ctx context.Context, session string, ids bool) error {
	found, err := c.find(ctx, client.Session, session)
	if err != nil {
		return err
	}
	names := []string{"athlete", "shot>", "time", "ball"}
	measures := slices.DeleteFunc(shot.Measures(), func(m shot.Measure) bool { return m.IsError() })
	for _, m := range measures {
		names = append(names, strings.ToLower(m.Label)+">")
	}
	list := terminal.NewTable(append(names, "gutter", "standing", "id")...)
	var last shot.Shot
	before := 0 // of the same place, which two devices may have given
	return listItems(c.Console, list, asShots(c.Shots(ctx, c.squad, found.ID)), func(s shot.Shot) ([]string, error) {
		athlete, err := c.book.name(ctx, client.Athlete, &s.AthleteID)
		if err != nil {
			return nil, err
		}
		ball, err := c.book.name(ctx, client.Ball, s.BallID)
		if before++; s.AthleteID != last.AthleteID || s.Order != last.Order {
			before = 0
		}
		last = s
		cells := []string{athlete, shot.Number(s.Order, before), c.Env.ClockTime(s.Time), ball}
		for _, m := range measures {
			cell := ""
			if v, known := m.Get(&s); known {
				cell = terminal.Number(&v)
			}
			cells = append(cells, cell)
		}
		return append(cells, string(s.Gutter), pins(s.Standing), shown(ids, s.ID)), err
	})
}

// asShots reads the answers' shots as the domain has them.
func asShots(answers iter.Seq2[client.Answer[openapi.Shot], error]) iter.Seq2[client.Answer[shot.Shot], error] {
	return func(yield func(client.Answer[shot.Shot], error) bool) {
		for answer, err := range answers {
			read := client.Answer[shot.Shot]{JSON: answer.JSON}
			if err == nil {
				err = json.Unmarshal(answer.JSON, &read.Value)
			}
			if !yield(read, err) {
				return
			}
		}
	}
}

func shown(ids bool, id fmt.Stringer) string {
	if !ids {
		return ""
	}
	return id.String()
}

func (c *squadConnection) listMembers(ctx context.Context, ids bool) error {
	return listItems(
		c.Console,
		terminal.NewTable("name", "role", "athlete", "id"),
		c.Members(ctx, c.squad),
		func(member openapi.Member) ([]string, error) {
			athlete, err := c.book.name(ctx, client.Athlete, member.AthleteID)
			return []string{member.Name, string(member.Role), athlete, shown(ids, member.ID)}, err
		},
	)
}

func (c *squadConnection) listInvitations(ctx context.Context, ids bool) error {
	return listItems(
		c.Console,
		terminal.NewTable("role", "athlete", "state", "id"),
		c.Invitations(ctx, c.squad),
		func(one openapi.Invitation) ([]string, error) {
			athlete, err := c.book.name(ctx, client.Athlete, one.AthleteID)
			state := "open until " + c.Env.Local(one.ExpiresAt).Format("2006-01-02 15:04")
			if one.UsedAt != nil {
				state = "used"
			}
			return []string{string(one.Role), athlete, state, shown(ids, one.ID)}, err
		},
	)
}

// listItems prints a list that is not a list of records: as JSON, or as a table.
func listItems[T any](
	c terminal.Console,
	list *terminal.Table,
	items iter.Seq2[client.Answer[T], error],
	row func(T) ([]string, error),
) error {
	var texts []json.RawMessage
	for item, err := range items {
		if err != nil {
			return err
		}
		if c.JSON {
			texts = append(texts, item.JSON)
			continue
		}
		cells, err := row(item.Value)
		if err != nil {
			return err
		}
		list.Add(cells...)
	}
	if c.JSON {
		return printItems(c, texts)
	}
	if len(list.Rows) == 0 {
		c.Say("None yet.")
	}
	return c.PrintTable(list)
}
