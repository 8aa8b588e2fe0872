package picture

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"laneward/service/lane"
)

// maxFaults is how many faults one error lists, and maxMarks how many shots one picture takes: more
// than that are a blot, not a picture.
const (
	maxFaults = 10
	maxMarks  = 5000
	maxPaths  = 24
	// farOffBoards is how far off the lane a board may be said to be: a ball in the gutter is real,
	// board 400 is a typing mistake.
	farOffBoards = 20
)

// faults gathers what is wrong with a description.
type faults struct {
	list []error
	more int
}

func (f *faults) add(format string, args ...any) {
	if len(f.list) == maxFaults {
		f.more++
		return
	}
	f.list = append(f.list, fmt.Errorf(format, args...))
}

func (f *faults) err() error {
	if f.more > 0 {
		f.list = append(f.list, fmt.Errorf("and %d more", f.more))
	}
	return errors.Join(f.list...)
}

// within adds a fault unless low <= v <= high, which NaN and the infinities never are.
func (f *faults) within(what string, v, low, high float64) {
	if !(v >= low && v <= high) {
		f.add("%s is %g: give %g to %g", what, v, low, high)
	}
}

func (l Lane) check() (width float64, err error) {
	var f faults
	width, widthErr := checkWidth(l.WidthPx)
	if widthErr != nil {
		f.add("%w", widthErr)
	}
	if l.Side != lane.Right && l.Side != lane.Left {
		f.add("side %q is unknown: give right or left", l.Side)
	}
	if l.Film != nil {
		l.Film.check(&f)
	}
	for i, c := range l.Corridors {
		c.check(&f, fmt.Sprintf("corridor %d", i+1))
	}
	if len(l.Paths) > maxPaths {
		f.add("%d paths are too many to tell apart: give at most %d", len(l.Paths), maxPaths)
	}
	for i, p := range l.Paths {
		p.check(&f, fmt.Sprintf("path %d", i+1))
	}
	if len(l.Shots) > maxMarks {
		f.add("%d shots are too many for one picture: give at most %d, such as one session's", len(l.Shots), maxMarks)
	}
	for i, m := range l.Shots {
		m.check(&f, fmt.Sprintf("shot %d", i+1))
	}
	for i, b := range l.Breakpoints {
		what := fmt.Sprintf("breakpoint %d", i+1)
		f.within(what+": board", b.Board, lane.MinBoard, lane.MaxBoard)
		f.within(what+": distance in feet", b.Ft, 0, lane.LengthFt)
	}
	for i, spread := range l.Spreads {
		spread.check(&f, fmt.Sprintf("spread %d", i+1))
	}
	if l.Standing != nil && *l.Standing&^lane.FullRack != 0 {
		f.add("the standing pins hold a pin beyond 10: build the set with lane.Pins")
	}
	return width, f.err()
}

func (c Corridor) check(f *faults, what string) {
	f.within(what+": from board", c.FromBoard, lane.MinBoard, lane.MaxBoard)
	f.within(what+": to board", c.ToBoard, lane.MinBoard, lane.MaxBoard)
	f.within(what+": from feet", c.FromFt, 0, lane.LengthFt)
	f.within(what+": to feet", c.ToFt, 0, lane.LengthFt)
	if c.FromBoard >= c.ToBoard {
		f.add("%s runs from board %g to %g: the first must be the smaller", what, c.FromBoard, c.ToBoard)
	}
	if c.FromFt > c.ToFt {
		f.add("%s runs from %g to %g ft: the first must not be the larger", what, c.FromFt, c.ToFt)
	}
}

func (p Path) check(f *faults, what string) {
	if len(p.Points) < 2 {
		f.add("%s has %d points: a path needs at least 2", what, len(p.Points))
	}
	for i, point := range p.Points {
		at := fmt.Sprintf("%s, point %d", what, i+1)
		f.within(at+": board", point.Board, lane.MinBoard-farOffBoards, lane.MaxBoard+farOffBoards)
		f.within(at+": distance in feet", point.Ft, 0, lane.LengthFt+5)
		if i > 0 && point.Ft < p.Points[i-1].Ft {
			f.add("%s goes back from %g to %g ft: give the points by rising distance", at, p.Points[i-1].Ft, point.Ft)
		}
	}
}

func (m Mark) check(f *faults, what string) {
	f.within(what+": board", m.Board, lane.MinBoard-farOffBoards, lane.MaxBoard+farOffBoards)
	f.within(what+": distance in feet", m.Ft, 0, lane.LengthFt)
	switch m.Verdict {
	case NoVerdict, Kept, Broken, Unknown:
	default:
		f.add("%s: verdict %q is unknown: give kept, broken, unknown or none", what, m.Verdict)
	}
}

func (film *Film) check(f *faults) {
	for b := range film.UL {
		for ft, ul := range film.UL[b] {
			if !(ul >= 0) || math.IsInf(ul, 0) {
				f.add("film at board %d from the right gutter, foot %d is %g microlitres: give 0 or more", b+1, ft, ul)
			}
		}
	}
	if !(film.MaxUL >= 0) || math.IsInf(film.MaxUL, 0) {
		f.add(
			"the top of the film's colour scale is %g microlitres: give a positive number, or 0 for the largest cell",
			film.MaxUL,
		)
	}
	switch film.Unit {
	case "", Microlitres, OilUnits:
	default:
		f.add("film unit %q is unknown: give microlitres or oil_units", film.Unit)
	}
}

// describe says in words what the picture shows, for users who cannot see it.
func (l Lane) describe() string {
	var parts []string
	say := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	say("A lane seen by a %s-hander, foul line at the bottom, pins at the top.", l.Side)
	if l.Caption != "" {
		parts = append(parts, sentence(l.Caption))
	}
	if l.Film != nil {
		largest, lengthFt := l.Film.extent()
		say("Oil film to %d ft, at most %s.", lengthFt, l.Film.amount(largest))
	}
	for _, c := range l.Corridors {
		parts = append(parts, sentence(c.Sentence))
	}
	if len(l.Paths) > 0 {
		say("%s.", plural(len(l.Paths), "ball path"))
	}
	for _, p := range l.Paths {
		if p.Label != "" {
			parts = append(parts, sentence(p.Label))
		}
	}
	counts := countMarks(l.Shots)
	for _, v := range verdictOrder {
		if counts.byVerdict[v] > 0 {
			say("%s %s.", plural(counts.byVerdict[v], "shot"), verdictWord(v))
		}
	}
	for _, b := range l.Breakpoints {
		parts = append(parts, sentence("Breakpoint "+b.label()))
	}
	if l.Standing != nil {
		say("Standing pins: %s.", l.Standing)
	}
	return strings.Join(parts, " ")
}

// sentence cleans a text and ends it with a full stop.
func sentence(text string) string {
	text = clean(text)
	if text == "" || strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
