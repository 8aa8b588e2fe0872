package tenpin

import (
	"errors"
	"fmt"
	"slices"

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

// spareWeight is how many tries a default rate counts for against an athlete's own: with 20 of one
// class the two weigh the same. Our choice.
const spareWeight = 20

// Conversions is what is known of how an athlete converts one class of leave: the share itself, or
// else how many of how many tries.
type Conversions struct {
	Share     *float64 `json:"share,omitempty"`
	Converted int      `json:"converted,omitempty"`
	Tries     int      `json:"tries,omitempty"`
}

// Fault says what is wrong with them, or is empty.
func (c Conversions) Fault() string {
	switch counted := c.Converted != 0 || c.Tries != 0; {
	case c.Share != nil && counted:
		return "has both a share and a count: write one of them"
	case c.Share != nil && !(*c.Share >= 0 && *c.Share <= 1):
		return fmt.Sprintf("%g is out of range: write a share from 0 to 1", *c.Share)
	case c.Share == nil && c.Tries < 1:
		return "has neither a share nor tries: write a share, such as 0.85, or how many were converted of how many tries"
	case c.Share == nil && (c.Converted < 0 || c.Converted > c.Tries):
		return fmt.Sprintf("%d converted of %d tries cannot be: write 0 to %d converted", c.Converted, c.Tries, c.Tries)
	}
	return ""
}

// Own returns the rates with what is known of the athlete's own: a share takes the rate's place,
// and tries draw it toward their share. A class of which nothing is known keeps its rate. Faulty
// ones (see [Conversions.Fault]) must be refused before.
func (s Spares) Own(known map[SpareClass]Conversions) Spares {
	for class, of := range known {
		rate := s.of(class)
		if of.Share != nil {
			*rate = *of.Share
			continue
		}
		*rate = (spareWeight**rate + float64(of.Converted)) / (spareWeight + float64(of.Tries))
	}
	return s
}

// SpareClasses returns all classes, in the order in which they are told.
func SpareClasses() []SpareClass { return slices.Clone(spareClasses) }

// Of returns the chance to convert a leave of a class.
func (s Spares) Of(class SpareClass) float64 { return *s.of(class) }
