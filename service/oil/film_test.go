package oil_test

import (
	"encoding/json"
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/oil"
)

var update = flag.Bool("update", false, "write golden files")

func readFilm(t testing.TB, file string) *oil.Film {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("../../testdata/motion", file))
	if err != nil {
		t.Fatal(err)
	}
	var film oil.Film
	if err := json.Unmarshal(data, &film); err != nil {
		t.Fatal(err)
	}
	return &film
}

// The stated volumes and lengths were written by the program that made the files.
func TestFilmFileStatesItsOwnVolume(t *testing.T) {
	for _, c := range []struct {
		file             string
		lengthFt, volume float64
	}{
		{"house_like.json", 40, 20945.5},
		{"flat_long.json", 48, 30536.8},
	} {
		film := readFilm(t, c.file)
		if film.LengthFt != c.lengthFt || film.OiledFt(0) != c.lengthFt {
			t.Errorf("%s: length %g, oiled to %g, want %g", c.file, film.LengthFt, film.OiledFt(0), c.lengthFt)
		}
		if got := film.VolumeUL(); math.Abs(got-c.volume) > 0.1 {
			t.Errorf("%s: volume %.2f uL, want %.1f", c.file, got, c.volume)
		}
	}
}

// 25 mL over 40 ft x 41.5 in averages 10.82 units, 1 unit on one board of one foot is 0.001481 mL
// (both recomputed from 0.0167 mL per square foot by an independent script).
func TestUnits(t *testing.T) {
	if got := oil.UnitULPerBoardFoot; math.Abs(got-1.4809) > 5e-5 {
		t.Errorf("one unit is %.5f uL per board-foot, want 1.4809", got)
	}
	if got := 25000.0 / 40 / lane.Boards / oil.UnitULPerBoardFoot; math.Abs(got-10.82) > 0.005 {
		t.Errorf("25 mL over 40 ft average %.3f units, want 10.82", got)
	}
}

func TestUnitsAtIsBilinearAndClamped(t *testing.T) {
	film := &oil.Film{}
	set := func(board, row int, units float64) { film.UL[board-1][row] = units * oil.UnitULPerBoardFoot }
	set(1, 0, 4)
	set(10, 20, 2)
	set(11, 20, 6)
	set(10, 21, 4)
	set(11, 21, 12)
	set(39, 59, 8)
	for _, c := range []struct {
		name        string
		x, ft, want float64
	}{
		{"cell centre", 10, 20.5, 2},
		{"half way across", 10.5, 20.5, 4},
		{"half way along", 10, 21, 3},
		{"in the middle of four cells", 10.5, 21, 6},
		{"a quarter across, a quarter along", 10.25, 20.75, 0.5625*2 + 0.1875*6 + 0.1875*4 + 0.0625*12},
		{"clamped at the foul line", 1, 0, 4},
		{"clamped at the right edge", 0.5, 0.5, 4},
		{"clamped in the far corner", 39.5, 60, 8},
		{"far outside", 100, 100, 8},
	} {
		if got := film.UnitsAt(c.x, c.ft); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %g units, want %g", c.name, got, c.want)
		}
	}
}

func anyFilm() *rapid.Generator[*oil.Film] {
	return rapid.Custom(func(t *rapid.T) *oil.Film {
		film := &oil.Film{
			Name:     rapid.StringMatching(`[a-z ]{0,12}`).Draw(t, "name"),
			LengthFt: float64(rapid.IntRange(0, 60).Draw(t, "length")),
		}
		boards := rapid.SliceOfN(rapid.Float64Range(0, 90), lane.Boards, lane.Boards).Draw(t, "across")
		rows := rapid.SliceOfN(rapid.Float64Range(0, 1), oil.Rows, oil.Rows).Draw(t, "along")
		for b := range boards {
			for j := range rows {
				film.UL[b][j] = boards[b] * rows[j]
			}
		}
		return film
	})
}

func TestFilmSurvivesItsFiles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		film := anyFilm().Draw(t, "film")
		data, err := json.Marshal(film)
		if err != nil {
			t.Fatal(err)
		}
		var back oil.Film
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatal(err)
		}
		var text strings.Builder
		if err := film.WriteCSV(&text); err != nil {
			t.Fatal(err)
		}
		table, err := oil.ReadFilmCSV(film.Name, strings.NewReader(text.String()))
		if err != nil {
			t.Fatal(err)
		}
		if table.UL != film.UL {
			t.Fatal("CSV changed the film")
		}
		for b := range film.UL {
			for j := range film.UL[b] {
				if math.Abs(back.UL[b][j]-film.UL[b][j]) > 1e-12*(1+film.UL[b][j]) {
					t.Fatalf("JSON changed board %d, row %d: %g to %g", b+1, j, film.UL[b][j], back.UL[b][j])
				}
			}
		}
	})
}

func TestVolumesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		film := anyFilm().Draw(t, "film")
		boards, feet := 0.0, 0.0
		for _, v := range film.BoardUL() {
			boards += v
		}
		for _, v := range film.FootUL() {
			feet += v
		}
		if volume := film.VolumeUL(); math.Abs(boards-volume) > 1e-9 || math.Abs(feet-volume) > 1e-9 {
			t.Fatalf("boards %g, feet %g, all %g", boards, feet, volume)
		}
		if *film.Mirror().Mirror() != *film {
			t.Fatal("mirrored twice it is another film")
		}
	})
}

func TestFilmFileRefusals(t *testing.T) {
	good := func() map[string]any {
		table := make([][]float64, lane.Boards)
		for b := range table {
			table[b] = make([]float64, oil.Rows)
			table[b][0] = 1
		}
		return map[string]any{"name": "x", "film": table}
	}
	for _, c := range []struct {
		name   string
		change func(file map[string]any)
		want   []oil.Fault // only row and column are compared
	}{
		{"38 boards", func(f map[string]any) { f["film"] = f["film"].([][]float64)[:38] }, []oil.Fault{{Column: "film"}}},
		{"no film", func(f map[string]any) { delete(f, "film") }, []oil.Fault{{Column: "film"}}},
		{
			"two short boards", func(f map[string]any) {
				table := f["film"].([][]float64)
				table[4], table[6] = table[4][:59], append(table[6], 1)
			},
			[]oil.Fault{{Row: 5, Column: "film"}, {Row: 7, Column: "film"}},
		},
		{
			"negative and absurd oil", func(f map[string]any) {
				f["film"].([][]float64)[9][3], f["film"].([][]float64)[38][59] = -1, 5000
			},
			[]oil.Fault{{Row: 10, Column: "foot 3 to 4"}, {Row: 39, Column: "foot 59 to 60"}},
		},
		{"length beyond the lane", func(f map[string]any) { f["length_ft"] = 61 }, []oil.Fault{{Column: "length_ft"}}},
		{"other unit", func(f map[string]any) { f["unit"] = "uL" }, []oil.Fault{{Column: "unit"}}},
		{"volume of another unit", func(f map[string]any) { f["volume_ml"] = 0.039 }, []oil.Fault{{Column: "volume_ml"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := good()
			c.change(file)
			data, err := json.Marshal(file)
			if err != nil {
				t.Fatal(err)
			}
			var film oil.Film
			checkFaults(t, json.Unmarshal(data, &film), c.want)
		})
	}
	data, err := json.Marshal(good())
	if err != nil {
		t.Fatal(err)
	}
	var film oil.Film
	if err := json.Unmarshal(data, &film); err != nil || film.LengthFt != 1 {
		t.Errorf("the file without a fault: length %g, error %v", film.LengthFt, err)
	}
}

// checkFaults wants an error that is Faults with exactly these rows and columns, each with a
// reason.
func checkFaults(t *testing.T, err error, want []oil.Fault) {
	t.Helper()
	var faults oil.Faults
	if !errors.As(err, &faults) {
		t.Fatalf("want faults, got %v", err)
	}
	var got []oil.Fault
	for _, fault := range faults {
		if fault.Reason == "" {
			t.Errorf("row %d, %s has no reason", fault.Row, fault.Column)
		}
		got = append(got, oil.Fault{Row: fault.Row, Column: fault.Column})
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("faults (-want +got):\n%s\n%v", diff, err)
	}
}

func FuzzFilmFile(f *testing.F) {
	data, err := json.Marshal(&oil.Film{Name: "empty"})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(`{"film":[[1,2],[3]]}`))
	f.Add([]byte(`{"film":null,"length_ft":-1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var film oil.Film
		if json.Unmarshal(data, &film) != nil {
			return
		}
		if err := film.Validate(); err != nil {
			t.Errorf("accepted a film that is not valid: %v", err)
		}
	})
}
