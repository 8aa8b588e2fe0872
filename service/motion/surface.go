package motion

import (
	"fmt"
	"math"
	"slices"

	"laneward/service/lane"
	"laneward/service/oil"
)

// Surface is a lane as the ball feels it: a friction coefficient everywhere.
type Surface struct {
	mu       func(board, ft float64) float64 // at a slip of 5 m/s where slip is not 0
	slip     SlipScale
	breaksFt []float64
}

// NewSurface makes a surface of any friction function of the athlete's board and the distance. At
// breaksFt, in any order, mu may jump: paths are split there, so that no step straddles a jump. A
// jump across the boards cannot be named and costs accuracy.
func NewSurface(mu func(board, ft float64) float64, breaksFt ...float64) Surface {
	return Surface{mu: mu, breaksFt: slices.Sorted(slices.Values(breaksFt))}
}

// FilmSurface is an oil film under a friction law as an athlete of this side meets it. The film
// must not change while the surface is used.
func FilmSurface(film *oil.Film, friction Friction, side lane.Side) Surface {
	if side == lane.Left {
		film = film.Mirror()
	}
	surface := NewSurface(func(board, ft float64) float64 { return friction.Film(film.UnitsAt(board, ft)) })
	surface.slip = friction.SlipMPS
	return surface
}

// traceStepFt is the step of an accurate path. Against an eighth of it, 300 paths moved at most
// 2e-5 board at the pins over smooth films and 1e-4 over one with hard edges.
const traceStepFt = 1.0 / 64

// EveryFoot is the default stations: 0, 1, ... 60 ft.
func EveryFoot() []float64 {
	stations := make([]float64, oil.Rows+1)
	for i := range stations {
		stations[i] = float64(i)
	}
	return stations
}

// Trace computes one path accurately and reports it at the stations, rising distances from 0 to 60
// ft (those beyond the path's end are left out). Where friction depends on the distance alone and
// jumps only at the surface's breaks, the path is exact to rounding. For many paths use a [Table].
// The error names a value that cannot be, or a friction that is negative or not finite.
func Trace(surface Surface, ball Ball, release Release, stationsFt []float64) (Path, error) {
	if err := ball.Validate(); err != nil {
		return Path{}, fmt.Errorf("ball: %w", err)
	}
	if err := release.Validate(); err != nil {
		return Path{}, fmt.Errorf("release: %w", err)
	}
	for i, ft := range stationsFt {
		if !(ft >= 0 && ft <= lane.LengthFt) || i > 0 && ft <= stationsFt[i-1] {
			return Path{}, fmt.Errorf("station %g ft: stations rise from 0 to %g ft", ft, lane.LengthFt)
		}
	}
	w := newWalk(newLaunch(ball, release))
	stations, err := w.along(surface, ball.inertia(), stationsFt, lane.LengthFt, traceStepFt)
	if err != nil {
		return Path{}, err
	}
	return Path{Outcome: w.outcome(), Stations: stations}, nil
}

// along carries the walk to endFt in steps that end at multiples of stepFt, at the surface's breaks
// and at the stations.
func (w *walk) along(surface Surface, k float64, stationsFt []float64, endFt, stepFt float64) ([]Station, error) {
	stations := make([]Station, 0, len(stationsFt))
	breaks := surface.breaksFt
	for i, ft := 0, 0.0; ; {
		for len(stationsFt) > 0 && stationsFt[0] <= ft {
			station := w.station(k)
			station.Ft = stationsFt[0]
			stations, stationsFt = append(stations, station), stationsFt[1:]
		}
		if ft >= endFt {
			return stations, nil
		}
		for len(breaks) > 0 && breaks[0] <= ft {
			breaks = breaks[1:]
		}
		for float64(i)*stepFt <= ft {
			i++
		}
		next := min(float64(i)*stepFt, endFt)
		if len(breaks) > 0 {
			next = min(next, breaks[0])
		}
		if len(stationsFt) > 0 {
			next = min(next, stationsFt[0])
		}
		h := (next - ft) * lane.MetresPerFoot
		at := board(w.y + w.vy/w.vx*h/2)
		mu := surface.mu(at, (ft+next)/2)
		if !(mu >= 0) || math.IsInf(mu, 1) {
			return nil, fmt.Errorf("friction is %g at board %.2f, %.2f ft: it must be 0 or more", mu, at, (ft+next)/2)
		}
		muG := mu * lane.StandardGravityMPS
		if surface.slip != 0 {
			middle := w.j + muG*surface.slip.factor(w.slipAt(w.j, k))*h/2/w.vx
			muG *= surface.slip.factor(w.slipAt(middle, k))
		}
		w.glide(h, muG)
		if w.ended {
			return stations, nil
		}
		ft = next
	}
}
