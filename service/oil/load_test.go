package oil_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/oil"
)

func anyLoad() *rapid.Generator[oil.Load] {
	return rapid.Custom(func(t *rapid.T) oil.Load {
		from := rapid.IntRange(1, lane.Boards).Draw(t, "from")
		start := rapid.Float64Range(0, 59).Draw(t, "start")
		load := oil.Load{
			Direction: oil.Out, FromBoard: from, ToBoard: rapid.IntRange(from, lane.Boards).Draw(t, "to"),
			Count: rapid.IntRange(1, 5).Draw(t, "count"), ULPerBoard: rapid.Float64Range(0.1, 60).Draw(t, "ul"),
			StartFt: start, EndFt: rapid.Float64Range(start+0.01, 60).Draw(t, "end"),
		}
		if rapid.Bool().Draw(t, "back") {
			load.Direction = oil.Back
			load.StartFt, load.EndFt = load.EndFt, load.StartFt
		}
		return load
	})
}

func TestVolumeIsConserved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := oil.Table{Loads: rapid.SliceOfN(anyLoad(), 1, 8).Draw(t, "loads")}
		film, err := table.Film()
		if err != nil {
			t.Fatal(err)
		}
		want := 0.0
		var boards [lane.Boards + 2]float64
		for _, load := range table.Loads {
			want += float64(load.Count*(load.ToBoard-load.FromBoard+1)) * load.ULPerBoard
			for b := load.FromBoard; b <= load.ToBoard; b++ {
				boards[b] += float64(load.Count) * load.ULPerBoard
			}
		}
		if got := film.VolumeUL(); math.Abs(got-want) > 1e-9 {
			t.Fatalf("the film holds %.12g uL, the loads laid %.12g", got, want)
		}
		// Half of a board's oil stays and a quarter goes to either side; none leaves the lane.
		boards[0], boards[lane.Boards+1] = boards[1], boards[lane.Boards]
		for b, volume := range film.BoardUL() {
			if spread := boards[b+1]/2 + boards[b]/4 + boards[b+2]/4; math.Abs(volume-spread) > 1e-9 {
				t.Fatalf("board %d holds %.12g uL, want %.12g of what the loads laid", b+1, volume, spread)
			}
		}
		if got := film.OiledFt(0); got < table.LengthFt() || got >= table.LengthFt()+1 {
			t.Fatalf("oiled to %g ft, the table's length is %g", got, table.LengthFt())
		}
	})
}

// Two passes of 40 uL on boards 2 to 38 over 10.5 ft: 80 uL a board, so 80/10.5 on each whole foot
// and half of it on the last. Spreading moves a quarter of a board's oil to either neighbour.
func TestFilmByHand(t *testing.T) {
	table := oil.Table{Loads: []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 2, ULPerBoard: 40, StartFt: 2, EndFt: 12.5},
		{Direction: oil.Back, FromBoard: 20, ToBoard: 20, Count: 1, ULPerBoard: 30, StartFt: 6.25, EndFt: 6},
		{Direction: oil.Back, FromBoard: 1, ToBoard: 39, Count: 0, ULPerBoard: 40, StartFt: 40, EndFt: 0},
	}}
	film, err := table.Film()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		board, row int
		want       float64
	}{
		{2, 2, 0.75 * 80 / 10.5},
		{3, 2, 80 / 10.5},
		{38, 11, 0.75 * 80 / 10.5},
		{2, 12, 0.75 * 40 / 10.5},
		{2, 13, 0},
		{2, 1, 0},
		{1, 5, 0.25 * 80 / 10.5},
		{39, 5, 0.25 * 80 / 10.5},
		{20, 6, 80/10.5 + 15},
		{21, 6, 80/10.5 + 7.5},
	} {
		if got := film.UL[c.board-1][c.row]; math.Abs(got-c.want) > 1e-12 {
			t.Errorf("board %d, foot %d: %g uL, want %g", c.board, c.row, got, c.want)
		}
	}
	if film.LengthFt != 12.5 {
		t.Errorf("length %g ft, want 12.5: the pass without oil does not count", film.LengthFt)
	}
}

// For planning, an edge board that a table leaves nearly bare is as its neighbour; the film itself
// and its volume stay as laid, and an edge board with more oil keeps it.
func TestWithEdges(t *testing.T) {
	table := oil.Table{Loads: []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 1, ULPerBoard: 40, StartFt: 0, EndFt: 10},
		{Direction: oil.Out, FromBoard: 39, ToBoard: 39, Count: 1, ULPerBoard: 400, StartFt: 0, EndFt: 10},
	}}
	film, err := table.Film()
	if err != nil {
		t.Fatal(err)
	}
	laid := *film
	even := film.WithEdges()
	if *film != laid {
		t.Error("the film itself was changed")
	}
	if even.UL[0] != film.UL[1] || even.UL[38] != film.UL[38] {
		t.Errorf("edges read %g and %g, want %g and %g", even.UL[0][0], even.UL[38][0], film.UL[1][0], film.UL[38][0])
	}
	for b := 1; b < 38; b++ {
		if even.UL[b] != film.UL[b] {
			t.Errorf("board %d was changed", b+1)
		}
	}
	if *film.Mirror().WithEdges() != *even.Mirror() {
		t.Error("the mirror image differs")
	}
}

func TestTableFaultsAreAllNamed(t *testing.T) {
	good := oil.Load{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 2, ULPerBoard: 40, StartFt: 0, EndFt: 10}
	with := func(change func(*oil.Load)) oil.Load {
		load := good
		change(&load)
		return load
	}
	for _, c := range []struct {
		name  string
		loads []oil.Load
		want  []oil.Fault
	}{
		{"empty", nil, []oil.Fault{{Column: "loads"}}},
		{"no oil", []oil.Load{with(func(l *oil.Load) { l.Count = 0 })}, []oil.Fault{{Column: "loads"}}},
		{
			"one fault in each of three rows",
			[]oil.Load{
				with(func(l *oil.Load) { l.FromBoard = 0 }), good, with(func(l *oil.Load) { l.StartFt, l.EndFt = 10, 4 }),
				with(func(l *oil.Load) { l.ULPerBoard = -3 }),
			},
			[]oil.Fault{{Row: 1, Column: "from_board"}, {Row: 3, Column: "end_ft"}, {Row: 4, Column: "ul_per_board"}},
		},
		{
			"many faults in one row",
			[]oil.Load{{Direction: "up", FromBoard: 40, ToBoard: 3, Count: -1, ULPerBoard: math.NaN(), StartFt: -1, EndFt: 61}},
			[]oil.Fault{
				{Row: 1, Column: "direction"},
				{Row: 1, Column: "from_board"},
				{Row: 1, Column: "to_board"},
				{Row: 1, Column: "count"},
				{Row: 1, Column: "ul_per_board"},
				{Row: 1, Column: "start_ft"},
				{Row: 1, Column: "end_ft"},
			},
		},
		{"absurd load", []oil.Load{with(func(l *oil.Load) { l.ULPerBoard = 4000 })}, []oil.Fault{{Row: 1, Column: "ul_per_board"}}},
		{"absurd count", []oil.Load{with(func(l *oil.Load) { l.Count = 51 })}, []oil.Fault{{Row: 1, Column: "count"}}},
		{"absurd volume", []oil.Load{with(func(l *oil.Load) { l.Count, l.ULPerBoard = 50, 100 })}, []oil.Fault{{Column: "loads"}}},
		{"no length", []oil.Load{with(func(l *oil.Load) { l.EndFt = 0 })}, []oil.Fault{{Row: 1, Column: "end_ft"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			table := oil.Table{Loads: c.loads}
			checkFaults(t, table.Validate(), c.want)
			if film, err := table.Film(); err == nil {
				t.Errorf("a faulty table gave a film of %g uL", film.VolumeUL())
			}
		})
	}
}

func TestTableCSVSurvives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := oil.Table{Name: "x", Loads: rapid.SliceOfN(anyLoad(), 1, 8).Draw(t, "loads")}
		var text strings.Builder
		text.WriteString(strings.Join(oil.LoadColumns, ",") + "\n")
		for _, l := range table.Loads {
			fmt.Fprintf(&text, "%s,%d,%d,%d,%v,%v,%v\n", l.Direction, l.FromBoard, l.ToBoard, l.Count,
				l.ULPerBoard, l.StartFt, l.EndFt)
		}
		back, err := oil.ReadTableCSV("x", strings.NewReader(text.String()))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(table, back); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestReadTableCSV(t *testing.T) {
	const header = "direction,from_board,to_board,count,ul_per_board,start_ft,end_ft\r\n"
	want := oil.Table{Name: "p", Loads: []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 2, ULPerBoard: 40.5, StartFt: 0, EndFt: 10},
	}}
	for name, text := range map[string]string{
		"plain":                header + "out,2,38,2,40.5,0,10\r\n",
		"unix lines":           strings.ReplaceAll(header+"out,2,38,2,40.5,0,10", "\r\n", "\n"),
		"sides":                header + "out,2R,2l,2,40.5,0,10\r\n",
		"the sheet's order":    header + "Out,2L,2R,2,40.5,0,10\r\n",
		"left side alone":      header + "Out,2L,2,2,40.5,0,10\r\n",
		"semicolons":           strings.ReplaceAll(header+"out,2,38,2,40.5,0,10\r\n", ",", ";"),
		"byte order mark":      "\ufeff" + header + "out,2,38,2,40.5,0,10\r\n",
		"quoted, capitals":     "\"Direction\",from_board,to_board,count,ul_per_board,start_ft,end_ft\r\n\"OUT\",\"2\",38,2, 40.5 ,0,10\r\n",
		"columns in own order": "count,direction,end_ft,start_ft,ul_per_board,to_board,from_board\r\n2,out,10,0,40.5,38,2\r\n",
	} {
		got, err := oil.ReadTableCSV("p", strings.NewReader(text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
	_, err := oil.ReadTableCSV(
		"p",
		strings.NewReader(header+"out,x,38,2,40.5,0,10\r\nout,2,38,two,40.5,12,10\r\nback,2,1L2,1,nan,50,20\r\n"+
			"out,2,38\r\nback,38,2,1,10,0,10\r\n"),
	)
	checkFaults(t, err, []oil.Fault{
		{Row: 1, Column: "from_board"},
		{Row: 2, Column: "count"},
		{Row: 2, Column: "end_ft"},
		{Row: 3, Column: "to_board"},
		{Row: 3, Column: "ul_per_board"},
		{Row: 4, Column: "cells"},
		{Row: 5, Column: "to_board"},
	})
	_, err = oil.ReadTableCSV("p", strings.NewReader("direction,boards,count,count\r\n"))
	if err == nil || !strings.Contains(err.Error(), `column "boards" is unknown; column "count" is given twice; `+
		`column "from_board" is missing; column "to_board" is missing`) {
		t.Errorf("a header with several faults: %v", err)
	}
	for name, text := range map[string]string{
		"empty":           "",
		"missing column":  "direction,from_board,to_board,count,ul_per_board,start_ft\r\n",
		"unknown column":  strings.Replace(header, "count", "loads", 1),
		"twice":           strings.Replace(header, "count", "start_ft", 1),
		"too few fields":  header + "out,2,38\r\n",
		"unclosed quote":  header + "\"out,2,38,2,40,0,10\r\n",
		"header only":     header,
		"too many fields": header + "out,2,38,2,40.5,0,10,1\r\n",
	} {
		if _, err := oil.ReadTableCSV("p", strings.NewReader(text)); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestGoldenFilm(t *testing.T) {
	file, err := os.Open("../../testdata/oil/invented-41.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	table, err := oil.ReadTableCSV("invented 41", file)
	if err != nil {
		t.Fatal(err)
	}
	film, err := table.Film()
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	if err := film.WriteCSV(&text); err != nil {
		t.Fatal(err)
	}
	const golden = "../../testdata/oil/invented-41.film.csv"
	if *update {
		if err := os.WriteFile(golden, []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), text.String()); diff != "" {
		t.Errorf("film (-want +got):\n%s", diff)
	}
}

func FuzzTableCSV(f *testing.F) {
	f.Add("direction,from_board,to_board,count,ul_per_board,start_ft,end_ft\r\nout,2R,2L,2,40,0,10\r\n")
	f.Add("direction\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		table, err := oil.ReadTableCSV("", strings.NewReader(text))
		if err != nil {
			return
		}
		film, err := table.Film()
		if err != nil {
			t.Fatalf("accepted a table that cannot be laid: %v", err)
		}
		if volume := table.VolumeUL(); math.Abs(film.VolumeUL()-volume) > 1e-9*(1+volume) {
			t.Fatalf("laid %g uL of %g", film.VolumeUL(), volume)
		}
	})
}
