package advice

import (
	"context"
	"fmt"
	"math"

	"laneward/service/line"
	"laneward/service/record"
)

// GridQuery is the aims of a miss map; a nil bound is the default.
type GridQuery struct {
	LaydownFrom, LaydownTo, LaydownStep *float64 // boards
	AngleFrom, AngleTo, AngleStep       *float64 // degrees
}

// maxMapAims bounds a miss map: a picture of more has cells finer than a screen's.
const maxMapAims = 30_000

// MapDraws is how many scattered shots score an aim of a miss map by default: with
// fewer, a contour of the map shows the draws.
const MapDraws = 128

// MissMap is what becomes of every aim of a grid, and the best lines among them.
type MissMap struct {
	Subject Subject `json:"subject"`
	*line.MissMap
	Lines []PlannedLine `json:"lines"`
}

// Grid is the aims asked for.
func (q GridQuery) Grid() (line.Grid, error) {
	usual := line.DefaultGrid()
	laydowns, laydownFault := axis(usual.LaydownBoards, 1, q.LaydownFrom, q.LaydownTo, q.LaydownStep)
	angles, angleFault := axis(usual.LaunchAnglesDeg, 0.1, q.AngleFrom, q.AngleTo, q.AngleStep)
	var f record.Faults
	f.Add(laydownFault != "", "/grid/laydown_from_board", "range", "%s", laydownFault)
	f.Add(angleFault != "", "/grid/angle_from_deg", "range", "%s", angleFault)
	f.Add(
		len(laydowns)*len(angles) > maxMapAims,
		"/grid",
		"range",
		"has %d aims: take larger steps, for at most %d",
		len(laydowns)*len(angles),
		maxMapAims,
	)
	if len(f) > 0 {
		return line.Grid{}, f
	}
	return line.Grid{LaydownBoards: laydowns, LaunchAnglesDeg: angles}, nil
}

// maxMapPaths bounds the balls that a miss map walks to the pins: at the 100,000 a second that a
// busy core of a small machine manages, it ends within 20 s.
const maxMapPaths = 2_000_000

// CheckMapPaths refuses a grid with so many draws for each aim that its map would not end in time.
func CheckMapPaths(grid line.Grid, draws int) error {
	aims := len(grid.LaydownBoards) * len(grid.LaunchAnglesDeg)
	most := maxMapPaths/aims - 1 // beside the scattered shots, the typical one
	var f record.Faults
	f.Add(
		draws > most,
		"/draws",
		"range",
		"%d for each of %d aims take too long: ask for at most %d draws, or for larger steps of the grid",
		draws,
		aims,
		most/2*2,
	)
	if len(f) > 0 {
		return f
	}
	return nil
}

// maxAxis is the most values of one axis, the most that a picture shows.
const maxAxis = 300

// axis are the values from one bound to the other; fault says what is wrong with them.
func axis(usual []float64, usualStep float64, from, to, step *float64) (values []float64, fault string) {
	or := func(value *float64, otherwise float64) float64 {
		if value != nil {
			return *value
		}
		return otherwise
	}
	first, last, by := or(from, usual[0]), or(to, usual[len(usual)-1]), or(step, usualStep)
	if !(by > 0) || !(last > first) {
		return nil, fmt.Sprintf("from %g to %g by %g is not a range: the end must be more than the beginning, and the step more than 0", first, last, by)
	}
	n := math.Floor((last-first)/by+1e-9) + 1
	if n < 2 || n > maxAxis {
		return nil, fmt.Sprintf("from %g to %g by %g are %g values: ask for 2 to %d", first, last, by, n, maxAxis)
	}
	for i := range int(n) {
		values = append(values, math.Round((first+by*float64(i))*1e6)/1e6)
	}
	return values, ""
}

// Map computes what becomes of every aim of a grid, typical delivery and scattered ones, and the
// best lines to mark on it.
func (p *Planner) Map(ctx context.Context, grid line.Grid, progress Progress) (*MissMap, error) {
	if err := p.wearByOwn(ctx); err != nil {
		return nil, err
	}
	misses, err := line.Map(ctx, p.request, grid, progress)
	if err != nil {
		return nil, faultsOf("", err)
	}
	request := p.request
	request.Draws = 0 // the lines are those of the plan
	found, err := line.Find(ctx, request, nil)
	if err != nil {
		return nil, faultsOf("", err)
	}
	return &MissMap{Subject: p.Subject, MissMap: misses, Lines: p.planned(found.Lines)}, nil
}
