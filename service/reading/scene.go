package reading

import (
	"math"

	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
)

// scene runs throws over the lane as it may be. Everything in it is as the athlete meets it: a
// left-hander's film is mirrored.
type scene struct {
	film      *oil.Film
	frictions []motion.Friction // nominal, of each thrower's ball
	throwers  []Thrower
}

func newScene(s *Setting) *scene {
	one := &scene{film: s.Film.WithEdges(), throwers: s.Throwers}
	if s.Side == lane.Left {
		one.film = one.film.Mirror()
	}
	for _, thrower := range s.Throwers {
		one.frictions = append(one.frictions, s.Friction.OnSurface(thrower.Ball))
	}
	return one
}

// surface is the lane for a thrower in a state.
func (s *scene) surface(film *oil.Film, thrower int, state *State) motion.Surface {
	return motion.FilmSurface(film, state.Friction(s.frictions[thrower]), lane.Right)
}

// arrival is what can be seen of a path.
type arrival [sights]float64

// run is what becomes of an aim on a surface.
func (s *scene) run(surface motion.Surface, thrower int, state *State, aim [aims]float64) arrival {
	release := s.release(thrower, state, aim)
	o := motion.Wide(surface, s.throwers[thrower].Ball, release)
	return arrival{
		seenBreakpoint:   o.BreakpointBoard,
		seenBreakpointFt: o.BreakpointFt,
		seenEntry:        o.PinBoard + state.PinShiftAt(o.BreakpointBoard),
		seenEntryAngle:   o.EntryAngleDeg,
		seenRevs:         release.RevRPM,
		seenRotation:     release.RotationDeg,
	}
}

// nudges are the steps by which the numbers of a state are moved to see what changes; those after
// the zones change no path.
var nudges = [placePins]float64{0.03, 0.06, 0.3, 0.06, 0.15, 0.1, 0.02, 1, 0.08, 0.08, 0.08, 0.08, 0.08}

var aimNudges = [aims]float64{aimLaydown: 0.1, aimAngle: 0.03, aimSpeed: 0.1}

// shapesFilm reports whether a number of a state changes the film.
func shapesFilm(place int) bool {
	return place >= 1 && place <= 3 || place >= placeZones && place < placePins
}

// nearby is the lane about one point, for the slopes of many paths: the film as it lies there, and
// with each number moved that shapes it.
type nearby struct {
	*scene
	x      []float64
	films  [placePins]*oil.Film
	base   *oil.Film
	cached []cachedSurfaces // by thrower
}

type cachedSurfaces struct {
	ready  bool
	state  State
	base   motion.Surface
	states [placePins]State
	moved  [placePins]motion.Surface
}

// at prepares the lane about x. With slopes false only the lane itself is made.
func (s *scene) at(x []float64, slopes bool) *nearby {
	lane0 := stateOf(x, 0)
	n := &nearby{scene: s, x: x, cached: make([]cachedSurfaces, len(s.throwers)), base: lane0.Film(s.film, lane.Right)}
	if !slopes {
		return n
	}
	for i := range placePins {
		if shapesFilm(i) {
			state := lane0
			state.each(func(at int, value *float64) {
				if at == i {
					*value += nudges[i]
				}
			})
			n.films[i] = state.Film(s.film, lane.Right)
		}
	}
	return n
}

// of is a thrower's lane.
func (n *nearby) of(thrower int) *cachedSurfaces {
	c := &n.cached[thrower]
	if c.ready {
		return c
	}
	c.ready, c.state = true, stateOf(n.x, thrower)
	c.base = n.surface(n.base, thrower, &c.state)
	for i := range placePins {
		c.states[i] = c.state
		c.states[i].each(func(at int, value *float64) {
			if at == i {
				*value += nudges[i]
			}
		})
		film := n.films[i]
		if film == nil {
			film = n.base
		}
		c.moved[i] = n.surface(film, thrower, &c.states[i])
	}
	return c
}

// arrive is what becomes of an aim.
func (n *nearby) arrive(thrower int, aim [aims]float64) arrival {
	state := stateOf(n.x, thrower)
	return n.run(n.surface(n.base, thrower, &state), thrower, &state, aim)
}

// slopes are how an arrival changes with the numbers of a belief and with the aim.
type slopes struct {
	arrival
	ofState [sights][]float64
	ofAim   [sights][aims]float64
}

// slope follows an aim and how its arrival changes.
func (n *nearby) slope(thrower int, aim [aims]float64) slopes {
	c := n.of(thrower)
	found := slopes{arrival: n.run(c.base, thrower, &c.state, aim)}
	all := make([]float64, int(sights)*len(n.x))
	for k := range sights {
		found.ofState[k] = all[k*len(n.x) : (k+1)*len(n.x)]
	}
	revs, rotation, grip := hand(thrower)
	for i := range placePins {
		place := i
		switch i {
		case placeRevs:
			place = revs
		case placeRotation:
			place = rotation
		}
		if i >= placeZones && !found.enters(i-placeZones, aim) {
			continue // the zone's oil does not touch the path
		}
		there := n.run(c.moved[i], thrower, &c.states[i], aim)
		for k := range sights {
			found.ofState[k][place] = (there[k] - found.arrival[k]) / nudges[i]
		}
	}
	for i := range places - placePins {
		var unit State
		unit.PinShift[i] = 1
		found.ofState[seenEntry][placePins+i] = unit.PinShiftAt(found.arrival[seenBreakpoint])
	}
	if grip >= 0 { // a ball's own grip does what the lane's does
		for k := range sights {
			found.ofState[k][grip] = found.ofState[k][0]
		}
	}
	for i := range aimRevs {
		moved := aim
		moved[i] += aimNudges[i]
		there := n.run(c.base, thrower, &c.state, moved)
		for k := range sights {
			found.ofAim[k][i] = (there[k] - found.arrival[k]) / aimNudges[i]
		}
	}
	perLog := n.throwers[thrower].Release.RevRPM * c.state.RevFactor()
	for k := range sights { // a throw's own revolutions do what the athlete's do
		found.ofAim[k][aimRevs] = found.ofState[k][revs] / max(perLog, 1)
	}
	return found
}

// enters reports whether a path may run where a zone's factor changes the oil.
func (a *arrival) enters(zone int, aim [aims]float64) bool {
	const margin = 1.5 // the film is read between neighbouring boards
	outermost := min(a[seenBreakpoint], aim[aimLaydown], a[seenEntry])
	innermost := max(a[seenBreakpoint], aim[aimLaydown], a[seenEntry])
	return (zone == 0 || innermost > zones[zone-1]-margin) &&
		(zone == len(zones)-1 || outermost < zones[zone+1]+margin)
}

// finite reports whether a path could be followed to the pins.
func (a *arrival) finite() bool {
	for _, v := range a {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
