package line

import (
	"context"
	"fmt"
	"math"
)

// Grid is the aims of a miss map, each axis rising.
type Grid struct {
	LaydownBoards   []float64 `json:"laydown_boards"`
	LaunchAnglesDeg []float64 `json:"launch_angles_deg"`
}

// DefaultGrid is boards 5 to 37 by one and -1 to 8 degrees by a tenth: 33 x 91 aims.
func DefaultGrid() Grid { return Grid{steps(5, 1, 33), steps(-1, 0.1, 91)} }

// steps are n evenly spaced values, rounded to a millionth so that 0.3 is 0.3.
func steps(first, by float64, n int) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = math.Round((first+by*float64(i))*1e6) / 1e6
	}
	return values
}

const maxGridAims = 100_000

func (g Grid) validate() error {
	axes := map[string][]float64{"laydown_boards": g.LaydownBoards, "launch_angles_deg": g.LaunchAnglesDeg}
	for name, axis := range axes {
		if len(axis) == 0 {
			return fmt.Errorf("grid: %s is empty", name)
		}
		for i := 1; i < len(axis); i++ {
			if !(axis[i] > axis[i-1]) {
				return fmt.Errorf("grid: %s must rise, but %g follows %g", name, axis[i], axis[i-1])
			}
		}
	}
	if n := len(g.LaydownBoards) * len(g.LaunchAnglesDeg); n > maxGridAims {
		return fmt.Errorf("grid: %d aims are too many (limit %d)", n, maxGridAims)
	}
	for _, board := range []float64{g.LaydownBoards[0], g.LaydownBoards[len(g.LaydownBoards)-1]} {
		for _, angleDeg := range []float64{g.LaunchAnglesDeg[0], g.LaunchAnglesDeg[len(g.LaunchAnglesDeg)-1]} {
			probe := Athlete{SpeedMPH: 17}.release(Aim{board, angleDeg})
			if err := probe.Validate(); err != nil {
				return fmt.Errorf("grid: %w", err)
			}
		}
	}
	return nil
}

// Cell is what becomes of one aim: of the typical delivery, and of the scattered ones.
type Cell struct {
	Hit           Hit     `json:"hit"`
	PinBoard      float64 `json:"pin_board"` // 0 when the typical delivery does not reach the pins
	EntryAngleDeg float64 `json:"entry_angle_deg"`
	Pins          float64 `json:"pins"` // expected pins a frame
	PocketShare   float64 `json:"pocket_share"`
	GutterShare   float64 `json:"gutter_share"`
}

// MissMap is the outcome of one release over laydown and launch angle: Cells[laydown][angle].
type MissMap struct {
	Grid   Grid     `json:"grid"`
	Pocket Pocket   `json:"pocket"`
	Draws  int      `json:"draws"`
	Cells  [][]Cell `json:"cells"`
}

// Progress is how far a computation is. Lines are the lines found so far, ranked, once there are
// any.
type Progress struct {
	Stage string `json:"stage"`
	Done  int    `json:"done"`
	Total int    `json:"total"`
	Lines []Line `json:"lines,omitempty"`
}

// Map computes the miss map of a request over a grid. progress may be nil; it is called from one
// goroutine at a time and should return soon. The error says what is wrong with the request, or is
// the context's.
func Map(ctx context.Context, request Request, grid Grid, progress func(Progress)) (*MissMap, error) {
	if err := request.prepare(); err != nil {
		return nil, err
	}
	if err := grid.validate(); err != nil {
		return nil, err
	}
	scorer, err := newScorer(request)
	if err != nil {
		return nil, err
	}
	draws := request.Athlete.Scatter.draws(request.evenDraws(request.Draws))
	missMap := &MissMap{
		Grid:   grid,
		Pocket: request.Pocket,
		Draws:  len(draws),
		Cells:  make([][]Cell, len(grid.LaydownBoards)),
	}
	columns := len(grid.LaunchAnglesDeg)
	for i := range missMap.Cells {
		missMap.Cells[i] = make([]Cell, columns)
	}
	total := len(grid.LaydownBoards) * columns
	report := func(finished int) {
		if progress != nil && (finished%columns == 0 || finished == total) {
			progress(Progress{Stage: "miss map", Done: finished, Total: total})
		}
	}
	err = spread(ctx, total, func(i int) {
		aim := Aim{grid.LaydownBoards[i/columns], grid.LaunchAnglesDeg[i%columns]}
		typical := scorer.typical(aim)
		cell := Cell{Hit: request.Pocket.hit(typical), PinBoard: typical.PinBoard, EntryAngleDeg: typical.EntryAngleDeg}
		value := scorer.score(aim, draws)
		cell.Pins, cell.PocketShare, cell.GutterShare = value.Pins, value.PocketShare, value.GutterShare
		missMap.Cells[i/columns][i%columns] = cell
	}, report)
	if err != nil {
		return nil, err
	}
	return missMap, nil
}
