package advice

import (
	"strings"
	"testing"

	"laneward/service/line"
)

// A map that cannot end in time is refused before it begins, with the draws that could.
func TestMapPaths(t *testing.T) {
	axis := func(n int) []float64 { return make([]float64, n) }
	for name, tc := range map[string]struct {
		grid  line.Grid
		draws int
		says  string
	}{
		"the default":           {line.DefaultGrid(), MapDraws, ""},
		"the default, at most":  {line.DefaultGrid(), 664, ""},
		"the default, too many": {line.DefaultGrid(), 666, "at most 664 draws"},
		"the most draws":        {line.DefaultGrid(), 4096, "4096 for each of 3003 aims"},
		"the most aims":         {line.Grid{LaydownBoards: axis(100), LaunchAnglesDeg: axis(300)}, 64, ""},
		"both":                  {line.Grid{LaydownBoards: axis(100), LaunchAnglesDeg: axis(300)}, 4096, "at most 64 draws"},
		"a small grid":          {line.Grid{LaydownBoards: axis(2), LaunchAnglesDeg: axis(2)}, 4096, ""},
	} {
		err := CheckMapPaths(tc.grid, tc.draws)
		if (tc.says == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s: %v, want %q", name, err, tc.says)
		}
	}
}
