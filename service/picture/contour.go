package picture

import (
	"math"
	"slices"
)

// contourLines returns where a grid crosses a level, by marching squares with linear interpolation,
// as stretches in grid coordinates (X is the first index, Y the second). Squares with a NaN corner
// are left out. A saddle is split by the mean of its four corners.
func contourLines(grid [][]float64, level float64) [][]XY {
	var lines [][]XY
	for i := 0; i+1 < len(grid); i++ {
		for j := 0; j+1 < len(grid[i]); j++ {
			corners := [4]float64{grid[i][j], grid[i+1][j], grid[i+1][j+1], grid[i][j+1]}
			mean := (corners[0] + corners[1] + corners[2] + corners[3]) / 4
			if math.IsNaN(mean) {
				continue
			}
			var cuts []XY
			places := [4]XY{
				{float64(i), float64(j)},
				{float64(i + 1), float64(j)},
				{float64(i + 1), float64(j + 1)},
				{float64(i), float64(j + 1)},
			}
			for k := range 4 {
				from, to := k, (k+1)%4
				if k >= 2 {
					from, to = to, from // the neighbour square walks this edge this way: the same sum gives the same point
				}
				a, b := corners[from], corners[to]
				if (a >= level) == (b >= level) {
					continue
				}
				t := (level - a) / (b - a)
				p, q := places[from], places[to]
				cuts = append(cuts, XY{p.X + t*(q.X-p.X), p.Y + t*(q.Y-p.Y)})
			}
			switch {
			case len(cuts) == 2:
				lines = append(lines, cuts)
			case len(cuts) == 4 && (corners[0] >= level) == (mean >= level):
				// The middle belongs with corners 0 and 2: cut off corners 1 (edges 0, 1) and 3
				// (edges 2, 3).
				lines = append(lines, []XY{cuts[0], cuts[1]}, []XY{cuts[2], cuts[3]})
			case len(cuts) == 4:
				lines = append(lines, []XY{cuts[3], cuts[0]}, []XY{cuts[1], cuts[2]})
			}
		}
	}
	// A corner that lies on the level itself leaves stretches without length.
	lines = slices.DeleteFunc(lines, func(line []XY) bool { return line[0] == line[1] })
	return joinLines(lines)
}

// joinLines chains stretches that share an end into longer lines, so that dashes run through and
// the SVG stays small.
func joinLines(lines [][]XY) [][]XY {
	ends := map[XY][]int{}
	for i, line := range lines {
		ends[line[0]] = append(ends[line[0]], i)
		ends[line[len(line)-1]] = append(ends[line[len(line)-1]], i)
	}
	used := make([]bool, len(lines))
	next := func(at XY) (other XY, ok bool) {
		for _, i := range ends[at] {
			if used[i] {
				continue
			}
			used[i] = true
			if lines[i][0] == at {
				return lines[i][1], true
			}
			return lines[i][0], true
		}
		return XY{}, false
	}
	var joined [][]XY
	for i, line := range lines {
		if used[i] {
			continue
		}
		used[i] = true
		chain := []XY{line[0], line[1]}
		for to, ok := next(chain[len(chain)-1]); ok; to, ok = next(to) {
			chain = append(chain, to)
		}
		var head []XY
		for to, ok := next(chain[0]); ok; to, ok = next(to) {
			head = append(head, to)
		}
		slices.Reverse(head)
		joined = append(joined, append(head, chain...))
	}
	return joined
}
