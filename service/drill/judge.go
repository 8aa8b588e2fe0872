package drill

import (
	"math"

	"laneward/service/lane"
	"laneward/service/shot"
	"laneward/service/tenpin"
)

// Verdict is the result of a rule, or of all rules, on one shot.
type Verdict string

// A shot kept a rule, broke it, or did not record what the rule needs.
const (
	Kept    Verdict = "kept"
	Broken  Verdict = "broken"
	Unknown Verdict = "unknown"
)

// Miss is the side on which a shot broke a bound: outside or inside for boards, low or high for
// other measures; or the gutter, where a ball keeps no rule on its path.
type Miss string

// The sides of a miss; NoMiss is also the side of a broken ball or leave rule, which has none.
const (
	NoMiss      Miss = ""
	MissOutside Miss = "outside"
	MissInside  Miss = "inside"
	MissLow     Miss = "low"
	MissHigh    Miss = "high"
	MissGutter  Miss = "gutter"
)

// Judgement is one rule judged on one shot. When Basis is "" there is no number: the verdict is
// unknown, or the rule is on a ball or a leave; Value, StandardError and Margin are then 0 and mean
// nothing.
type Judgement struct {
	Verdict Verdict
	Basis   Basis
	// Value is what was judged, StandardError its standard error, and Margin its distance to the
	// nearer edge, positive when kept, all in the rule's unit.
	Value, StandardError, Margin float64
	// ProbabilityKept is the probability that the true value kept the rule, given a normal error of
	// measurement: from [Drill.Judge] with how far the athlete's own shots spread, from
	// [Rule.Judge] from this reading alone. 0 when unknown, 0 or 1 for a ball, a leave or a ball in
	// the gutter.
	ProbabilityKept float64
	Miss            Miss
	Reason          string // why it is unknown
}

// edgeTolerance keeps the rounding of decimal fractions from deciding: a value this close to an
// edge is on it.
const edgeTolerance = 1e-9

// Judge judges one shot. previous is the athlete's shot before it in the same session, nil when
// there is none; only a move looks at it. The rule must be valid. Judge does not allocate.
func (r Rule) Judge(s, previous *shot.Shot) Judgement {
	switch r.Measure {
	case Ball:
		return r.judgeBall(s)
	case Leave:
		return r.judgeLeave(s)
	case Split:
		return judgeSplit(s)
	}
	value := r.read(s, previous)
	switch {
	case value.basis != "":
		return r.judgeNumber(value)
	case r.lostInGutter(s):
		return Judgement{Verdict: Broken, Miss: MissGutter}
	}
	return Judgement{Verdict: Unknown, Reason: value.reason}
}

func (r Rule) judgeBall(s *shot.Shot) Judgement {
	if s.BallID == nil {
		return Judgement{Verdict: Unknown, Reason: "no ball was recorded"}
	}
	for i := range r.Balls {
		if r.Balls[i] == *s.BallID {
			return Judgement{Verdict: Kept, ProbabilityKept: 1}
		}
	}
	return Judgement{Verdict: Broken}
}

// judgeLeave: a full rack keeps no rule on leaves, because nothing was hit.
func (r Rule) judgeLeave(s *shot.Shot) Judgement {
	switch {
	case s.Standing == nil && s.Gutter != "":
		return Judgement{Verdict: Broken}
	case s.Standing == nil:
		return Judgement{Verdict: Unknown, Reason: "the standing pins were not recorded"}
	case *s.Standing == lane.FullRack:
		return Judgement{Verdict: Broken}
	}
	for _, leave := range r.Leaves {
		if leave == *s.Standing {
			return Judgement{Verdict: Broken}
		}
	}
	return Judgement{Verdict: Kept, ProbabilityKept: 1}
}

// judgeSplit: as with a leave, a full rack keeps nothing.
func judgeSplit(s *shot.Shot) Judgement {
	switch {
	case s.Standing == nil && s.Gutter != "":
		return Judgement{Verdict: Broken}
	case s.Standing == nil:
		return Judgement{Verdict: Unknown, Reason: "the standing pins were not recorded"}
	case *s.Standing == lane.FullRack || tenpin.Split(*s.Standing):
		return Judgement{Verdict: Broken}
	}
	return Judgement{Verdict: Kept, ProbabilityKept: 1}
}

func (r Rule) judgeNumber(value reading) Judgement {
	low, high := r.Edges()
	j := Judgement{
		Verdict: Kept, Basis: value.basis, Value: value.value, StandardError: value.standardError,
		Margin: math.Min(value.value-low, high-value.value),
	}
	if math.Abs(j.Margin) < edgeTolerance {
		j.Margin = 0
	}
	if r.Measure == Board && !lane.OnLane(value.value) {
		j.Verdict, j.Miss = Broken, MissGutter
		j.Margin = math.Min(math.Min(j.Margin, value.value-lane.MinBoard), lane.MaxBoard-value.value)
		return j
	}
	if j.Margin < 0 {
		j.Verdict = Broken
		j.Miss = r.missed(value.value < low)
	}
	j.ProbabilityKept = probabilityWithin(low, high, value.value, value.standardError, j.Margin)
	return j
}

func (r Rule) missed(below bool) Miss {
	switch inBoards := r.subject() == Board; {
	case inBoards && below:
		return MissOutside
	case inBoards:
		return MissInside
	case below:
		return MissLow
	}
	return MissHigh
}

// probabilityWithin is the normal probability between two edges; without an error the margin alone
// decides.
func probabilityWithin(low, high, value, standardError, margin float64) float64 {
	if standardError == 0 {
		if margin < 0 {
			return 0
		}
		return 1
	}
	below := math.Erfc((value-low)/(standardError*math.Sqrt2)) / 2
	above := math.Erfc((high-value)/(standardError*math.Sqrt2)) / 2
	return math.Max(0, 1-below-above)
}

// read returns the number the rule looks at.
func (r Rule) read(s, previous *shot.Shot) reading {
	now := r.readOne(s)
	if now.basis != "" && r.Measure == Move {
		now = r.change(now, previous)
	}
	if now.basis != "" && (math.IsNaN(now.value) || math.IsInf(now.value, 0)) {
		return reading{reason: "what was recorded is not a number"}
	}
	return now
}

// change is how far the measure moved since the shot before, the errors of the two readings taken
// as independent.
func (r Rule) change(now reading, previous *shot.Shot) reading {
	if previous == nil {
		return reading{reason: "there is no shot before it in the session"}
	}
	then := r.readOne(previous)
	if then.basis == "" {
		return reading{reason: "the shot before did not record it"}
	}
	now.value -= then.value
	now.standardError = math.Hypot(now.standardError, then.standardError)
	if then.basis == Estimated {
		now.basis = Estimated
	}
	return now
}

// Corridor returns the boards, as exact positions on the lane, that a rule on a board allows the
// next shot; a move's are those from the board of the previous shot. ok is false for a rule on no
// board, and for a move without a previous shot that recorded it.
func (r Rule) Corridor(previous *shot.Shot) (low, high float64, ok bool) {
	if r.subject() != Board {
		return 0, 0, false
	}
	low, high = r.Edges()
	if r.Measure == Move {
		if previous == nil {
			return 0, 0, false
		}
		from := r.readOne(previous)
		if from.basis == "" {
			return 0, 0, false
		}
		low, high = low+from.value, high+from.value
	}
	onLane := func(board float64) float64 { return math.Max(lane.MinBoard, math.Min(lane.MaxBoard, board)) }
	return onLane(low), onLane(high), true
}

func (r Rule) readOne(s *shot.Shot) reading {
	measure := r.subject()
	switch measure {
	case Board:
		if r.PastFt != nil {
			return r.boardPast(s)
		}
		return boardOf(r.At, r.AtFt, s)
	case BreakpointDistance:
		return measured(s.BreakpointFt, measure, s, "no distance of the breakpoint was recorded")
	case LaunchAngle:
		return measured(s.LaunchAngleDeg, measure, s, "no launch angle was recorded")
	case EntryAngle:
		return measured(s.EntryAngleDeg, measure, s, "no entry angle was recorded")
	case Speed:
		return measured(s.SpeedMPH, measure, s, "no speed was recorded")
	case RevRate:
		return measured(s.RevRateRPM, measure, s, "no rev rate was recorded")
	case Rotation:
		return measured(s.RotationDeg, measure, s, "no axis rotation was recorded")
	case Tilt:
		return measured(s.TiltDeg, measure, s, "no axis tilt was recorded")
	}
	return reading{reason: "the rule has no measure"}
}

func measured(value *float64, m Measure, s *shot.Shot, reason string) reading {
	if value == nil {
		return reading{reason: reason}
	}
	return reading{value: *value, standardError: StandardError(m, s), basis: Measured}
}

// ShotJudgement is one shot judged against all rules of a drill, in the drill's order.
type ShotJudgement struct {
	// Verdict is kept when all rules were kept, broken when any was broken, else unknown.
	Verdict Verdict
	// ProbabilityKept is the product over the rules that could be judged, their errors taken as
	// independent; 0 when unknown.
	ProbabilityKept float64
	Rules           []Judgement
}

// Judge judges an athlete's shots, in their order of delivery, and returns one judgement for each.
// A shot is compared with the one before it in the slice when both are of one session. The chance
// that a shot kept a rule is read with the spread of all these shots; see [chances]. The drill must
// be valid, and be [Drill.For] the athlete's side.
func (d Drill) Judge(shots []shot.Shot) []ShotJudgement {
	judged := make([]ShotJudgement, len(shots))
	all := make([]Judgement, len(shots)*len(d.Rules))
	for i := range shots {
		var previous *shot.Shot
		if i > 0 && shots[i-1].SessionID == shots[i].SessionID && shots[i-1].AthleteID == shots[i].AthleteID {
			previous = &shots[i-1]
		}
		judged[i].Rules = all[:len(d.Rules):len(d.Rules)]
		all = all[len(d.Rules):]
		for j := range d.Rules {
			judged[i].Rules[j] = d.Rules[j].Judge(&shots[i], previous)
		}
	}
	weighed := newWeigher(d, judged)
	weighed.weigh(len(judged))
	for i := range judged {
		for j := range d.Rules {
			if judged[i].Rules[j].Verdict != Unknown {
				judged[i].Rules[j].ProbabilityKept = weighed.kept[j][i]
			}
		}
		judged[i].join()
	}
	return judged
}

func (s *ShotJudgement) join() {
	s.Verdict, s.ProbabilityKept = Kept, 1
	for i := range s.Rules {
		switch s.Rules[i].Verdict {
		case Broken:
			s.Verdict = Broken
		case Unknown:
			if s.Verdict == Kept {
				s.Verdict = Unknown
			}
			continue
		}
		s.ProbabilityKept *= s.Rules[i].ProbabilityKept
	}
	if s.Verdict == Unknown {
		s.ProbabilityKept = 0
	}
}
