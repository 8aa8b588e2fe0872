package line

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// The drill holds its line, and the share that aiming perfectly keeps is what random shots keep.
func TestCorridorCanBeKept(t *testing.T) {
	all := families(t)
	for _, f := range some([]family{all[3], all[6]}, all) {
		for i, athlete := range athletes()[:2] {
			request, s := prepared(t, freshLanes(f.shaped(40), athlete))
			plan := find(t, request)
			for _, line := range plan.Lines[:min(2, len(plan.Lines))] {
				c := line.Corridor
				own := line.Path.BreakpointBoard
				if c.At == AtArrows {
					own = line.ArrowsBoard
				}
				if !c.Found || float64(c.OuterBoard)-0.5 > own+1e-9 || float64(c.InnerBoard)+0.5 < own-1e-9 {
					t.Errorf("%s, athlete %d: the line lies at %g, its drill is %s", f.name, i, own, c.Drill)
				}
				if (c.At == AtArrows) != (line.Path.BreakpointFt < 15) {
					t.Errorf("%s: breakpoint at %g ft, judged at the %s", f.name, line.Path.BreakpointFt, c.At)
				}
				if c.KeptShare < leastKeptShare || c.PassShare > c.KeptShare+1e-9 ||
					c.PassShare < c.KeptShare-0.0501 && c.PassShare != mostPassShare {
					t.Errorf("%s: aiming perfectly keeps %g, asked is %g", f.name, c.KeptShare, c.PassShare)
				}
				if kept := randomlyKept(s, line); math.Abs(kept-c.KeptShare) > 0.04 {
					t.Errorf("%s: random shots keep %g, said is %g", f.name, kept, c.KeptShare)
				}
				if !strings.HasPrefix(c.Drill, "keep the ball ") {
					t.Errorf("drill %q", c.Drill)
				}
			}
		}
	}
}

// randomlyKept is the share of random shots along a line that its drill would judge as kept.
func randomlyKept(s *scorer, line Line) float64 {
	const n = 8000
	random := rand.New(rand.NewPCG(3, 4))
	scatter, release := s.athlete.Scatter, s.athlete.release(line.Aim)
	grown, kept := s.athlete.Habit.growth(line.LaunchAngleDeg), 0
	for range n {
		z, r := random.NormFloat64(), scatter.ArrowsAngleCorrelation
		one := miss{
			scatter.ArrowsBoards * z, scatter.LaunchAngleDeg * (r*z + math.Sqrt(1-r*r)*random.NormFloat64()),
			scatter.SpeedMPH * random.NormFloat64(), scatter.RevRPM * random.NormFloat64(),
		}.scaled(grown)
		o := s.table.Run(s.ball, one.apply(release))
		at := o.BreakpointBoard
		if line.Corridor.At == AtArrows {
			at = line.ArrowsBoard + one.arrowsBoards
		}
		if !o.Gutter && at >= float64(line.Corridor.OuterBoard)-0.5 && at <= float64(line.Corridor.InnerBoard)+0.5 {
			kept++
		}
	}
	return float64(kept) / n
}

// The limits are where misses leave the pocket's boards: just inside of them they do not, just
// beyond they do.
func TestCorridorLimits(t *testing.T) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		request, s := prepared(t, usual(t, film))
		for _, line := range find(t, request).Lines {
			for _, side := range []struct{ sign, limit float64 }{
				{-1, line.Corridor.OuterLimitBoard},
				{1, line.Corridor.InnerLimitBoard},
			} {
				good := 0.0
				for boards := 0.0; boards <= maxRoomBoards && s.onPocketBoards(s.typical(line.Aim.missed(side.sign*boards))); boards += 0.004 {
					good = boards
				}
				want := s.typical(line.Aim.missed(side.sign * good)).BreakpointBoard
				if line.Corridor.At == AtArrows {
					want = line.ArrowsBoard + side.sign*good
				}
				if math.Abs(side.limit-want) > 0.05 {
					t.Errorf("%s, line %d: limit %g, by small steps %g", film, line.Rank, side.limit, want)
				}
			}
		}
	}
}

func TestCorridorOfALineThatMisses(t *testing.T) {
	study, err := At(usual(t, "house_like.json"), Aim{30, 0})
	if err != nil {
		t.Fatal(err)
	}
	if study.Corridor != (Corridor{}) {
		t.Errorf("%+v", study.Corridor)
	}
}
