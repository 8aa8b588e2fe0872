package reading

import (
	"math"

	"laneward/service/lane"
	"laneward/service/oil"
)

// Zone is a stretch of a few boards as the read has it.
type Zone struct {
	Board  float64 `json:"board"` // its middle, counted as the athlete counts
	FromFt float64 `json:"from_ft"`
	ToFt   float64 `json:"to_ft"`
	// Stated is the oil that the film was stated to have there, in oil units; Units is the oil that
	// the read has, and Mu the friction on it under a ball that slips at 5 m/s.
	Stated float64 `json:"stated_units"`
	Units  Range   `json:"units"`
	Mu     Range   `json:"mu"`
}

// Range is a value and where it lies with a chance of 80 %.
type Range struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// The stretches by which a lane is told: heads, midlane and backend.
var stretchesFt = [...][2]float64{{0, 20}, {20, 40}, {40, lane.LengthFt}}

// Zones returns oil and friction by zone, for the first thrower's ball, outermost first.
func (r *Read) Zones() []Zone {
	near := r.scene.at(r.Mean, true)
	c := near.of(0)
	nominal := r.scene.frictions[0]
	list := make([]Zone, 0, len(zones)*len(stretchesFt))
	for _, board := range zones {
		for _, ft := range stretchesFt {
			over := func(film *oil.Film, state *State) (units, mu float64) {
				friction := state.Friction(nominal)
				n := ft[1] - ft[0]
				for at := ft[0] + 0.5; at < ft[1]; at++ {
					q := film.UnitsAt(board, at)
					units += q / n
					mu += friction.Film(q) / n
				}
				return units, mu
			}
			units, mu := over(near.base, &c.state)
			unitsSlope, muSlope := make([]float64, len(r.Mean)), make([]float64, len(r.Mean))
			for i := range placePins {
				film := near.films[i]
				if film == nil {
					film = near.base
				}
				thenUnits, thenMu := over(film, &c.states[i])
				unitsSlope[i], muSlope[i] = logSlope(units, thenUnits, nudges[i]), logSlope(mu, thenMu, nudges[i])
			}
			zone := Zone{Board: board, FromFt: ft[0], ToFt: ft[1]}
			zone.Stated, _ = over(r.scene.film, &State{})
			zone.Units, zone.Mu = r.around(units, unitsSlope), r.around(mu, muSlope)
			list = append(list, zone)
		}
	}
	return list
}

// logSlope is how the ln of a value changes; 0 where there is next to nothing.
func logSlope(from, to, by float64) float64 {
	if from < 1e-6 || to < 1e-6 {
		return 0
	}
	return math.Log(to/from) / by
}

// around is a value whose ln has this slope.
func (r *Read) around(value float64, slope []float64) Range {
	factor := math.Exp(quantile80 * math.Sqrt(r.Covariance.quadratic(slope, slope)))
	return Range{value, value / factor, value * factor}
}

// Oil is how a read's film differs from the stated one, in all.
type Oil struct {
	// Amount is all oil over the stated one along the first 30 ft of boards 5 to 26, Longer how many
	// feet farther it ends.
	Amount Range `json:"amount"`
	Longer Range `json:"longer_ft"`
	// Dry is the friction on dry boards over the nominal one's.
	Dry Range `json:"dry_friction"`
	// Revs is the true revolutions over the stated ones, Rotation the true rotation less the stated
	// one in degrees.
	Revs     Range `json:"revs"`
	Rotation Range `json:"rotation_deg"`
}

// Oil returns how the film and the first thrower's release differ from what was stated.
func (r *Read) Oil() Oil {
	amount := make([]float64, len(r.Mean))
	amount[1] = 1
	for i := range zones {
		amount[placeZones+i] = 1 / float64(len(zones))
		amount[3] += outside(zones[i]) / float64(len(zones))
	}
	one := func(place int) []float64 {
		slope := make([]float64, len(r.Mean))
		slope[place] = 1
		return slope
	}
	straight := func(place int) Range {
		width := quantile80 * r.Covariance.sd(place)
		return Range{r.Mean[place], r.Mean[place] - width, r.Mean[place] + width}
	}
	return Oil{
		Amount: r.around(math.Exp(dot(amount, r.Mean)), amount), Longer: straight(2),
		Dry: r.around(math.Exp(r.Mean[0]), one(0)), Revs: r.around(math.Exp(r.Mean[placeRevs]), one(placeRevs)),
		Rotation: straight(placeRotation),
	}
}
