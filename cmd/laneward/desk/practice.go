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

	"laneward/cmd/laneward/terminal"

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
}

// practice is what this computer has of the athlete's shots, and what the drill says of them. It is
// kept in memory: it is read again when another process has written, and what is typed is added to
// it, so that a line costs the same however many shots are stored.
type practice struct {
	version   int64 // of the store when it was read
	inSession []loggedShot
	assigned  *drill.Span // nil when the drill is not assigned

	// The shots that count for the drill, in the order thrown, and their judgements: those of the
	// session come between those of earlier and of later ones.
	counted         []shot.Shot
	judgements      []drill.ShotJudgement
	earlier         int // how many are of earlier sessions
	later           []shot.Shot
	laterJudgements []drill.ShotJudgement

	judged map[uuid.UUID]drill.ShotJudgement // of the session
	score  drill.Adherence
}

// load reads the athlete's shots, unless they are unchanged since they were last read, and judges
// those that count for the drill as the server does.
func (d *logDesk) load(ctx context.Context) error {
	version, err := d.Version(ctx)
	if err != nil || version == d.version {
		return err
	}
	records, err := d.OfAthlete(ctx, d.squad.ID, client.Shot, *d.athlete.ID)
	if err != nil {
		return err
	}
	days, err := d.sessionDays(ctx)
	if err != nil {
		return err
	}
	d.session.Date.Time = days[d.session.id]
	d.practice = practice{version: version, score: drill.Adherence{Verdict: d.score.Verdict}}
	if d.assigned, err = d.span(ctx); err != nil {
		return err
	}
	var others []shot.Shot
	for _, record := range records {
		s, err := logged(record)
		if err != nil {
			return err
		}
		if s.SessionID == d.session.id {
			d.inSession = append(d.inSession, s)
		} else if day, known := days[s.SessionID]; known && d.counts(s.Shot, day) {
			others = append(others, s.Shot)
		}
	}
	thrown := func(a, b shot.Shot) int {
		return cmp.Or(
			days[a.SessionID].Compare(days[b.SessionID]),
			slices.Compare(a.SessionID[:], b.SessionID[:]),
			cmp.Compare(a.Order, b.Order),
			slices.Compare(a.ID[:], b.ID[:]),
		)
	}
	slices.SortFunc(others, thrown)
	at, _ := slices.BinarySearchFunc(others, shot.Shot{SessionID: d.session.id}, thrown)
	d.earlier, d.counted, d.later = at, slices.Clone(others[:at]), others[at:]
	if d.drill != nil {
		judgements := d.drill.Judge(others)
		d.judgements, d.laterJudgements = slices.Clone(judgements[:at]), judgements[at:]
	}
	d.judge()
	return nil
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

// judge judges the shots of the session. Those of other sessions are judged when they are read: no
// rule compares shots of two sessions.
func (d *logDesk) judge() {
	slices.SortFunc(d.inSession, func(a, b loggedShot) int {
		return cmp.Or(cmp.Compare(a.Order, b.Order), slices.Compare(a.ID[:], b.ID[:]))
	})
	d.judged = make(map[uuid.UUID]drill.ShotJudgement)
	if d.drill == nil {
		return
	}
	var counted []shot.Shot
	for _, s := range d.inSession {
		if d.counts(s.Shot, d.session.Date.Time) {
			counted = append(counted, s.Shot)
		}
	}
	judgements := d.drill.Judge(counted)
	for i, one := range judgements {
		d.judged[counted[i].ID] = one
	}
	d.counted = append(append(d.counted[:d.earlier], counted...), d.later...)
	d.judgements = append(append(d.judgements[:d.earlier], judgements...), d.laterJudgements...)
	before := d.score.Verdict
	d.score = d.drill.Score(d.counted, d.judgements)
	d.score.Withdraw(before)
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
		return "broken: " + strings.Join(parts, "; ") + likely(judged)
	case closest >= 0:
		rule := judged.Rules[closest]
		return "kept, " + amount(rule.Margin, d.drill.Rules[closest].Unit()) + " to spare" + likely(judged)
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

// sureEnough is the probability from which the reading's error is not mentioned.
const sureEnough = 0.95

// likely says how likely it is that a shot was kept, where the reading's error leaves it in doubt.
func likely(judged drill.ShotJudgement) string {
	kept := judged.ProbabilityKept
	if kept > sureEnough && judged.Verdict == drill.Kept || kept < 1-sureEnough && judged.Verdict == drill.Broken {
		return ""
	}
	return fmt.Sprintf(" (%s likely kept)", terminal.Percent(kept))
}

// standingWords says in a line how well the drill is kept: in this session, and in all.
func (d *logDesk) standingWords() string {
	if d.drill == nil {
		return ""
	}
	a := d.score
	words := d.drill.name + ": none measured yet"
	if a.Judged > 0 {
		words = d.keptWords()
		if share := a.TrueShare.Share; share != nil {
			words += ", " + terminal.Percent(*share)
		}
		if a.Unknown > 0 {
			words += " (" + a.BoundsWords() + ")"
		}
		words += ", " + map[drill.DrillVerdict]string{
			drill.Met:         "met",
			drill.NotMet:      "not met",
			drill.TooFewShots: "too few to tell",
		}[a.Verdict]
	}
	if a.RepsLeft > 0 {
		words += fmt.Sprintf(", %d to go", a.RepsLeft)
	}
	if a.Withdrawn != "" {
		words += fmt.Sprintf("; it was %s, but a shot behind that verdict has changed", a.Withdrawn)
	}
	return words
}

// keptWords counts the shots kept, of this session apart where others count too.
func (d *logDesk) keptWords() string {
	kept, judged := 0, 0
	for _, s := range d.inSession {
		switch d.judged[s.ID].Verdict {
		case drill.Kept:
			kept, judged = kept+1, judged+1
		case drill.Broken:
			judged++
		}
	}
	if judged == 0 || judged == d.score.Judged {
		return fmt.Sprintf("%s: %d of %d kept", d.drill.name, d.score.Kept, d.score.Judged)
	}
	return fmt.Sprintf(
		"%s: %d of %d kept this session, %d of %d in all",
		d.drill.name,
		kept,
		judged,
		d.score.Kept,
		d.score.Judged,
	)
}
