package reading

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"laneward/service/lane"
)

// Report is a read as a person takes it.
type Report struct {
	Shots    int     `json:"shots"`
	Used     int     `json:"shots_used"`
	Fits     float64 `json:"fits"`
	Doubted  []Doubt `json:"doubted,omitempty"`
	Refused  bool    `json:"refused,omitempty"` // the shots do not fit what was stated
	Bounds   Bounds  `json:"out_of_bounds"`
	Oil      Oil     `json:"oil"`
	Zones    []Zone  `json:"zones"`
	Lines    []Line  `json:"lines"`
	Sentence string  `json:"reading"`
}

// Doubt is a shot, or readings of it, that do not fit the others.
type Doubt struct {
	Order    int      `json:"order"`
	Weight   float64  `json:"weight"`
	Readings []string `json:"readings,omitempty"` // fields of the shot
}

// Line is how a line plays that brings the ball to the pocket: from a laydown, the launch angle
// that does.
type Line struct {
	Aim
	Forecast
	Known Knowledge `json:"known"`
}

const (
	// doubtedWeight is the weight under which a shot or a reading of it is named as doubtful.
	doubtedWeight = 0.35
	// refusedFit is the mean weight of what was seen under which a read is refused. Readings that err
	// as stated have 0.93, with one in ten grossly wrong 0.9.
	refusedFit = 0.6
	// pocketBoard is where a line is to arrive.
	pocketBoard = 17.5
)

// lineLaydowns are the laydowns of the lines that a report shows.
var lineLaydowns = [...]float64{10, 15, 20, 25}

// Report tells a read, whose shots these are, in numbers and words.
func (r *Read) Report(throws []Throw) Report {
	report := Report{
		Shots: len(throws), Used: r.usedShots(), Fits: r.Fits(), Bounds: r.Bounds(0), Oil: r.Oil(), Zones: r.Zones(),
	}
	report.Refused = report.Used >= fewestProbes && report.Fits < refusedFit
	for i, one := range r.Throws {
		if doubt, ok := one.doubt(throws[i].Shot.Order); ok {
			report.Doubted = append(report.Doubted, doubt)
		}
	}
	near, prior := r.scene.at(r.Mean, true), r.scene.at(r.prior.Mean, true)
	for _, laydown := range lineLaydowns {
		aim, ok := r.toPocket(near, laydown)
		if !ok {
			continue
		}
		slope := prior.slope(0, r.scene.exact(0, aim, 0)).ofState[seenEntry]
		before := math.Hypot(math.Sqrt(r.prior.Covariance.quadratic(slope, slope)), strayExact)
		f := r.exactly(near, 0, aim, 0)
		report.Lines = append(report.Lines, Line{aim, f, knowledge(before, f.EntrySE)})
	}
	report.Sentence = strings.Join(report.sentences(r.setting.Side), " ")
	return report
}

func (w *Weighed) doubt(order int) (Doubt, bool) {
	doubt := Doubt{Order: order, Weight: w.Weight}
	for field, weight := range w.Readings {
		if weight < doubtedWeight {
			doubt.Readings = append(doubt.Readings, field)
		}
	}
	slices.Sort(doubt.Readings)
	return doubt, w.Used && (w.Weight < doubtedWeight || len(doubt.Readings) > 0)
}

// toPocket is the smallest launch angle that brings a ball from a laydown out and back to the pocket
// or straight there.
func (r *Read) toPocket(near *nearby, laydown float64) (Aim, bool) {
	at := func(angle float64) arrival {
		return near.arrive(0, r.scene.exact(0, Aim{laydown, angle}, 0))
	}
	low, high := boundsInDeg, boundsInDeg
	for before := at(low); ; {
		high += boundsStepDeg
		there := at(high)
		if high > boundsOutDeg || there[seenBreakpoint] < leastBoundsBoard {
			return Aim{}, false
		}
		if before[seenEntry] > pocketBoard && there[seenEntry] <= pocketBoard {
			break
		}
		before, low = there, high
	}
	for range 20 {
		if middle := (low + high) / 2; at(middle)[seenEntry] > pocketBoard {
			low = middle
		} else {
			high = middle
		}
	}
	return Aim{laydown, low}, true
}

// sentences say what a coach asks: is it enough, what differs, where does nothing come back.
func (r *Report) sentences(side lane.Side) []string {
	said := []string{counted(r.Shots, "shot is read.", "shots are read.")}
	if unused := r.Shots - r.Used; unused > 0 {
		said = append(said, counted(unused, "of them says", "of them say")+
			" nothing: gutter balls, or neither breakpoint nor entry was seen.")
	}
	if r.Refused {
		return append(said, fmt.Sprintf(
			"They do not fit this film and this athlete (of what was seen, %.0f %% counts): "+
				"check the pattern, the side, the speed and the units before reading on.",
			100*r.Fits,
		))
	}
	for _, doubt := range r.Doubted {
		said = append(said, doubt.sentence())
	}
	if line, ok := r.unknown(); ok {
		said = append(said, line)
	}
	said = append(said, r.Oil.sentences()...)
	return append(said, r.Bounds.sentence(side))
}

func (d Doubt) sentence() string {
	if len(d.Readings) == 0 {
		return fmt.Sprintf("Shot %d counts for %.0f %%: it does not fit the others.", d.Order, 100*d.Weight)
	}
	names := make([]string, len(d.Readings))
	for i, field := range d.Readings {
		names[i] = readingNames[field]
	}
	verb, count := "does", "counts"
	if len(names) > 1 {
		verb, count = "do", "count"
	}
	list := strings.Join(names[:len(names)-1], ", ")
	if list != "" {
		list += " and "
	}
	list += names[len(names)-1]
	return fmt.Sprintf("Shot %d: its %s %s not fit the rest and %s for little.", d.Order, list, verb, count)
}

var readingNames = map[string]string{
	"breakpoint_board": "breakpoint", "breakpoint_ft": "breakpoint distance", "entry_board": "entry board",
	"entry_angle_deg": "entry angle", "rev_rate_rpm": "rev rate", "rotation_deg": "rotation",
	"laydown_board": "laydown", "arrows_board": "board at the arrows", "launch_angle_deg": "launch angle",
	"speed_mph": "speed",
}

// unknown says where the shots do not reach.
func (r *Report) unknown() (string, bool) {
	few, rough := 0, 0
	for _, line := range r.Lines {
		switch line.Known {
		case TooFew:
			few++
		case Roughly:
			rough++
		}
	}
	switch {
	case len(r.Lines) == 0:
		return "No line from boards 10 to 25 brings this ball to the pocket.", true
	case r.tooFew():
		return "That is too few to say where a ball arrives: throw more probes.", true
	case few > 0:
		return "Some lines are not known yet: see the table.", true
	case rough > 0:
		return "Where a ball arrives is roughly known; more shots would narrow it.", true
	}
	return "Where a ball arrives is well known.", true
}

// tooFew reports whether the shots do not show where any line arrives.
func (r *Report) tooFew() bool {
	return len(r.Lines) > 0 && !slices.ContainsFunc(r.Lines, func(line Line) bool { return line.Known != TooFew })
}

func (o *Oil) sentences() []string {
	said := []string{o.Amount.more("oil", "than stated")}
	if r := o.Longer; r.Low > 0 || r.High < 0 {
		word := "farther"
		if r.Value < 0 {
			word = "sooner"
		}
		low, high := math.Abs(r.Low), math.Abs(r.High)
		said = append(said, fmt.Sprintf(
			"The oil ends %.1f ft %s than stated (80 %% sure: %.1f to %.1f ft).",
			math.Abs(r.Value), word, min(low, high), max(low, high),
		))
	} else {
		said = append(said, fmt.Sprintf("The oil ends where it is stated to, within %.1f ft.", max(-r.Low, r.High)))
	}
	return append(said, o.Dry.more("friction on dry boards", "than nominal"))
}

// more says how much more or less there is of something.
func (r Range) more(of, than string) string {
	percent := func(v float64) float64 { return math.Abs(100 * (v - 1)) }
	switch {
	case r.Low > 1:
		return fmt.Sprintf("There is %.0f %% more %s %s (80 %% sure: %.0f to %.0f %%).",
			percent(r.Value), of, than, percent(r.Low), percent(r.High))
	case r.High < 1:
		return fmt.Sprintf("There is %.0f %% less %s %s (80 %% sure: %.0f to %.0f %%).",
			percent(r.Value), of, than, percent(r.High), percent(r.Low))
	}
	return fmt.Sprintf("Whether there is more or less %s %s cannot be told: from %.0f %% less to %.0f %% more.",
		of, than, percent(r.Low), percent(r.High))
}

func (b Bounds) sentence(side lane.Side) string {
	switch {
	case b.Open:
		return "A ball comes back from every board: there is no out of bounds."
	case b.Closed:
		return "A ball from board 20 does not come back to the pocket from any board."
	}
	return fmt.Sprintf(
		"Out of bounds: %s of board %.0f beyond 30 ft no ball comes back "+
			"(80 %% sure: the edge lies between boards %.1f and %.1f).",
		side, b.Board, b.Low, b.High,
	)
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
