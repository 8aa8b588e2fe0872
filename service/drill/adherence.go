package drill

import (
	"fmt"

	"laneward/service/shot"
	"laneward/service/trend"
)

// A pocket hit is an entry on board 17 or 18, the strips from 16.5 to 18.5, counted from the
// athlete's own side, so that it needs no mirror. Source: governing-body research found the best
// strike rates there, about board 17.5 (read in relays of it).
const (
	PocketLowBoard  = 16.5
	PocketHighBoard = 18.5
)

// Proportion is a count of shots out of those that could be judged.
type Proportion struct {
	Count, Of int
	Share     *float64       // nil when Of is 0
	Interval  trend.Interval // 95 % Wilson; 0 to 1 when Of is 0
}

func proportion(count, of int) Proportion {
	p := Proportion{Count: count, Of: of, Interval: trend.Wilson(count, of, trend.Z95)}
	if of > 0 {
		share := float64(count) / float64(of)
		p.Share = &share
	}
	return p
}

// Comparison sets a share of some shots against the same share of others.
type Comparison struct {
	First, Second Proportion
	// Difference is the first share less the second, nil when either is missing; Interval is its 95
	// % confidence sequence, which may be read after every shot, -1 to 1 then.
	Difference *float64
	Interval   trend.Interval
}

func compare(first, second Proportion) Comparison {
	c := Comparison{
		First: first, Second: second,
		Interval: trend.WatchedDifference(
			float64(first.Count), float64(first.Of), float64(second.Count), float64(second.Of), trend.Alpha95),
	}
	if first.Share != nil && second.Share != nil {
		difference := *first.Share - *second.Share
		c.Difference = &difference
	}
	return c
}

// Sign is 1 when the whole interval of the difference lies above 0, -1 when below, and 0 when the
// shots do not decide.
func (c Comparison) Sign() int {
	switch {
	case c.Interval.Low > 0:
		return 1
	case c.Interval.High < 0:
		return -1
	}
	return 0
}

// RuleTally sums up one rule of a drill over all shots.
type RuleTally struct {
	Kept, Broken, Unknown int
	BrokenBelow           int      // broken on the outside or low side
	BrokenAbove           int      // broken on the inside or high side
	Estimated             int      // of the judged, those judged on an estimated value
	MeanMargin            *float64 // in the rule's unit, over the judged; nil when there is none
	Unit                  string
}

// Adherence is how well an athlete's shots keep a drill.
type Adherence struct {
	Shots, Kept, Broken, Unknown int
	// Judged is how many of the shots could be judged; its share of them is the coverage, 0 without
	// a shot.
	Judged   int
	Coverage float64
	// KeptShare is the kept share of the judged shots, by the readings as recorded.
	KeptShare Proportion
	// TrueShare is the share reported: it allows for the error of measurement and for what was not
	// measured.
	TrueShare TrueShare
	// OutsideMisses and InsideMisses count the broken shots by the side of the first board rule
	// they broke, GutterBalls those that broke one in the gutter.
	OutsideMisses, InsideMisses, GutterBalls int
	// MeanMargin is that of the first rule that has one, in MarginUnit; nil when none has.
	MeanMargin *float64
	MarginUnit string
	// LongestRun is the most kept shots in a row; an unknown shot ends a run.
	LongestRun int
	// RepsLeft is how many of the drill's shots are still to be thrown.
	RepsLeft int
	// Trend sets the later half of the judged shots (First) against the earlier half (Second); the
	// middle one of an odd number counts to neither.
	Trend Comparison
	// Verdict is what the sequential test said first; it is held while the shots behind it are
	// unchanged.
	Verdict  DrillVerdict
	Evidence Evidence
	// Withdrawn is the verdict that held before a shot behind it was changed, and no longer holds;
	// "" when there is none. See [Adherence.Withdraw].
	Withdrawn DrillVerdict
	// Pocket and Strike set the shots that kept the drill (First) against those that broke it
	// (Second). Only shots whose entry board was measured count for the pocket, and only those
	// whose standing pins were recorded for the strike.
	Pocket, Strike Comparison
	Rules          []RuleTally // in the drill's order
	// Reading says in one sentence for a coach what was done as asked and what was luck.
	Reading string
}

// Score sums up an athlete's shots against a drill. judged is what [Drill.Judge] returned for the
// same shots. It does not check who threw them: pass the shots of one athlete, in order of
// delivery, first balls at a full rack only.
func (d Drill) Score(shots []shot.Shot, judged []ShotJudgement) Adherence {
	a := Adherence{Shots: len(shots), Rules: d.tallies(judged)}
	verdicts := a.count(d, judged)
	a.Judged = a.Kept + a.Broken
	a.RepsLeft = max(0, d.Reps-a.Shots)
	a.KeptShare = proportion(a.Kept, a.Judged)
	if a.Shots > 0 {
		a.Coverage = float64(a.Judged) / float64(a.Shots)
	}
	a.Trend = halves(verdicts)
	a.weigh(d, judged)
	a.Pocket = keptAgainstBroken(judged, func(i int) (hit, known bool) {
		board := shots[i].EntryBoard
		return board != nil && PocketHit(*board), board != nil
	})
	a.Strike = keptAgainstBroken(judged, func(i int) (hit, known bool) {
		standing := shots[i].Standing
		return standing != nil && standing.Strike(), standing != nil
	})
	for _, rule := range a.Rules {
		if rule.MeanMargin != nil {
			a.MeanMargin, a.MarginUnit = rule.MeanMargin, rule.Unit
			break
		}
	}
	a.Reading = a.reading(d)
	return a
}

// weigh fills in the verdict and the share reported, from the chances that each shot was kept: the
// verdict by looking at the first shots as they were then, until it is reached.
func (a *Adherence) weigh(d Drill, judged []ShotJudgement) {
	weighed := newWeigher(d, judged)
	test := TestFor(d.PassShare, d.Reps)
	verdict, decidedAt := weighed.decide(test, 0)
	a.Verdict = verdict
	weighed.weigh(len(judged))
	low, high := weighed.bounds(len(judged))
	a.Evidence = test.evidence(len(judged), low, high, a.Verdict, decidedAt)
	a.TrueShare = weighed.share(d.Reps)
}

// VerdictAfter returns the verdict of an athlete's shots, in order of delivery, where the first
// open of them are known to have left it at [TooFewShots]: those are not looked at again. It equals
// the Verdict of [Drill.Score].
func (d Drill) VerdictAfter(open int, judged []ShotJudgement) DrillVerdict {
	verdict, _ := newWeigher(d, judged).decide(TestFor(d.PassShare, d.Reps), open)
	return verdict
}

// decide looks at the first shots as they stood then, beyond those that left the verdict open,
// until it is reached; decidedAt is 0 when it is not.
func (w *weigher) decide(test SequentialTest, open int) (verdict DrillVerdict, decidedAt int) {
	for n := max(open+1, min(firstLook, test.Reps)); n <= len(w.judged); n++ {
		if !looksAt(n) {
			continue
		}
		w.weigh(n)
		low, high := w.bounds(n)
		if verdict = test.Decide(n, low, high); verdict != TooFewShots {
			return verdict, n
		}
	}
	return TooFewShots, 0
}

// Withdrawn returns the verdict that held before shots were changed when it had been reached and no
// longer holds, otherwise "".
func Withdrawn(before, now DrillVerdict) DrillVerdict {
	if (before == Met || before == NotMet) && now != before {
		return before
	}
	return ""
}

// Withdraw records the verdict that held before shots were changed: when it is [Withdrawn], the
// score says so, in its reading too.
func (a *Adherence) Withdraw(before DrillVerdict) {
	if a.Withdrawn = Withdrawn(before, a.Verdict); a.Withdrawn != "" {
		a.Reading += fmt.Sprintf(" It was %s, but a shot behind that verdict has changed.", before)
	}
}

// count fills in what is counted shot by shot, and returns of the judged shots whether each was
// kept.
func (a *Adherence) count(d Drill, judged []ShotJudgement) []bool {
	verdicts := make([]bool, 0, len(judged))
	run := 0
	for i := range judged {
		j := &judged[i]
		if j.Verdict == Unknown {
			a.Unknown++
			run = 0
			continue
		}
		if j.Verdict == Kept {
			a.Kept++
			run++
			a.LongestRun = max(a.LongestRun, run)
		} else {
			a.Broken++
			run = 0
			a.countMiss(d, j)
		}
		verdicts = append(verdicts, j.Verdict == Kept)
	}
	return verdicts
}

// keptAgainstBroken compares how often the kept and the broken shots hit, among those for which it
// is known.
func keptAgainstBroken(judged []ShotJudgement, outcome func(i int) (hit, known bool)) Comparison {
	var kept, broken tally
	for i := range judged {
		hit, known := outcome(i)
		switch {
		case !known:
		case judged[i].Verdict == Kept:
			kept.add(hit)
		case judged[i].Verdict == Broken:
			broken.add(hit)
		}
	}
	return compare(kept.proportion(), broken.proportion())
}

// tally counts hits of the shots that could be judged.
type tally struct{ hits, of int }

func (t *tally) add(hit bool) {
	t.of++
	if hit {
		t.hits++
	}
}

func (t tally) proportion() Proportion { return proportion(t.hits, t.of) }

func (a *Adherence) countMiss(d Drill, j *ShotJudgement) {
	for i := range j.Rules {
		if d.Rules[i].Measure != Board {
			continue
		}
		switch j.Rules[i].Miss {
		case MissOutside:
			a.OutsideMisses++
			return
		case MissInside:
			a.InsideMisses++
			return
		case MissGutter:
			a.GutterBalls++
			return
		}
	}
}

func halves(verdicts []bool) Comparison {
	half := len(verdicts) / 2
	count := func(part []bool) Proportion {
		var t tally
		for _, kept := range part {
			t.add(kept)
		}
		return t.proportion()
	}
	return compare(count(verdicts[len(verdicts)-half:]), count(verdicts[:half]))
}

func (d Drill) tallies(judged []ShotJudgement) []RuleTally {
	tallies := make([]RuleTally, len(d.Rules))
	for i := range d.Rules {
		t := &tallies[i]
		t.Unit = d.Rules[i].Unit()
		margins, sum := 0, 0.0
		for k := range judged {
			j := &judged[k].Rules[i]
			switch j.Verdict {
			case Kept:
				t.Kept++
			case Broken:
				t.Broken++
			default:
				t.Unknown++
			}
			switch j.Miss {
			case MissOutside, MissLow:
				t.BrokenBelow++
			case MissInside, MissHigh:
				t.BrokenAbove++
			}
			if j.Basis == Estimated {
				t.Estimated++
			}
			if j.Basis != "" {
				margins++
				sum += j.Margin
			}
		}
		if margins > 0 {
			mean := sum / float64(margins)
			t.MeanMargin = &mean
		}
	}
	return tallies
}

// PocketHit reports whether an entry board, as the athlete counts it, is a pocket hit.
func PocketHit(entryBoard float64) bool {
	return entryBoard >= PocketLowBoard && entryBoard <= PocketHighBoard
}
