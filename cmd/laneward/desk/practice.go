package desk

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"

	openapitypes "github.com/oapi-codegen/runtime/types"

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

// loggedShot is a shot with how it stands with the server.
type loggedShot struct {
	shot.Shot
	rev   int64 // the revision a further change is based on
	state local.State
	day   string // of its session
}

// practice is the athlete's shots, as this computer has them, and what the drill says of them.
type practice struct {
	inSession []loggedShot // by order
	counted   []shot.Shot  // those that count for the drill, in the order thrown
	judged    map[uuid.UUID]drill.ShotJudgement
	score     drill.Adherence
}

// load reads the athlete's shots and judges those that count for the drill, as the server does.
func (d *logDesk) load(ctx context.Context) error {
	records, err := d.OfAthlete(ctx, d.squad.ID, client.Shot, *d.athlete.ID)
	if err != nil {
		return err
	}
	days, err := d.sessionDays(ctx)
	if err != nil {
		return err
	}
	all := make([]loggedShot, len(records))
	for i, record := range records {
		all[i] = loggedShot{rev: record.Rev, state: record.State}
		if err := json.Unmarshal(record.JSON, &all[i].Shot); err != nil {
			return fmt.Errorf("read shot %s: %w", record.ID, err)
		}
		all[i].day = days[all[i].SessionID]
	}
	slices.SortFunc(all, func(a, b loggedShot) int {
		return cmp.Or(
			cmp.Compare(a.day, b.day),
			slices.Compare(a.SessionID[:], b.SessionID[:]),
			cmp.Compare(a.Order, b.Order),
			slices.Compare(a.ID[:], b.ID[:]),
		)
	})
	counts, err := d.counts(ctx)
	if err != nil {
		return err
	}
	before := d.score.Verdict
	d.practice = practice{judged: make(map[uuid.UUID]drill.ShotJudgement)}
	for _, s := range all {
		if s.SessionID == d.session.id {
			d.inSession = append(d.inSession, s)
		}
		if d.drill != nil && counts(s) {
			d.counted = append(d.counted, s.Shot)
		}
	}
	if d.drill == nil {
		return nil
	}
	judgements := d.drill.Judge(d.counted)
	for i, one := range judgements {
		d.judged[d.counted[i].ID] = one
	}
	d.score = d.drill.Score(d.counted, judgements)
	d.score.Withdraw(before)
	return nil
}

// sessionDays are the days of all sessions, and of one that is stored with its first shot.
func (d *logDesk) sessionDays(ctx context.Context) (map[uuid.UUID]string, error) {
	all, err := d.all(ctx, client.Session)
	if err != nil {
		return nil, err
	}
	days := map[uuid.UUID]string{d.session.id: d.session.Date.String()}
	for _, record := range all {
		s, err := client.Decode[openapi.Session](record)
		if err != nil {
			return nil, err
		}
		days[record.ID] = s.Date.String()
	}
	return days, nil
}

// counts tells which shots count for the drill: from the day it was assigned to the day it is due
// those that name it or none; without an assignment those that name it.
func (d *logDesk) counts(ctx context.Context) (func(loggedShot) bool, error) {
	if d.drill == nil {
		return nil, nil //nolint:nilnil // not asked without a drill
	}
	assignments, err := d.assignments(ctx)
	if err != nil {
		return nil, err
	}
	from, to, assigned := spanOf(assignments, d.drill.id)
	return func(s loggedShot) bool {
		switch {
		case s.day == "", s.DrillID != nil && *s.DrillID != d.drill.id:
			return false
		case !assigned:
			return s.DrillID != nil
		}
		return s.day >= from && s.day <= to
	}, nil
}

// spanOf joins the assignments of a drill: from the first day of them to the last day due.
func spanOf(assignments []openapi.Assignment, asked uuid.UUID) (from, to string, assigned bool) {
	const open = "9999-12-31"
	for _, a := range assignments {
		if a.DrillID != asked {
			continue
		}
		due := open
		if a.DueOn != nil {
			due = dayWords(a.DueOn)
		}
		if begun := a.AssignedOn.String(); !assigned || begun < from {
			from = begun
		}
		to, assigned = max(to, due), true
	}
	return from, to, assigned
}

func dayWords(d *openapitypes.Date) string { return d.String() }

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
	word := map[drill.Verdict]string{drill.Kept: "kept", drill.Broken: "broken", drill.Unknown: "not judged"}[judged.Verdict]
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

// sureEnough is from which probability on nothing is said of the reading's error.
const sureEnough = 0.95

// likely says how likely it is that a shot was kept, where the reading's error leaves a doubt.
func likely(judged drill.ShotJudgement) string {
	kept := judged.ProbabilityKept
	if kept > sureEnough && judged.Verdict == drill.Kept || kept < 1-sureEnough && judged.Verdict == drill.Broken {
		return ""
	}
	return fmt.Sprintf(" (%s likely kept)", terminal.Percent(kept))
}

// standingWords says how the drill stands, in a line: in this session, and in all.
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
		words += ", " + map[drill.DrillVerdict]string{drill.Met: "met", drill.NotMet: "not met", drill.TooFewShots: "too few to tell"}[a.Verdict]
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
