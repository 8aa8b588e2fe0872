package record

import (
	"github.com/google/uuid"
)

// Ball is one ball of an athlete's arsenal.
type Ball struct {
	Head
	AthleteID      uuid.UUID `json:"athlete_id"`
	Name           string    `json:"name"`
	WeightLB       float64   `json:"weight_lb"`
	RGIn           *float64  `json:"rg_in,omitempty"`
	DifferentialIn *float64  `json:"differential_in,omitempty"`
	Cover          *string   `json:"cover,omitempty"`
	SurfaceGrit    *int32    `json:"surface_grit,omitempty"`
	Retired        bool      `json:"retired,omitempty"`
	Note           string    `json:"note,omitempty"`
}

// Limits of a legal ball. Source: United States tenpin federation's equipment specification as
// relayed publicly: weight at most 16.00 lb, no minimum; radius of gyration 2.460 to 2.800 in for
// balls of 13 lb and more (approvals from 1 July 2010); differential at most 0.060 in (from 1
// February 2005). Lighter balls have separate limits that we have no public source for: of those
// only the differential is checked.
const (
	maxBallLB         = 16.0
	rgRuleFromLB      = 13.0
	minRGIn           = 2.460
	maxRGIn           = 2.800
	maxDifferentialIn = 0.060
)

// covers are the cover stocks, in the sport's terms; solid, hybrid and pearl are reactive.
var covers = map[string]bool{"plastic": true, "urethane": true, "solid": true, "hybrid": true, "pearl": true}

// Kind is [KindBall].
func (*Ball) Kind() Kind { return KindBall }

// Owner is the athlete whose ball it is.
func (b *Ball) Owner() *uuid.UUID { return &b.AthleteID }

// Parents is the athlete.
func (b *Ball) Parents() []Ref { return []Ref{{KindAthlete, b.AthleteID, "/athlete_id"}} }

// Faults lists what is wrong with the record, its legal limits among them.
func (b *Ball) Faults() []Fault {
	var f Faults
	f.name(b.Name)
	f.note(b.Note)
	f.Add(
		!(b.WeightLB > 0 && b.WeightLB <= maxBallLB),
		"/weight_lb",
		"range",
		"%g lb is not legal: a ball weighs more than 0 and at most %.2f lb",
		b.WeightLB,
		maxBallLB,
	)
	if b.WeightLB >= rgRuleFromLB {
		f.Add(
			b.RGIn != nil && !(*b.RGIn >= minRGIn && *b.RGIn <= maxRGIn),
			"/rg_in",
			"range",
			"is not legal for %g lb: the radius of gyration of a ball of 13 lb and more is %.3f to %.3f in",
			b.WeightLB,
			minRGIn,
			maxRGIn,
		)
	}
	f.Add(
		b.RGIn != nil && !(*b.RGIn >= 1 && *b.RGIn <= 4),
		"/rg_in",
		"range",
		"cannot be: a ball has a radius of about 4.3 in, so its radius of gyration lies between 1 and 4 in",
	)
	f.Add(
		b.DifferentialIn != nil && !(*b.DifferentialIn >= 0 && *b.DifferentialIn <= maxDifferentialIn),
		"/differential_in",
		"range",
		"is not legal: the differential is 0 to %.3f in",
		maxDifferentialIn,
	)
	f.Add(
		b.Cover != nil && !covers[*b.Cover],
		"/cover",
		"unknown",
		"is unknown: write plastic, urethane, solid, hybrid or pearl",
	)
	f.Add(
		b.SurfaceGrit != nil && !(*b.SurfaceGrit >= 100 && *b.SurfaceGrit <= 10000),
		"/surface_grit",
		"range",
		"is outside 100 to 10000 grit",
	)
	return f
}
