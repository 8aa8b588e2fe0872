package offline

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestReadNumbers(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       [][]float64
		fault      string
	}{
		{"commas", "laydown_board,angle_deg\n18,1.2\n", [][]float64{{18, 1.2}}, ""},
		{"other order, more columns, semicolons", "angle_deg;note;laydown_board\n1.2;x;18\n", [][]float64{{18, 1.2}}, ""},
		{"a column is missing", "laydown_board\n18\n", nil, "column angle_deg is missing"},
		{"not a number", "laydown_board,angle_deg\n18,x\n17,inf\n", nil, "row 2, column angle_deg"},
		{"a cell too few", "laydown_board,angle_deg\n18\n", nil, "1 cells are there"},
		{"no rows", "laydown_board,angle_deg\n", nil, "no rows"},
		{"empty", "", nil, "begin it with the header laydown_board,angle_deg"},
	} {
		t.Run(c.name, func(t *testing.T) {
			file, err := readNumbers([]byte(c.text), aimColumns)
			if c.fault != "" {
				if err == nil || !strings.Contains(err.Error(), c.fault) {
					t.Errorf("%v, want %q", err, c.fault)
				}
				return
			}
			if diff := cmp.Diff(c.want, file.values); err != nil || diff != "" {
				t.Errorf("%v (-want +got):\n%s", err, diff)
			}
		})
	}
}

// Whatever a file holds, a row that is read has a number in every needed column.
func FuzzReadNumbers(f *testing.F) {
	f.Add([]byte("laydown_board,angle_deg\n18,1.2\n"))
	f.Add([]byte("\ufeffangle_deg;laydown_board\n\"1\";2\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		file, err := readNumbers(text, aimColumns)
		if err != nil {
			return
		}
		if len(file.rows) == 0 || len(file.rows) != len(file.values) {
			t.Fatalf("%d rows, %d of numbers", len(file.rows), len(file.values))
		}
		for i, row := range file.values {
			if len(row) != len(aimColumns) || len(file.rows[i]) != len(file.columns) {
				t.Fatalf("row %d: %v of %v", i+1, row, file.rows[i])
			}
		}
	})
}
