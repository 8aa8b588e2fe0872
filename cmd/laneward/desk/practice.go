package desk

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
	"laneward/service/drill"
	"laneward/service/shot"
)

// drillOf is the drill the shots are thrown for.
type drillOf struct {
	drill.Drill
	id        uuid.UUID
	name      string
	sentences []string
}

func (d *logDesk) takeDrill(ctx context.Context, record client.Record) error {
	asked := &drillOf{id: record.ID}
	if err := json.Unmarshal(record.JSON, &asked.Drill); err != nil {
		return fmt.Errorf("read the drill: %w", err)
	}
	if err := asked.Validate(); err != nil {
		return fmt.Errorf("this program cannot judge the drill, for it knows less than the server: update it (%w)", err)
	}
	var err error
	if asked.name, err = record.Name(); err != nil {
		return err
	}
	balls, err := d.all(ctx, client.Ball)
	if err != nil {
		return err
	}
	names := make(drill.BallNames, len(balls))
	for _, ball := range balls {
		if names[ball.ID], err = ball.Name(); err != nil {
			return err
		}
	}
	for _, rule := range asked.Rules {
		asked.sentences = append(asked.sentences, rule.Sentence(names))
	}
	d.drill = asked
	return nil
}

// loggedShot is a shot with its state on the server.
type loggedShot struct {
	shot.Shot
	rev   int64 // the revision a further change is based on
	state local.State
	// number is what the shot is called, which is its place unless another device gave that too.
	number string
}

// practice is the athlete's shots stored on this computer, and what the drill says of them. It is
// kept in memory, and a line judges its session alone, so that it costs the same however many shots
// are stored. Two cases cost more with more shots: after another process has written, what has
// changed is looked for and the other sessions are judged again; and a verdict that earlier sessions
// left open is looked for in all shots.
type practice struct {
	version   int64 // of the store when it was read
	read      map[uuid.UUID]loggedShot
	inSession []loggedShot
	assigned  *drill.Span // nil when the drill is not assigned

	// The shots that count for the drill: those of earlier sessions, of this one and of later ones.
	earlier, tonight, later thrown
	others                  counts // of earlier and later sessions
	// held is the verdict that the earlier shots alone have reached, which the others do not change.
	held drill.DrillVerdict

	judged          map[uuid.UUID]drill.ShotJudgement // of the session
	score           drill.Adherence                   // of the session
	verdict, before drill.DrillVerdict                // of all that counts: now, and before the last change
}

// thrown are shots with their judgements, in the order thrown.
type thrown struct {
	shots      []shot.Shot
	judgements []drill.ShotJudgement
}

// counts are how many shots were thrown, and what came of them.
type counts struct{ shots, judged, kept int }

// load reads the athlete's shots, unless they are unchanged since they were last read, and judges
// those that count for the drill as the server does.
func (d *logDesk) load(ctx context.Context) error {
	version, err := d.Version(ctx)
	if err != nil || version == d.version {
		return err
	}
	shots, err := d.shots(ctx)
	if err != nil {
		return err
	}
	days, err := d.sessionDays(ctx)
	if err != nil {
		return err
	}
	d.session.Date.Time = days[d.session.id]
	d.practice = practice{version: version, verdict: d.verdict, read: shots}
	if d.assigned, err = d.span(ctx); err != nil {
		return err
	}
	var others []shot.Shot
	for _, s := range shots {
		if s.SessionID == d.session.id {
			d.inSession = append(d.inSession, s)
		} else if day, known := days[s.SessionID]; known && d.counts(s.Shot, day) {
			others = append(others, s.Shot)
		}
	}
	order := func(a, b shot.Shot) int {
		return cmp.Or(
			days[a.SessionID].Compare(days[b.SessionID]),
			slices.Compare(a.SessionID[:], b.SessionID[:]),
			cmp.Compare(a.Order, b.Order),
			slices.Compare(a.ID[:], b.ID[:]),
		)
	}
	slices.SortFunc(others, order)
	at, _ := slices.BinarySearchFunc(others, shot.Shot{SessionID: d.session.id}, order)
	d.judgeOthers(others, at)
	d.judge()
	return nil
}

// shots returns the athlete's shots by id. It reads those that have changed since they were last
// read: a change on this computer may be changed again, a stored shot has another revision then.
func (d *logDesk) shots(ctx context.Context) (map[uuid.UUID]loggedShot, error) {
	heads, err := d.Heads(ctx, d.squad.ID, client.Shot, *d.athlete.ID)
	if err != nil {
		return nil, err
	}
	shots := make(map[uuid.UUID]loggedShot, len(heads))
	var changed []uuid.UUID
	for _, head := range heads {
		s, known := d.read[head.ID]
		if known && head.State == local.Synced && s.state == local.Synced && s.rev == head.Rev {
			shots[head.ID] = s
		} else {
			changed = append(changed, head.ID)
		}
	}
	var records []local.Record
	if len(changed) > len(shots) {
		records, err = d.OfAthlete(ctx, d.squad.ID, client.Shot, *d.athlete.ID)
	} else {
		records, err = d.each(ctx, changed)
	}
	if err != nil {
		return nil, err
	}
	for _, record := range records {
		if shots[record.ID], err = logged(record); err != nil {
			return nil, err
		}
	}
	return shots, nil
}

// each reads shots one by one; one that has just been deleted is left out.
func (d *logDesk) each(ctx context.Context, ids []uuid.UUID) (records []local.Record, err error) {
	for _, id := range ids {
		record, err := d.Get(ctx, d.squad.ID, client.Shot, id)
		switch {
		case err == nil:
			records = append(records, record)
		case client.CodeOf(err) != client.NotFound:
			return nil, err
		}
	}
	return records, nil
}

func logged(record local.Record) (loggedShot, error) {
	s := loggedShot{rev: record.Rev, state: record.State}
	if err := json.Unmarshal(record.JSON, &s.Shot); err != nil {
		return s, fmt.Errorf("read shot %s: %w", record.ID, err)
	}
	return s, nil
}

// refresh reads one shot of the session again, and rejudges the session.
func (d *logDesk) refresh(ctx context.Context, id uuid.UUID) error {
	d.inSession = slices.DeleteFunc(d.inSession, func(s loggedShot) bool { return s.ID == id })
	record, err := d.Get(ctx, d.squad.ID, client.Shot, id)
	if err == nil {
		var s loggedShot
		s, err = logged(record)
		d.inSession = append(d.inSession, s)
	}
	if err != nil && client.CodeOf(err) != client.NotFound {
		return err
	}
	d.judge()
	return nil
}

// sessionDays are the days of all sessions, and of one that is stored with its first shot.
func (d *logDesk) sessionDays(ctx context.Context) (map[uuid.UUID]time.Time, error) {
	all, err := d.all(ctx, client.Session)
	if err != nil {
		return nil, err
	}
	days := map[uuid.UUID]time.Time{d.session.id: d.session.Date.Time}
	for _, record := range all {
		s, err := client.Decode[openapi.Session](record)
		if err != nil {
			return nil, err
		}
		days[record.ID] = s.Date.Time
	}
	return days, nil
}

// counts reports whether a shot of a session on a day counts for the drill.
func (d *logDesk) counts(s shot.Shot, day time.Time) bool {
	return d.drill != nil && drill.Counts(d.drill.id, d.assigned, s.DrillID, day)
}

// span is when the athlete was asked to throw the drill, nil for never.
func (d *logDesk) span(ctx context.Context) (span *drill.Span, err error) {
	if d.drill == nil {
		return nil, nil //nolint:nilnil // nothing is asked
	}
	assignments, err := d.assignments(ctx)
	for _, a := range assignments {
		if a.DrillID != d.drill.id {
			continue
		}
		var due *time.Time
		if a.DueOn != nil {
			due = &a.DueOn.Time
		}
		span = drill.Join(span, a.AssignedOn.Time, due)
	}
	return span, err
}

// judgementWords says what came of a shot: "kept, 1.5 boards to spare".
func (d *logDesk) judgementWords(id uuid.UUID) string {
	judged, counts := d.judged[id]
	if d.drill == nil {
		return ""
	}
	if !counts {
		return "does not count for the drill"
	}
	var parts []string
	closest := -1
	for i, rule := range judged.Rules {
		switch {
		case rule.Verdict == drill.Kept:
			if rule.Basis != "" && (closest < 0 || rule.Margin < judged.Rules[closest].Margin) {
				closest = i
			}
		case rule.Verdict == judged.Verdict:
			parts = append(parts, d.ruleWords(i, rule))
		}
	}
	switch {
	case judged.Verdict != drill.Kept:
		if judged.Verdict == drill.Unknown {
			return "not judged: " + strings.Join(parts, "; ")
		}
		return "broken: " + strings.Join(parts, "; ") + doubt(judged)
	case closest >= 0:
		rule := judged.Rules[closest]
		return "kept, " + amount(rule.Margin, d.drill.Rules[closest].Unit()) + " to spare" + doubt(judged)
	}
	return "kept"
}

// shortVerdict is the verdict with the margin of the rule that decided it: kept +2.5, broken -0.5.
func (d *logDesk) shortVerdict(id uuid.UUID) string {
	judged, counts := d.judged[id]
	if !counts {
		return ""
	}
	word := map[drill.Verdict]string{
		drill.Kept:    "kept",
		drill.Broken:  "broken",
		drill.Unknown: "not judged",
	}[judged.Verdict]
	decided := -1
	for i, rule := range judged.Rules {
		if rule.Verdict == judged.Verdict && rule.Basis != "" &&
			(decided < 0 || rule.Margin < judged.Rules[decided].Margin) {
			decided = i
		}
	}
	if decided < 0 {
		return word
	}
	return fmt.Sprintf("%s %+.1f", word, judged.Rules[decided].Margin)
}

// ruleWords says why a rule was not kept, with the rule where there are several.
func (d *logDesk) ruleWords(i int, rule drill.Judgement) string {
	words := ""
	switch {
	case rule.Verdict == drill.Unknown:
		words = rule.Reason
	case rule.Miss == drill.MissGutter:
		words = "in the gutter"
	case rule.Basis == "":
		words = "not as asked"
	default:
		words = amount(-rule.Margin, d.drill.Rules[i].Unit()) + " " + missWords[rule.Miss]
	}
	if len(d.drill.Rules) > 1 {
		words = strings.ToLower(d.drill.sentences[i][:1]) + d.drill.sentences[i][1:] + " (" + words + ")"
	}
	return words
}

var missWords = map[drill.Miss]string{
	drill.MissOutside: "outside",
	drill.MissInside:  "inside",
	drill.MissLow:     "too low",
	drill.MissHigh:    "too high",
}

// amount writes a margin: 1 board, 1.5 boards, 0.4 mph.
func amount(value float64, unit string) string {
	text := strings.TrimSuffix(fmt.Sprintf("%.1f", value), ".0")
	if text == "1" && unit == "boards" {
		unit = "board"
	}
	return text + " " + unit
}

// doubt says how likely it is that a shot was kept, where a reading's error leaves it open.
func doubt(judged drill.ShotJudgement) string {
	if words := judged.Doubt(); words != "" {
		return " (" + words + ")"
	}
	return ""
}
