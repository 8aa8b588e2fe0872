package advice

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"laneward/service/line"
	"laneward/service/record"
)

func TestMissMapGrid(t *testing.T) {
	t.Parallel()
	at := func(v float64) *float64 { return &v }
	usual := line.DefaultGrid()
	for _, c := range []struct {
		name  string
		query GridQuery
		want  line.Grid
		fault string
	}{
		{"usual", GridQuery{}, usual, ""},
		{"laydowns", GridQuery{LaydownFrom: at(10), LaydownTo: at(12)}, line.Grid{LaydownBoards: []float64{10, 11, 12}, LaunchAnglesDeg: usual.LaunchAnglesDeg}, ""},
		{
			"half boards",
			GridQuery{LaydownFrom: at(10), LaydownTo: at(11), LaydownStep: at(0.5), AngleFrom: at(0), AngleTo: at(0.3)},
			line.Grid{LaydownBoards: []float64{10, 10.5, 11}, LaunchAnglesDeg: []float64{0, 0.1, 0.2, 0.3}},
			"",
		},
		{
			"the end is not reached",
			GridQuery{LaydownFrom: at(10), LaydownTo: at(14.9), LaydownStep: at(2)},
			line.Grid{LaydownBoards: []float64{10, 12, 14}, LaunchAnglesDeg: usual.LaunchAnglesDeg},
			"",
		},
		{"falling", GridQuery{LaydownFrom: at(20), LaydownTo: at(10)}, line.Grid{}, "is not a range"},
		{"no step", GridQuery{AngleStep: at(0)}, line.Grid{}, "is not a range"},
		{"not a number", GridQuery{AngleStep: at(math.NaN())}, line.Grid{}, "is not a range"},
		{"too fine", GridQuery{AngleStep: at(0.001)}, line.Grid{}, "ask for 2 to 300"},
		{"one value", GridQuery{AngleStep: at(30)}, line.Grid{}, "ask for 2 to 300"},
		{"too many in all", GridQuery{LaydownStep: at(0.12), AngleStep: at(0.04)}, line.Grid{}, "take larger steps"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.query.Grid()
			if c.fault != "" {
				var faults record.Faults
				if !errors.As(err, &faults) || !strings.Contains(faults[0].Detail, c.fault) {
					t.Errorf("%v, want %q", err, c.fault)
				}
				return
			}
			if diff := cmp.Diff(c.want, got); err != nil || diff != "" {
				t.Errorf("%v (-want +got):\n%s", err, diff)
			}
		})
	}
}
