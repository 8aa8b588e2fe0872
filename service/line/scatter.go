package line

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"laneward/service/drill"
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

// MeasureEstimate says how one number of a scatter came about. Used is the default drawn toward Own
// by pairs/(pairs + 10), where a pair counts for less than one when its readings err.
type MeasureEstimate struct {
	Name    string  `json:"name"`
	Pairs   int     `json:"pairs"` // consecutive shots of one session and ball that both measured it
	Own     float64 `json:"own"`   // from the pairs alone, reading errors taken out; 0 without pairs
	Default float64 `json:"default"`
	Used    float64 `json:"used"`
}

const (
	// defaultWeight is how many pairs the default counts for: with 10 pairs own and default weigh
	// the same. Our choice.
	defaultWeight = 10
	// moveLimit is how many deviations, of the default and the readings, two shots may lie apart; a
	// larger difference is another target, not a miss.
	moveLimit = 8
	// leastShare of the default is what reading errors leave of a scatter at least, lest an error
	// taken too large explain all of it. Our choice.
	leastShare = 0.5
)

type measure struct {
	name      string
	value     func(*shot.Shot) *float64
	reading   drill.Measure
	deviation func(*Scatter) *float64
}

var measures = []measure{
	{
		"arrows_boards",
		func(s *shot.Shot) *float64 { return s.ArrowsBoard },
		drill.Board,
		func(s *Scatter) *float64 { return &s.ArrowsBoards },
	},
	{
		"launch_angle_deg",
		func(s *shot.Shot) *float64 { return s.LaunchAngleDeg },
		drill.LaunchAngle,
		func(s *Scatter) *float64 { return &s.LaunchAngleDeg },
	},
	{
		"speed_mph",
		func(s *shot.Shot) *float64 { return s.SpeedMPH },
		drill.Speed,
		func(s *Scatter) *float64 { return &s.SpeedMPH },
	},
	{
		"rev_rpm",
		func(s *shot.Shot) *float64 { return s.RevRateRPM },
		drill.RevRate,
		func(s *Scatter) *float64 { return &s.RevRPM },
	},
}

// EstimateScatter estimates one athlete's scatter. What the athlete intended is not recorded, so it
// compares consecutive shots of a session with the same ball: of two independent shots of deviation
// s, the difference has mean size 2 s/sqrt(pi). A difference of more than 8 such deviations is
// another target and left out; smaller moves count as scatter. The error of each reading, stated or
// assumed of its source ([drill.AssumedErrors]), is taken out in squares. Few pairs, and pairs read
// with a large error, leave the result near [AssumedScatter]. The order of shots does not matter.
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
		if a == nil || b == nil || m.moved(*a-*b, pair, standard) {
			continue
		}
		row.Pairs++
		sum += math.Abs(*a - *b)
		errors += m.errorVariance(pair)
	}
	if row.Pairs == 0 {
		row.Used = standard
		return row
	}
	n := float64(row.Pairs)
	seen := sum / n * math.Sqrt(math.Pi) / 2
	row.Own = math.Sqrt(withoutError(seen*seen, errors/n, standard))
	evidence := n * square(trueShare(errors/n, standard))
	row.Used = math.Sqrt((defaultWeight*square(standard) + evidence*square(row.Own)) / (defaultWeight + evidence))
	return row
}

// errorVariance is the mean of the squared reading errors of a pair.
func (m measure) errorVariance(pair [2]*shot.Shot) float64 {
	return (square(drill.StandardError(m.reading, pair[0])) + square(drill.StandardError(m.reading, pair[1]))) / 2
}

// moved reports whether two shots lie so far apart that they were aimed at two targets.
func (m measure) moved(apart float64, pair [2]*shot.Shot, standard float64) bool {
	return math.Abs(apart) > moveLimit*math.Sqrt(square(standard)+m.errorVariance(pair))
}

// withoutError is the variance that is left of the one seen when that of the readings is taken out.
func withoutError(seen, errors, standard float64) float64 {
	return max(seen-errors, min(seen, square(leastShare*standard)))
}

// trueShare is what share of the variance seen is the athlete's and not the readings', to be
// expected. A variance is known from n pairs as well as from n times its square without any error.
func trueShare(errors, standard float64) float64 {
	return square(standard) / (square(standard) + errors)
}

func square(x float64) float64 { return x * x }

func correlation(pairs [][2]*shot.Shot, assumed Scatter) MeasureEstimate {
	standard := assumed.ArrowsAngleCorrelation
	row := MeasureEstimate{Name: "arrows_angle_correlation", Default: standard}
	boards, angles := measures[0], measures[1]
	var xx, xy, yy, xError, yError float64
	for _, pair := range pairs {
		a, b := pair[0], pair[1]
		if a.ArrowsBoard == nil || b.ArrowsBoard == nil || a.LaunchAngleDeg == nil || b.LaunchAngleDeg == nil {
			continue
		}
		x, y := *a.ArrowsBoard-*b.ArrowsBoard, *a.LaunchAngleDeg-*b.LaunchAngleDeg
		if boards.moved(x, pair, assumed.ArrowsBoards) || angles.moved(y, pair, assumed.LaunchAngleDeg) {
			continue
		}
		xx, xy, yy = xx+x*x/2, xy+x*y/2, yy+y*y/2
		xError, yError = xError+boards.errorVariance(pair), yError+angles.errorVariance(pair)
		row.Pairs++
	}
	if !(xx > 0 && yy > 0) { // nothing varied, so nothing is known
		row.Pairs, row.Used = 0, standard
		return row
	}
	n := float64(row.Pairs)
	own := math.Sqrt(
		withoutError(xx/n, xError/n, assumed.ArrowsBoards) * withoutError(yy/n, yError/n, assumed.LaunchAngleDeg),
	)
	row.Own = min(max(xy/n/own, -1), 1)
	evidence := n * trueShare(xError/n, assumed.ArrowsBoards) * trueShare(yError/n, assumed.LaunchAngleDeg)
	row.Used = (defaultWeight*standard + evidence*row.Own) / (defaultWeight + evidence)
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
