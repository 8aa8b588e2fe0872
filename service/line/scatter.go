package line

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/shot"
)

// Scatter is how much an athlete's shots differ from the intended one: one standard deviation each.
type Scatter struct {
	ArrowsBoards   float64 `json:"arrows_boards"`
	LaunchAngleDeg float64 `json:"launch_angle_deg"`
	SpeedMPH       float64 `json:"speed_mph"`
	RevRPM         float64 `json:"rev_rpm"`
	// ArrowsAngleCorrelation ties the first two, -1 to 1. From steady feet a ball sent outward
	// crosses the arrows outside: negative.
	ArrowsAngleCorrelation float64 `json:"arrows_angle_correlation"`
}

// AssumedScatter is a practised league bowler's: common practice, no source. With it the laydown
// scatters by 0.6 board.
func AssumedScatter() Scatter {
	return Scatter{ArrowsBoards: 1, LaunchAngleDeg: 0.3, SpeedMPH: 0.35, RevRPM: 12, ArrowsAngleCorrelation: -0.8}
}

// Validate reports every value that no scatter can have, joined into one error.
func (s Scatter) Validate() error {
	check := func(name string, value, low, high float64) error {
		if value >= low && value <= high {
			return nil
		}
		return &motion.RangeError{Name: name, Value: value, Low: low, High: high}
	}
	return errors.Join(
		check("arrows_boards", s.ArrowsBoards, 0, 10),
		check("launch_angle_deg", s.LaunchAngleDeg, 0, 5),
		check("speed_mph", s.SpeedMPH, 0, 5),
		check("rev_rpm", s.RevRPM, 0, 150),
		check("arrows_angle_correlation", s.ArrowsAngleCorrelation, -1, 1),
	)
}

// Estimate is a scatter estimated from shots, and what it rests on.
type Estimate struct {
	Scatter  Scatter           `json:"scatter"`
	Measures []MeasureEstimate `json:"measures"`
}

// MeasureEstimate says how one number of a scatter came about. Used is the default shrunk toward
// Own by the share of evidence, pairs/(pairs + 10).
type MeasureEstimate struct {
	Name    string  `json:"name"`
	Pairs   int     `json:"pairs"` // consecutive shots of one session and ball that both measured it
	Own     float64 `json:"own"`   // from the pairs alone; 0 without pairs
	Default float64 `json:"default"`
	Used    float64 `json:"used"`
}

const (
	// defaultWeight is how many pairs the default counts for: with 10 pairs own and default weigh
	// the same. Our choice.
	defaultWeight = 10
	// moveLimit is how many default deviations two shots may lie apart; a larger difference is
	// another target, not a miss.
	moveLimit = 8
	// measurementFloor keeps a stated measurement error from explaining all of the scatter.
	measurementFloor = 0.25
)

type measure struct {
	name      string
	value     func(*shot.Shot) *float64
	errorOf   func(*shot.Shot) *float64
	deviation func(*Scatter) *float64
}

var measures = []measure{
	{
		"arrows_boards",
		func(s *shot.Shot) *float64 { return s.ArrowsBoard },
		func(s *shot.Shot) *float64 { return s.Errors.Board },
		func(s *Scatter) *float64 { return &s.ArrowsBoards },
	},
	{
		"launch_angle_deg",
		func(s *shot.Shot) *float64 { return s.LaunchAngleDeg },
		func(s *shot.Shot) *float64 { return s.Errors.AngleDeg },
		func(s *Scatter) *float64 { return &s.LaunchAngleDeg },
	},
	{
		"speed_mph",
		func(s *shot.Shot) *float64 { return s.SpeedMPH },
		func(s *shot.Shot) *float64 { return s.Errors.SpeedMPH },
		func(s *Scatter) *float64 { return &s.SpeedMPH },
	},
	{
		"rev_rpm",
		func(s *shot.Shot) *float64 { return s.RevRateRPM },
		func(s *shot.Shot) *float64 { return s.Errors.RevRateRPM },
		func(s *Scatter) *float64 { return &s.RevRPM },
	},
}

// EstimateScatter estimates one athlete's scatter. What the athlete intended is not recorded, so it
// compares consecutive shots of a session with the same ball: of two independent shots of deviation
// s, the difference has mean size 2 s/sqrt(pi). A difference of more than 8 default deviations is
// another target and left out; smaller moves count as scatter. A stated measurement error is taken
// out in squares. Few pairs leave the result near [AssumedScatter]. The order of shots does not
// matter.
func EstimateScatter(shots []shot.Shot) Estimate {
	pairs := consecutive(shots)
	estimate := Estimate{Scatter: AssumedScatter()}
	for _, m := range measures {
		used := m.deviation(&estimate.Scatter)
		row := m.estimate(pairs, *used)
		*used = row.Used
		estimate.Measures = append(estimate.Measures, row)
	}
	row := correlation(pairs, AssumedScatter())
	estimate.Scatter.ArrowsAngleCorrelation = row.Used
	estimate.Measures = append(estimate.Measures, row)
	return estimate
}

// consecutive pairs each shot with the next of the same session and ball.
func consecutive(shots []shot.Shot) [][2]*shot.Shot {
	ordered := make([]*shot.Shot, len(shots))
	for i := range shots {
		ordered[i] = &shots[i]
	}
	slices.SortFunc(ordered, func(a, b *shot.Shot) int {
		return cmp.Or(
			cmp.Compare(a.SessionID.String(), b.SessionID.String()),
			cmp.Compare(a.Order, b.Order),
			cmp.Compare(a.ID.String(), b.ID.String()),
		)
	})
	var pairs [][2]*shot.Shot
	for i := 1; i < len(ordered); i++ {
		a, b := ordered[i-1], ordered[i]
		sameBall := a.BallID == nil && b.BallID == nil || a.BallID != nil && b.BallID != nil && *a.BallID == *b.BallID
		if a.SessionID == b.SessionID && sameBall {
			pairs = append(pairs, [2]*shot.Shot{a, b})
		}
	}
	return pairs
}

func (m measure) estimate(pairs [][2]*shot.Shot, standard float64) MeasureEstimate {
	row := MeasureEstimate{Name: m.name, Default: standard}
	sum, errors := 0.0, 0.0
	for _, pair := range pairs {
		a, b := m.value(pair[0]), m.value(pair[1])
		if a == nil || b == nil || math.Abs(*a-*b) > moveLimit*standard {
			continue
		}
		row.Pairs++
		sum += math.Abs(*a - *b)
		for _, s := range pair {
			if e := m.errorOf(s); e != nil {
				errors += *e * *e / 2
			}
		}
	}
	if row.Pairs > 0 {
		seen := sum / float64(row.Pairs) * math.Sqrt(math.Pi) / 2
		row.Own = math.Sqrt(max(seen*seen-errors/float64(row.Pairs), measurementFloor*seen*seen))
	}
	n := float64(row.Pairs)
	row.Used = math.Sqrt((defaultWeight*standard*standard + n*row.Own*row.Own) / (defaultWeight + n))
	return row
}

func correlation(pairs [][2]*shot.Shot, assumed Scatter) MeasureEstimate {
	standard := assumed.ArrowsAngleCorrelation
	row := MeasureEstimate{Name: "arrows_angle_correlation", Default: standard}
	var xx, xy, yy float64
	for _, pair := range pairs {
		a, b := pair[0], pair[1]
		if a.ArrowsBoard == nil || b.ArrowsBoard == nil || a.LaunchAngleDeg == nil || b.LaunchAngleDeg == nil {
			continue
		}
		x, y := *a.ArrowsBoard-*b.ArrowsBoard, *a.LaunchAngleDeg-*b.LaunchAngleDeg
		if math.Abs(x) > moveLimit*assumed.ArrowsBoards || math.Abs(y) > moveLimit*assumed.LaunchAngleDeg {
			continue
		}
		xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
		row.Pairs++
	}
	if xx > 0 && yy > 0 {
		row.Own = xy / math.Sqrt(xx*yy)
	} else {
		row.Pairs = 0 // nothing varied, so nothing is known
	}
	n := float64(row.Pairs)
	row.Used = (defaultWeight*standard + n*row.Own) / (defaultWeight + n)
	return row
}

// miss is one delivery's difference from the intended one.
type miss struct {
	arrowsBoards, angleDeg, speedMPH, revRPM float64
}

// draws returns n deliveries of the scatter, n even: points of an additive recurrence (Roberts's
// generalised golden ratio in four dimensions) through the inverse normal distribution, each with
// its opposite, scaled to the exact deviation. They are the same for every aim, so that aims differ
// by their lines and not by luck.
func (s Scatter) draws(n int) []miss {
	const ratio = 1.16730397826141868 // the root of x^5 = x + 1
	half := n / 2
	normal := make([][4]float64, half)
	var squares [4]float64
	for i := range normal {
		for d := range normal[i] {
			_, share := math.Modf(0.5 + float64(i+1)*math.Pow(ratio, -float64(d+1)))
			normal[i][d] = math.Sqrt2 * math.Erfinv(2*share-1)
			squares[d] += normal[i][d] * normal[i][d]
		}
	}
	misses := make([]miss, 0, n)
	for _, z := range normal {
		for d := range z {
			if squares[d] > 0 {
				z[d] *= math.Sqrt(float64(half) / squares[d])
			}
		}
		r := s.ArrowsAngleCorrelation
		one := miss{
			arrowsBoards: s.ArrowsBoards * z[0], angleDeg: s.LaunchAngleDeg * (r*z[0] + math.Sqrt(1-r*r)*z[1]),
			speedMPH: s.SpeedMPH * z[2], revRPM: s.RevRPM * z[3],
		}
		misses = append(misses, one, miss{-one.arrowsBoards, -one.angleDeg, -one.speedMPH, -one.revRPM})
	}
	return misses
}

// scaled returns the miss, so much larger.
func (m miss) scaled(factor float64) miss {
	return miss{factor * m.arrowsBoards, factor * m.angleDeg, factor * m.speedMPH, factor * m.revRPM}
}

// apply turns the typical release into the missed one. The laydown follows from where the ball
// crosses the arrows and its angle.
func (m miss) apply(r motion.Release) motion.Release {
	angleDeg := r.LaunchAngleDeg + m.angleDeg
	r.LaydownBoard += m.arrowsBoards + lane.ArrowsFt*(lane.BoardsPerFoot(angleDeg)-lane.BoardsPerFoot(r.LaunchAngleDeg))
	r.LaunchAngleDeg = angleDeg
	r.SpeedMPH = max(r.SpeedMPH+m.speedMPH, 1)
	r.RevRPM = max(r.RevRPM+m.revRPM, 0)
	return r
}
