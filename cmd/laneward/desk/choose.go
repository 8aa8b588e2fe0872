package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

// choose finds out who bowls, in which session, for which drill and with which ball.
func (d *logDesk) choose(ctx context.Context, c *logCommand) error {
	for _, step := range []func(context.Context, *logCommand) error{
		d.chooseAthlete, d.chooseSession, d.chooseDrill, d.chooseBall,
	} {
		if err := step(ctx, c); err != nil {
			return err
		}
	}
	return d.load(ctx)
}

func (d *logDesk) chooseAthlete(ctx context.Context, c *logCommand) error {
	var record client.Record
	var err error
	switch {
	case c.Athlete != "":
		record, err = d.find(ctx, client.Athlete, c.Athlete)
	case d.squad.Athlete != nil:
		var own local.Record
		own, err = d.Get(ctx, d.squad.ID, client.Athlete, *d.squad.Athlete)
		record = own.Record
	default:
		record, err = d.pickAthlete(ctx)
	}
	if err == nil {
		d.athlete, err = client.Decode[openapi.Athlete](record)
	}
	return err
}

func (d *logDesk) pickAthlete(ctx context.Context) (client.Record, error) {
	all, err := d.all(ctx, client.Athlete)
	if err != nil {
		return client.Record{}, err
	}
	if len(all) == 0 {
		return client.Record{}, terminal.NotFound(
			"the squad has no athletes on this computer yet: laneward add athlete, then laneward sync",
		)
	}
	if !d.prompts {
		return client.Record{}, terminal.Usage("name who bowls with --athlete NAME")
	}
	rows := make([][]string, len(all))
	slices.SortFunc(all, func(a, b client.Record) int { return strings.Compare(nameText(a), nameText(b)) })
	for i, record := range all {
		rows[i] = []string{nameText(record)}
	}
	record, _, err := d.pick(ctx, choice{question: "Who bowls?", kind: client.Athlete, records: all, rows: rows})
	return record, err
}

// nameText is a record's name, "" when it has none.
func nameText(record client.Record) string {
	name, err := record.Name()
	if err != nil {
		return ""
	}
	return name
}

// choice is a question to the person. rows say each record for reading; others are answers that are
// none of the records; standard is what an empty answer means, "" for nothing.
type choice struct {
	question string
	kind     client.Kind
	records  []client.Record
	rows     [][]string
	others   map[string]string
	standard string
}

// pick lets the person choose a record by its number or name, or one of the others, which is
// returned as it was typed. It asks until the answer is one of these.
func (d *logDesk) pick(ctx context.Context, c choice) (record client.Record, other string, err error) {
	if err := d.Print(c.text()); err != nil {
		return record, "", err
	}
	prompt := "> "
	if c.standard != "" {
		prompt = "[" + c.standard + "] > "
	}
	for {
		answer, err := d.ask(ctx, prompt)
		if err != nil {
			return record, "", err
		}
		if answer == "" {
			answer = c.standard
		}
		if _, known := c.others[answer]; known {
			return record, answer, nil
		}
		if n, err := strconv.Atoi(answer); err == nil && n >= 1 && n <= len(c.rows) {
			return c.records[n-1], "", nil
		}
		if answer == "" {
			continue
		}
		record, err := d.find(ctx, c.kind, answer)
		switch client.CodeOf(err) {
		case client.NotFound:
			d.Say("There is no %s %q: type a number from the list, or a name.", c.kind, answer)
			continue
		case client.Ambiguous:
			d.Say("%s", upperFirst(err.Error()))
			continue
		}
		return record, "", err
	}
}

func (c choice) text() string {
	var b strings.Builder
	b.WriteString(c.question + "\n")
	if len(c.rows) > 0 {
		list := terminal.NewTable(make([]string, 1+len(c.rows[0]))...)
		for i, row := range c.rows {
			list.Add(append([]string{"  " + strconv.Itoa(i+1)}, row...)...)
		}
		_, body, _ := strings.Cut(list.Text(0, false), "\n") // without the header
		b.WriteString(body)
	}
	for _, key := range slices.Sorted(maps.Keys(c.others)) {
		fmt.Fprintf(&b, "  %s  %s\n", key, c.others[key])
	}
	return b.String()
}

// shownSessions is how many sessions are offered, the latest.
const shownSessions = 9

func (d *logDesk) chooseSession(ctx context.Context, c *logCommand) error {
	switch {
	case c.New != "":
		return d.newSession(ctx, c.New, c.Pattern)
	case c.Session != "":
		record, err := d.find(ctx, client.Session, c.Session)
		if err != nil {
			return err
		}
		return d.takeSession(record)
	}
	records, sessions, err := d.sessionsToChoose(ctx)
	if err != nil {
		return err
	}
	asked := choice{
		question: "Which session?", kind: client.Session, records: records, rows: make([][]string, len(records)),
		others: map[string]string{"n": "a new one, today"}, standard: "n",
	}
	today := d.Env.Today()
	for i, s := range sessions {
		whose := ""
		if s.AthleteID == nil {
			whose = "the squad's"
		}
		asked.rows[i] = []string{s.Date.String(), s.Name, whose}
		if s.Date == today && asked.standard == "n" {
			asked.standard = strconv.Itoa(i + 1)
		}
	}
	record, other, err := d.pick(ctx, asked)
	switch {
	case err != nil:
		return err
	case other == "":
		return d.takeSession(record)
	}
	name, err := d.ask(ctx, "Its name [Practice]: ")
	if err != nil {
		return err
	}
	if name == "" {
		name = "Practice"
	}
	return d.newSession(ctx, name, "")
}

// sessionsToChoose are the athlete's own sessions and the squad's, the latest first.
func (d *logDesk) sessionsToChoose(
	ctx context.Context,
) (records []client.Record, sessions []openapi.Session, err error) {
	all, err := d.all(ctx, client.Session)
	if err != nil {
		return nil, nil, err
	}
	days := make(map[uuid.UUID]openapi.Session, len(all))
	for _, record := range all {
		s, err := client.Decode[openapi.Session](record)
		if err != nil {
			return nil, nil, err
		}
		if s.AthleteID == nil || *s.AthleteID == *d.athlete.ID {
			days[record.ID] = s
			records = append(records, record)
		}
	}
	slices.SortStableFunc(
		records,
		func(a, b client.Record) int { return days[b.ID].Date.Compare(days[a.ID].Date.Time) },
	)
	records = records[:min(len(records), shownSessions)]
	for _, record := range records {
		sessions = append(sessions, days[record.ID])
	}
	return records, sessions, nil
}

func (d *logDesk) takeSession(record client.Record) error {
	s, err := client.Decode[openapi.Session](record)
	if err != nil {
		return err
	}
	if s.AthleteID != nil && *s.AthleteID != *d.athlete.ID {
		return terminal.Usage(
			"the session %s is another athlete's: name one of %s, or begin one with --new",
			s.Name,
			d.athlete.Name,
		)
	}
	d.session = sessionOf{Session: s, id: record.ID}
	return nil
}

func (d *logDesk) newSession(ctx context.Context, name, pattern string) error {
	id, err := uuid.NewV7()
	if err != nil {
		return fmt.Errorf("make an id: %w", err)
	}
	s := openapi.Session{ID: &id, Kind: openapi.Practice, Name: name, Date: d.Env.Today(), AthleteID: d.athlete.ID}
	if pattern != "" {
		record, err := d.find(ctx, client.Pattern, pattern)
		if err != nil {
			return err
		}
		s.PatternID = &record.ID
	}
	d.session = sessionOf{s, id, true}
	return nil
}

// keepSession puts a new session into the queue, ahead of its first shot.
func (d *logDesk) keepSession(ctx context.Context) error {
	if !d.session.new {
		return nil
	}
	text, err := json.Marshal(d.session.Session)
	if err != nil {
		return fmt.Errorf("write the session: %w", err)
	}
	if err := d.Put(ctx, d.squad.ID, client.Record{Kind: client.Session, ID: d.session.id, JSON: text}); err != nil {
		return err
	}
	d.session.new = false
	return nil
}

func (d *logDesk) chooseDrill(ctx context.Context, c *logCommand) error {
	if c.Drill == "none" {
		return nil
	}
	if c.Drill != "" {
		record, err := d.find(ctx, client.Drill, c.Drill)
		if err != nil {
			return err
		}
		if err := d.mustBeGiven(ctx, record); err != nil {
			return err
		}
		return d.takeDrill(ctx, record)
	}
	all, err := d.drillsToChoose(ctx)
	if err != nil || len(all) == 0 {
		return err
	}
	rows := make([][]string, len(all))
	for i, record := range all {
		asked, err := client.Decode[openapi.Drill](record)
		if err != nil {
			return err
		}
		rows[i] = []string{
			asked.Name,
			fmt.Sprintf("%d shots, %s to pass", asked.Reps, terminal.Percent(asked.PassShare)),
		}
	}
	question := choice{
		question: "For which drill?",
		kind:     client.Drill,
		records:  all,
		rows:     rows,
		others:   map[string]string{"0": "none"},
		standard: "1",
	}
	record, other, err := d.pick(ctx, question)
	if err != nil || other != "" {
		return err
	}
	return d.takeDrill(ctx, record)
}

// drillsToChoose are the drills on this computer that are assigned to the athlete.
func (d *logDesk) drillsToChoose(ctx context.Context) ([]client.Record, error) {
	given, err := d.given(ctx)
	if err != nil {
		return nil, err
	}
	drills, err := d.all(ctx, client.Drill)
	return slices.DeleteFunc(drills, func(r client.Record) bool { return !given[r.ID] }), err
}

// mustBeGiven fails for a drill that is not assigned to the athlete: the server would refuse their
// shots.
func (d *logDesk) mustBeGiven(ctx context.Context, drill client.Record) error {
	given, err := d.given(ctx)
	if err != nil || given[drill.ID] {
		return err
	}
	name, err := drill.Name()
	if err != nil {
		return err
	}
	return terminal.Usage("%s is not assigned to %s: a coach assigns it with laneward assign %q --to %q",
		name, d.athlete.Name, name, d.athlete.Name)
}

// given are the drills that are assigned to the athlete.
func (d *logDesk) given(ctx context.Context) (map[uuid.UUID]bool, error) {
	assignments, err := d.assignments(ctx)
	given := make(map[uuid.UUID]bool, len(assignments))
	for _, a := range assignments {
		given[a.DrillID] = true
	}
	return given, err
}

// assignments are those of the athlete.
func (d *logDesk) assignments(ctx context.Context) ([]openapi.Assignment, error) {
	records, err := d.OfAthlete(ctx, d.squad.ID, client.Assignment, *d.athlete.ID)
	if err != nil {
		return nil, err
	}
	assignments := make([]openapi.Assignment, len(records))
	for i, record := range records {
		if assignments[i], err = client.Decode[openapi.Assignment](record.Record); err != nil {
			return nil, err
		}
	}
	return assignments, nil
}

func (d *logDesk) chooseBall(ctx context.Context, c *logCommand) error {
	records, err := d.OfAthlete(ctx, d.squad.ID, client.Ball, *d.athlete.ID)
	if err != nil {
		return err
	}
	d.arsenal = make([]client.Record, len(records))
	for i, record := range records {
		d.arsenal[i] = record.Record
	}
	if c.Ball != "" {
		d.ball, err = d.findBall(c.Ball)
	}
	return err
}

// findBall finds one of the athlete's balls.
func (d *logDesk) findBall(text string) (*uuid.UUID, error) {
	record, err := client.Pick(d.arsenal, client.Ball, text)
	if err != nil {
		return nil, err
	}
	return &record.ID, nil
}
