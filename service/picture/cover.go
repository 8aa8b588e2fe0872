package picture

// block is a rectangle of equal cells of a grid: first index i0 to i1, second j0 to j1, the last
// ones excluded.
type block struct{ i0, i1, j0, j1, value int }

// cover splits a grid into rectangles of equal value: each takes the longest run of the second
// index, then as many rows as repeat it. Every cell is in exactly one.
func cover(grid [][]int) []block {
	done := make([][]bool, len(grid))
	for i := range grid {
		done[i] = make([]bool, len(grid[i]))
	}
	var blocks []block
	for i := range grid {
		for j := range grid[i] {
			if done[i][j] {
				continue
			}
			r := block{i0: i, i1: i + 1, j0: j, j1: j + 1, value: grid[i][j]}
			for r.j1 < len(grid[i]) && grid[i][r.j1] == r.value && !done[i][r.j1] {
				r.j1++
			}
			for r.i1 < len(grid) && uniform(grid[r.i1][r.j0:r.j1], done[r.i1][r.j0:r.j1], r.value) {
				r.i1++
			}
			for a := r.i0; a < r.i1; a++ {
				for b := r.j0; b < r.j1; b++ {
					done[a][b] = true
				}
			}
			blocks = append(blocks, r)
		}
	}
	return blocks
}

func uniform(values []int, done []bool, want int) bool {
	for i, v := range values {
		if v != want || done[i] {
			return false
		}
	}
	return true
}
