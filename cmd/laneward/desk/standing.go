package desk

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/service/drill"
	"laneward/service/shot"
)

// judgeOthers judges the shots of other sessions that count for the drill, in the order thrown; the
// first earlier of them are of earlier sessions.
func (d *logDesk) judgeOthers(others []shot.Shot, earlier int) {
	if d.drill == nil {
		return
	}
	judgements := d.drill.Judge(others)
	d.earlier = thrown{others[:earlier], judgements[:earlier]}
	d.later = thrown{others[earlier:], judgements[earlier:]}
	d.others = counts{shots: len(others)}
	for _, one := range judgements {
		if one.Verdict != drill.Unknown {
			d.others.judged++
		}
		if one.Verdict == drill.Kept {
			d.others.kept++
		}
	}
	d.held = d.drill.VerdictAfter(0, d.earlier.judgements)
}

func placeOf(s loggedShot) (athlete uuid.UUID, order int, id uuid.UUID) {
	return s.AthleteID, s.Order, s.ID
}

// judge judges the shots of the session. Those of other sessions are judged when they are read: no
// rule compares shots of two sessions.
func (d *logDesk) judge() {
	slices.SortFunc(d.inSession, func(a, b loggedShot) int {
		return cmp.Or(cmp.Compare(a.Order, b.Order), slices.Compare(a.ID[:], b.ID[:]))
	})
	for i, number := range shot.Numbers(d.inSession, placeOf) {
		d.inSession[i].number = number
	}
	d.judged = make(map[uuid.UUID]drill.ShotJudgement)
	if d.drill == nil {
		return
	}
	d.tonight = thrown{}
	for _, s := range d.inSession {
		if d.counts(s.Shot, d.session.Date.Time) {
			d.tonight.shots = append(d.tonight.shots, s.Shot)
		}
	}
	d.tonight.judgements = d.drill.Judge(d.tonight.shots)
	for i, one := range d.tonight.judgements {
		d.judged[d.tonight.shots[i].ID] = one
	}
	d.score = d.drill.Score(d.tonight.shots, d.tonight.judgements)
	d.before, d.verdict = d.verdict, d.score.Verdict
	switch {
	case d.held != drill.TooFewShots:
		d.verdict = d.held
	case d.others.shots > 0: // mostly few, for a verdict is reached within some dozen shots
		all := slices.Concat(d.earlier.judgements, d.tonight.judgements, d.later.judgements)
		d.verdict = d.drill.VerdictAfter(len(d.earlier.shots), all)
	}
}

// whole is the score of all shots that count for the drill. Its cost grows with their number, so a
// line shows the session's share instead.
func (d *logDesk) whole() *drill.Adherence {
	score := d.score
	if d.others.shots > 0 {
		score = d.drill.Score(
			slices.Concat(d.earlier.shots, d.tonight.shots, d.later.shots),
			slices.Concat(d.earlier.judgements, d.tonight.judgements, d.later.judgements),
		)
	}
	score.Withdraw(d.before)
	return &score
}

func (d *logDesk) showDrill() error {
	if d.drill == nil {
		return mistake("there is no drill: start again with --drill NAME for one")
	}
	score := d.whole()
	var b strings.Builder
	b.WriteString(d.drillWords(score))
	if score.Judged > 0 {
		interval := score.TrueShare.Interval
		fmt.Fprintf(
			&b,
			"  95 %% interval %.0f to %s; longest run %d",
			100*interval.Low,
			terminal.Percent(interval.High),
			score.LongestRun,
		)
		if score.OutsideMisses+score.InsideMisses > 0 {
			fmt.Fprintf(&b, "; missed outside %d, inside %d", score.OutsideMisses, score.InsideMisses)
		}
		if score.GutterBalls > 0 {
			fmt.Fprintf(&b, "; in the gutter %d", score.GutterBalls)
		}
		fmt.Fprintf(&b, ".\n%s", d.Paragraph(score.Reading, "  "))
	}
	return d.Print(b.String())
}

// drillWords are the drill's rules and how well it is kept, each on a line.
func (d *logDesk) drillWords(whole *drill.Adherence) string {
	var b strings.Builder
	for _, sentence := range d.drill.sentences {
		fmt.Fprintf(&b, "  %s.\n", sentence)
	}
	fmt.Fprintf(&b, "  %s.\n", d.standingWords(whole))
	return b.String()
}

// standingWords says in a line how well the drill is kept: in this session, and in all with the
// verdict. The share of all is shown when whole, the score of all, is not nil.
func (d *logDesk) standingWords(whole *drill.Adherence) string {
	if d.drill == nil {
		return ""
	}
	all := counts{
		d.others.shots + d.score.Shots,
		d.others.judged + d.score.Judged,
		d.others.kept + d.score.Kept,
	}
	words := d.drill.name + ": "
	switch {
	case all.judged == 0:
		words += "none measured yet"
	case d.others.shots == 0:
		words += fmt.Sprintf("%d of %d kept", all.kept, all.judged) + shareWords(&d.score)
	case d.score.Judged == 0:
		words += fmt.Sprintf("%d of %d kept", all.kept, all.judged) + shareWords(whole)
	default:
		words += fmt.Sprintf("%d of %d kept this session", d.score.Kept, d.score.Judged) + shareWords(&d.score) +
			fmt.Sprintf("; %d of %d in all", all.kept, all.judged) + shareWords(whole)
	}
	if all.judged > 0 {
		words += ", " + verdictWords[d.verdict]
	}
	if left := d.drill.Reps - all.shots; left > 0 {
		words += fmt.Sprintf(", %d to go", left)
	}
	if withdrawn := drill.Withdrawn(d.before, d.verdict); withdrawn != "" {
		words += fmt.Sprintf("; it was %s, but a shot behind that verdict has changed", withdrawn)
	}
	return words
}

var verdictWords = map[drill.DrillVerdict]string{
	drill.Met:         "met",
	drill.NotMet:      "not met",
	drill.TooFewShots: "too few to tell",
}

// shareWords is the share of a score's shots that kept the drill, ", 78 %", with its bounds where
// some were not measured; "" when score is nil.
func shareWords(score *drill.Adherence) string {
	if score == nil {
		return ""
	}
	words := ""
	if share := score.TrueShare.Share; share != nil {
		words = ", " + terminal.Percent(*share)
	}
	if score.Unknown > 0 {
		words += " (" + score.BoundsWords() + ")"
	}
	return words
}
