package advice

import (
	"fmt"
	"strings"

	"laneward/service/line"
	"laneward/service/record"
	"laneward/service/shot"
	"laneward/service/tenpin"
)

// OwnSpares is what is known of how an athlete converts each class of leave.
type OwnSpares map[tenpin.SpareClass]tenpin.Conversions

// The range of a stated scatter at the arrows, in boards; under the least no one can tell it from
// none.
const (
	leastScatterBoards = 0.05
	mostScatterBoards  = 10
)

// Faults lists what is wrong with the query itself.
func (q Query) Faults() []record.Fault {
	var f record.Faults
	if q.Worn != nil {
		f = q.Worn.Faults()
	}
	q.ownFaults(&f, "/subject")
	return f
}

// Faults lists what is wrong with what differs.
func (a Against) Faults() []record.Fault {
	var f record.Faults
	Query{ScatterBoards: a.ScatterBoards, Spares: a.Spares}.ownFaults(&f, "/against")
	return f
}

func (q Query) ownFaults(f *record.Faults, at string) {
	boards := q.ScatterBoards
	f.Add(
		boards != nil && !(*boards >= leastScatterBoards && *boards <= mostScatterBoards),
		at+"/scatter_boards",
		"range",
		"is outside %g to %d boards",
		leastScatterBoards,
		mostScatterBoards,
	)
	for _, class := range tenpin.SpareClasses() {
		if of, known := q.Spares[class]; known {
			f.Add(of.Fault() != "", fmt.Sprintf("%s/spares/%s", at, class), "range", "%s", of.Fault())
		}
	}
}

// takeScatter estimates the athlete's scatter from the latest stored shots. A stated scatter at the
// arrows takes the place of theirs, and that of the launch angle grows or shrinks with it: both
// come from the same swing.
func (p *Planner) takeScatter(stated *float64, shots []shot.Shot) {
	estimate := line.EstimateScatter(shots)
	if stated != nil {
		estimate.Scatter.LaunchAngleDeg *= *stated / estimate.Scatter.ArrowsBoards
		estimate.Scatter.ArrowsBoards = *stated
	}
	p.request.Athlete.Scatter = estimate.Scatter
	measures := estimate.Measures
	most := 0
	for i := range measures {
		most = max(most, measures[i].Pairs)
		if measures[i].Name == "rev_rpm" {
			measures[i].Name = "rev_rate_rpm" // the contract's word
		}
	}
	p.Subject.Scatter = SubjectScatter{
		ArrowsBoards:           estimate.Scatter.ArrowsBoards,
		LaunchAngleDeg:         estimate.Scatter.LaunchAngleDeg,
		SpeedMPH:               estimate.Scatter.SpeedMPH,
		RevRateRPM:             estimate.Scatter.RevRPM,
		ArrowsAngleCorrelation: estimate.Scatter.ArrowsAngleCorrelation,
		Shots:                  len(shots),
		Stated:                 stated != nil,
		Measures:               measures,
	}
	switch {
	case stated != nil:
		p.assume(
			"The scatter of %s at the arrows is %g boards, as stated; that of the launch angle is taken in proportion, %.2f degrees.",
			p.Subject.Athlete.Name,
			*stated,
			estimate.Scatter.LaunchAngleDeg,
		)
	case most == 0:
		p.assume(
			"There are no stored shots of %s to estimate the scatter from: a practised league bowler's is assumed (common practice, no source).",
			p.Subject.Athlete.Name,
		)
	default:
		p.assume(
			"How much the shots of %s scatter is estimated from pairs of consecutive stored shots (the latest %d shots, up to %d pairs), the errors of "+
				"the readings taken out, and drawn toward a practised league bowler's where pairs are few or poorly read.",
			p.Subject.Athlete.Name,
			len(shots),
			most,
		)
	}
}

// takeSpares is how the athlete converts spares: as far as known their own rate, and otherwise a
// practised league bowler's.
func (p *Planner) takeSpares(known OwnSpares) {
	spares := tenpin.DefaultSpares().Own(known)
	p.request.Spares, p.Subject.Spares = &spares, spares
	if len(known) == 0 {
		p.assume(
			"Second balls are not logged, so a practised league bowler's spares are assumed (common practice, no source).",
		)
		return
	}
	var own []string
	for _, class := range tenpin.SpareClasses() {
		of, stated := known[class]
		if !stated {
			continue
		}
		text := fmt.Sprintf("%s %.0f %%", spareNames[class], 100*spares.Of(class))
		if of.Share == nil {
			text += fmt.Sprintf(" (%d of %d, drawn toward a practised league bowler's)", of.Converted, of.Tries)
		}
		own = append(own, text)
	}
	rest := ""
	if len(known) < len(tenpin.SpareClasses()) {
		rest = "; the other leaves are converted as by a practised league bowler (common practice, no source)"
	}
	p.assume("The spares of %s are as stated: %s%s.", p.Subject.Athlete.Name, strings.Join(own, ", "), rest)
}

// spareNames are the classes of leaves as a sentence names them.
var spareNames = map[tenpin.SpareClass]string{
	tenpin.SpareSingle:  "single pins",
	tenpin.SpareClose:   "two or three pins together",
	tenpin.SpareCluster: "four or more pins together",
	tenpin.SpareHeadPin: "leaves with the head pin",
	tenpin.SpareWashout: "washouts",
	tenpin.SpareSplit:   "splits",
	tenpin.SpareRack:    "most of the rack",
}
