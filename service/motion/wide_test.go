package motion

import (
	"math"
	"testing"

	"laneward/service/lane"
)

// Where there is no gutter on the way, a path in half feet is that of small steps.
func TestWideFollowsTrace(t *testing.T) {
	for _, name := range []string{"house-like", "flat-long"} {
		surface := FilmSurface(readFilm(t, name), NominalFriction(), lane.Right)
		compared, worst := 0, 0.0
		for _, release := range manyReleases(300) {
			path, err := Trace(surface, DefaultBall(), release, nil)
			if err != nil {
				t.Fatal(err)
			}
			if !path.Reaches() {
				continue
			}
			compared++
			worst = max(worst, math.Abs(Wide(surface, DefaultBall(), release).PinBoard-path.PinBoard))
		}
		if compared < 150 || worst > 0.05 {
			t.Errorf("%s: of %d paths the worst differs by %.3f board", name, compared, worst)
		}
	}
}

// A ball that leaves the lane rolls on as on its edge, where another release would have stayed.
func TestWideHasNoGutter(t *testing.T) {
	surface := FilmSurface(readFilm(t, "house-like"), NominalFriction(), lane.Right)
	release := Release{LaydownBoard: 15, SpeedMPH: 17, RevRPM: 300, RotationDeg: 50, TiltDeg: 12}
	before := math.Inf(1)
	for angleDeg := 1.0; angleDeg <= 5; angleDeg += 0.25 {
		release.LaunchAngleDeg = angleDeg
		o := Wide(surface, DefaultBall(), release)
		if !o.Reaches() || o.BreakpointBoard >= before {
			t.Errorf("launched at %g degrees: outermost at %g, %g before: %+v", angleDeg, o.BreakpointBoard, before, o)
		}
		before = o.BreakpointBoard
	}
	if before > 0 {
		t.Errorf("the last ball is outermost at %g and never left the lane", before)
	}
}
