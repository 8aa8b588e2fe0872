package picture

import (
	"fmt"
	"math"
	"strconv"

	"laneward/service/lane"
)

// filmLevels is the number of colour steps of the film map; a film under noFilmShare of the top
// counts as bare lane.
const (
	filmLevels  = 16
	noFilmShare = 1e-3
)

// top returns the film at the top of the colour scale in microlitres per board-foot, 0 for a dry
// lane.
func (film *Film) top() float64 {
	if film.MaxUL > 0 {
		return film.MaxUL
	}
	largest, _ := film.extent()
	return largest
}

// extent returns the largest cell in microlitres and the length of the film in feet.
func (film *Film) extent() (largestUL float64, lengthFt int) {
	for b := range film.UL {
		for ft, ul := range film.UL[b] {
			largestUL = max(largestUL, ul)
			if ul > 0 {
				lengthFt = max(lengthFt, ft+1)
			}
		}
	}
	return largestUL, lengthFt
}

// level returns the colour step of a film: 0 for bare lane, 1 to filmLevels.
func (film *Film) level(ul, top float64) int {
	if top <= 0 || ul <= noFilmShare*top {
		return 0
	}
	return min(int(math.Ceil(ul/top*filmLevels)), filmLevels)
}

// levelColour runs from yellow for thin film to dark blue for heavy film, bare lane apart.
func levelColour(level int) Colour {
	if level == 0 {
		return maple
	}
	return Cividis(1 - (float64(level)-0.5)/filmLevels)
}

// draw paints the film. Cells of one colour are joined into as few rectangles as a greedy cover
// finds, which keeps the SVG small.
func (film *Film) draw(s *Scene, p lanePanel) {
	top := film.top()
	levels := make([][]int, lane.Boards)
	for b := range film.UL {
		levels[b] = make([]int, len(film.UL[b]))
		for ft, ul := range film.UL[b] {
			levels[b][ft] = film.level(ul, top)
		}
	}
	rects := make([]Rects, filmLevels+1)
	for _, run := range cover(levels) {
		rects[run.value] = append(rects[run.value], Rect{
			X: p.right - float64(run.i1)*p.unit, Y: p.foul - float64(run.j1)*p.unit,
			W: float64(run.i1-run.i0) * p.unit, H: float64(run.j1-run.j0) * p.unit,
		})
	}
	for level := 1; level <= filmLevels; level++ {
		if len(rects[level]) > 0 {
			s.add(Element{Layer: LayerFilm, Shape: rects[level], Fill: levelColour(level)})
		}
	}
}

func (film *Film) perUnit() float64 {
	if film.Unit == OilUnits {
		return ULPerOilUnit
	}
	return 1
}

func (film *Film) unitName() string {
	if film.Unit == OilUnits {
		return "oil units (0.0167 mL per square foot)"
	}
	return "microlitres per board-foot"
}

// amount writes a film in the legend's unit.
func (film *Film) amount(ul float64) string {
	return figure(ul/film.perUnit()) + " " + film.unitName()
}

// figure writes a number with at most three significant digits.
func figure(v float64) string {
	if v == 0 {
		return "0"
	}
	digits := max(0, 2-int(math.Floor(math.Log10(math.Abs(v)))))
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', digits, 64), 64)
	if err != nil {
		panic(fmt.Sprintf("picture: %g does not read back: %v", v, err))
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
