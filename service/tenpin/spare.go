package tenpin

import (
	"errors"
	"fmt"

	"laneward/service/lane"
)

// SpareClass is how hard a leave is to convert.
type SpareClass string

// The classes; every leave is in exactly one.
const (
	SpareSingle  SpareClass = "single"   // one pin
	SpareClose   SpareClass = "close"    // two or three pins together
	SpareCluster SpareClass = "cluster"  // four or more together, the head pin down
	SpareHeadPin SpareClass = "head_pin" // the head pin in front, the others close behind it
	SpareWashout SpareClass = "washout"
	SpareSplit   SpareClass = "split"
	SpareRack    SpareClass = "rack" // most of the rack: six or more with the head pin
)

// SpareClassOf returns the class of a leave. It panics for a strike.
func SpareClassOf(leave lane.PinSet) SpareClass {
	n := leave.Count()
	switch {
	case n == 0:
		panic("tenpin: a strike leaves nothing to convert")
	case Split(leave):
		return SpareSplit
	case leave.Has(1) && n >= 6:
		return SpareRack
	case Washout(leave):
		return SpareWashout
	case n == 1:
		return SpareSingle
	case leave.Has(1):
		return SpareHeadPin
	case n <= 3:
		return SpareClose
	}
	return SpareCluster
}

// Spares are an athlete's chances to convert a leave of each class.
type Spares struct {
	Single  float64 `json:"single"`
	Close   float64 `json:"close"`
	Cluster float64 `json:"cluster"`
	HeadPin float64 `json:"head_pin"`
	Washout float64 `json:"washout"`
	Split   float64 `json:"split"`
	Rack    float64 `json:"rack"`
}

// DefaultSpares are a practised league bowler's: common practice, no source.
func DefaultSpares() Spares {
	return Spares{
		Single: 0.85, Close: 0.7, Cluster: 0.55, HeadPin: 0.75, Washout: 0.4, Split: 0.12, Rack: 0.15,
	}
}

// of returns the place of a class's chance.
func (s *Spares) of(class SpareClass) *float64 {
	switch class {
	case SpareSingle:
		return &s.Single
	case SpareClose:
		return &s.Close
	case SpareCluster:
		return &s.Cluster
	case SpareHeadPin:
		return &s.HeadPin
	case SpareWashout:
		return &s.Washout
	case SpareSplit:
		return &s.Split
	}
	return &s.Rack
}

// spareClasses are all classes.
var spareClasses = []SpareClass{
	SpareSingle, SpareClose, SpareCluster, SpareHeadPin, SpareWashout, SpareSplit, SpareRack,
}

// Rate returns the chance to convert a leave. It panics for a strike.
func (s Spares) Rate(leave lane.PinSet) float64 { return *s.of(SpareClassOf(leave)) }

// Validate reports every chance outside 0 to 1, joined into one error.
func (s Spares) Validate() error {
	var faults []error
	for _, class := range spareClasses {
		if rate := *s.of(class); !(rate >= 0 && rate <= 1) {
			faults = append(faults, fmt.Errorf("spares: %s %g is out of range: write 0 to 1", class, rate))
		}
	}
	return errors.Join(faults...)
}

// spareWeight is how many attempts a default rate counts for against an athlete's own: with 20 of
// one class the two weigh the same. Our choice.
const spareWeight = 20

// Attempt is a second ball: what it was thrown at, and whether it left nothing.
type Attempt struct {
	Leave     lane.PinSet
	Converted bool
}

// Own draws the rates toward the share of the attempts that an athlete converted, class by
// class: a class without attempts keeps its rate.
func (s Spares) Own(attempts []Attempt) Spares {
	tried, made := map[SpareClass]float64{}, map[SpareClass]float64{}
	for _, attempt := range attempts {
		if attempt.Leave.Strike() {
			continue
		}
		class := SpareClassOf(attempt.Leave)
		tried[class]++
		if attempt.Converted {
			made[class]++
		}
	}
	for class, n := range tried {
		rate := s.of(class)
		*rate = (spareWeight**rate + made[class]) / (spareWeight + n)
	}
	return s
}
