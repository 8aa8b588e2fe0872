package record

import (
	"errors"
	"fmt"
	"math"

	"github.com/google/uuid"

	"laneward/service/lane"
	"laneward/service/oil"
)

// Pattern is an oil pattern: its length, and how the oil lies, as far as known: a load table or a
// film map.
type Pattern struct {
	Head
	Name     string     `json:"name"`
	LengthFt float64    `json:"length_ft"`
	Loads    []oil.Load `json:"loads,omitempty"`
	// Film is microlitres, 39 boards from the right gutter by 60 feet; given directly, and never
	// together with Loads.
	Film [][]float64 `json:"film,omitempty"`
	Note string      `json:"note,omitempty"`
}

// Kind is [KindPattern].
func (*Pattern) Kind() Kind { return KindPattern }

// Owner is nil: it is the squad's.
func (*Pattern) Owner() *uuid.UUID { return nil }

// Parents is none.
func (*Pattern) Parents() []Ref { return nil }

// lengthToleranceFt is how far the stated length may lie from the load table's: patterns are named
// by the whole foot.
const lengthToleranceFt = 1.0

// Faults lists what is wrong with the record, each fault of the load table by its row.
func (p *Pattern) Faults() []Fault {
	var f Faults
	f.name(p.Name)
	f.note(p.Note)
	f.Add(!(p.LengthFt >= 1 && p.LengthFt <= lane.LengthFt), "/length_ft", "range", "is outside 1 to 60 feet")
	f.Add(len(p.Loads) > 0 && len(p.Film) > 0, "/film", "mismatch", "give the load table or the film map, not both")
	if len(p.Loads) > 0 {
		p.loadFaults(&f)
	}
	if len(p.Film) > 0 {
		p.filmFaults(&f)
	}
	return f
}

func (p *Pattern) loadFaults(f *Faults) {
	table := oil.Table{Name: p.Name, Loads: p.Loads}
	var found oil.Faults
	if err := table.Validate(); errors.As(err, &found) {
		for _, fault := range found {
			pointer := "/loads"
			if fault.Row > 0 {
				pointer = fmt.Sprintf("/loads/%d/%s", fault.Row-1, fault.Column)
			}
			f.Add(true, pointer, "load", "%s", fault.Reason)
		}
		return
	}
	length := table.LengthFt()
	f.Add(
		math.Abs(length-p.LengthFt) > lengthToleranceFt,
		"/length_ft",
		"mismatch",
		"is %g ft, but the load table lays oil to %g ft: correct one of them",
		p.LengthFt,
		length,
	)
}

func (p *Pattern) filmFaults(f *Faults) {
	if len(p.Film) != lane.Boards {
		f.Add(true, "/film", "shape", "has %d boards: a film map has %d", len(p.Film), lane.Boards)
		return
	}
	for board, cells := range p.Film {
		f.Add(
			len(cells) != int(lane.LengthFt),
			fmt.Sprintf("/film/%d", board),
			"shape",
			"has %d feet: a film map has 60",
			len(cells),
		)
		for foot, volume := range cells {
			f.Add(
				!(volume >= 0 && volume < oil.MaxULPerBoard),
				fmt.Sprintf("/film/%d/%d", board, foot),
				"range",
				"%g microlitres cannot lie there",
				volume,
			)
		}
	}
}
