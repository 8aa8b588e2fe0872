package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
	"laneward/service/oil"
)

var update = flag.Bool("update", false, "write golden files")

// runOffline runs the program as a person without a server would.
func runOffline(t testing.TB, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, messages bytes.Buffer
	home := t.TempDir()
	code = run(context.Background(), terminal.Environment{
		Args: args, Now: time.Now, Stdin: strings.NewReader(stdin), Stdout: &out, Stderr: &messages,
		Getenv: func(name string) string { return map[string]string{"HOME": home}[name] },
	})
	return code, out.String(), messages.String()
}

// compareGolden holds a text against a golden file.
func compareGolden(t testing.TB, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

const motionData = "../../testdata/motion/"

// readTable reads CSV with a header.
func readTable(t testing.TB, text string) (header []string, rows [][]string) {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return records[0], records[1:]
}

func numberIn(t testing.TB, header, row []string, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[slices.Index(header, column)], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return v
}

// The whole way from the files to the numbers, under the law without slip and under the nominal
// one. Source of the expected values: SciPy DOP853 on the full 6-state equations, see
// testdata/motion/README.md.
func TestPathAgainstReferenceShots(t *testing.T) {
	withoutSlip := []string{"--mu-dry", "0.24", "--mu-oil", "0.004", "--q0", "1", "--share-thick", "0", "--slip-mps", "none"}
	films := map[string]string{"house-like": "house_like.json", "flat-long": "flat_long.json"}
	for _, reference := range []struct {
		file  string
		shots int
		law   []string
	}{{"reference-shots.csv", 40, withoutSlip}, {"slip-law-shots.csv", 20, nil}} {
		text, err := os.ReadFile(motionData + reference.file)
		if err != nil {
			t.Fatal(err)
		}
		header, shots := readTable(t, string(text))
		if len(shots) != reference.shots {
			t.Fatalf("%s: %d reference shots, want %d", reference.file, len(shots), reference.shots)
		}
		for pattern, film := range films {
			t.Run(reference.file+" "+pattern, func(t *testing.T) {
				shots := slices.DeleteFunc(slices.Clone(shots), func(shot []string) bool { return shot[0] != pattern })
				releases := "laydown_board,angle_deg,mph,rpm,rot_deg,tilt_deg\n"
				for _, shot := range shots {
					releases += strings.Join(shot[1:7], ",") + "\n"
				}
				args := append([]string{"path", "--film", motionData + film, "--releases", "-"}, reference.law...)
				comparePaths(t, header, shots, releases, args, map[string]float64{
					"pin_board": 0.01, "entry_deg": 0.005, "t_roll_s": 1e-4, "x_roll_ft": 2e-3, "t_pins_s": 1e-4,
				})
				comparePaths(t, header, shots, releases, append(args, "--fast"), map[string]float64{
					"pin_board": 0.05, "entry_deg": 0.05,
				})
			})
		}
	}
}

func comparePaths(
	t *testing.T,
	header []string,
	shots [][]string,
	releases string,
	args []string,
	tolerances map[string]float64,
) {
	t.Helper()
	code, out, messages := runOffline(t, releases, args...)
	if code != terminal.ExitOK || messages != "" {
		t.Fatalf("exit code %d: %s", code, messages)
	}
	gotHeader, got := readTable(t, out)
	want := "laydown_board,angle_deg,mph,rpm,rot_deg,tilt_deg,pin_board,entry_deg,t_roll_s,x_roll_ft,t_pins_s,gutter"
	if strings.Join(gotHeader, ",") != want {
		t.Errorf("columns %v, want %s", gotHeader, want)
	}
	if len(got) != len(shots) {
		t.Fatalf("%d rows for %d releases", len(got), len(shots))
	}
	for i := range shots {
		comparePath(t, fmt.Sprintf("%v, row %d", args, i+1), header, shots[i], gotHeader, got[i], tolerances)
	}
}

func comparePath(t *testing.T, name string, wantHeader, want, gotHeader, got []string, tolerances map[string]float64) {
	t.Helper()
	if !slices.Equal(got[:6], want[1:7]) {
		t.Errorf("%s: the release is %v, want %v", name, got[:6], want[1:7])
	}
	for column, tolerance := range tolerances {
		a, b := numberIn(t, wantHeader, want, column), numberIn(t, gotHeader, got, column)
		if math.IsNaN(a) != math.IsNaN(b) || math.Abs(a-b) > tolerance {
			t.Errorf("%s: %s is %g, want %g within %g", name, column, b, a, tolerance)
		}
	}
	if got[len(got)-1] != "false" {
		t.Errorf("%s: gutter %s", name, got[len(got)-1])
	}
}

func TestPathFormats(t *testing.T) {
	// A pocket shot, one in the gutter, one that still slips at the pins, one with columns of its
	// own, in another order.
	releases := "id,mph,rpm,laydown_board,angle_deg,rot_deg,tilt_deg\nfirst,17,300,25,2,45,12\ngutter,17,300,3,6,45,12\nslips,22,100,20,0.5,45,12\n"
	for _, format := range []string{"csv", "json"} {
		code, out, messages := runOffline(
			t,
			releases,
			"path",
			"--film",
			motionData+"house_like.json",
			"--releases",
			"-",
			"--format",
			format,
		)
		if code != terminal.ExitOK {
			t.Fatalf("exit code %d: %s", code, messages)
		}
		compareGolden(t, "path."+format+".golden", out)
		if format == "json" {
			var rows []map[string]any
			if err := json.Unmarshal([]byte(out), &rows); err != nil {
				t.Fatal(err)
			}
			if len(rows) != 3 || rows[1]["gutter"] != true || rows[1]["pin_board"] != nil ||
				rows[2]["t_roll_s"] != nil ||
				rows[0]["id"] != "first" {
				t.Errorf("%v", rows)
			}
		}
	}
}

// A left-hander's path over the mirrored film is the right-hander's.
func TestPathMirrors(t *testing.T) {
	text, err := os.ReadFile(motionData + "house_like.json")
	if err != nil {
		t.Fatal(err)
	}
	var film oil.Film
	if err := json.Unmarshal(text, &film); err != nil {
		t.Fatal(err)
	}
	for board := 1; board < 20; board++ {
		film.UL[board-1][25] += 3 // so that the two sides differ
	}
	written := func(name string, f *oil.Film) string {
		path := filepath.Join(t.TempDir(), name)
		text, err := json.Marshal(f)
		if err == nil {
			err = os.WriteFile(path, text, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
		return path
	}
	releases := "laydown_board,angle_deg,mph,rpm,rot_deg,tilt_deg\n25,2,17,300,45,12\n12,1,17,300,45,12\n"
	_, right, _ := runOffline(t, releases, "path", "--film", written("right.json", &film), "--releases", "-")
	_, left, _ := runOffline(
		t,
		releases,
		"path",
		"--film",
		written("left.json", film.Mirror()),
		"--releases",
		"-",
		"--side",
		"left",
	)
	_, other, _ := runOffline(
		t,
		releases,
		"path",
		"--film",
		written("right.json", &film),
		"--releases",
		"-",
		"--side",
		"left",
	)
	if right != left {
		t.Errorf("right:\n%s\nleft:\n%s", right, left)
	}
	if right == other {
		t.Error("the side makes no difference on a film whose sides differ")
	}
}

func TestPathRefuses(t *testing.T) {
	const header = "laydown_board,angle_deg,mph,rpm,rot_deg,tilt_deg\n"
	const film = motionData + "house_like.json"
	cases := []struct {
		name, releases string
		args           []string
		code           int
		says           []string
	}{
		{
			"bad rows",
			header + "20,2,17,300,45,12\n20,two,17,300,45,12\n20,2,17\n60,2,17,3000,45,12\n",
			nil,
			terminal.ExitFailure,
			[]string{
				`row 2, column angle_deg: "two" is not a number`,
				"row 3, 3 cells are there and the header has 6",
				"row 4, column laydown_board 60 is out of range",
				"row 4, column rpm 3000 is out of range",
				"nothing was computed",
			},
		},
		{
			"infinite",
			header + "20,2,Inf,300,45,NaN\n",
			nil,
			terminal.ExitFailure,
			[]string{`row 1, column mph: "Inf" is not a number`, `row 1, column tilt_deg: "NaN"`},
		},
		{
			"missing column",
			"laydown_board,angle_deg,mph,rpm,rot_deg\n20,2,17,300,45\n",
			nil,
			terminal.ExitFailure,
			[]string{"column tilt_deg is missing"},
		},
		{
			"column twice",
			"mph," + header + "17,20,2,17,300,45,12\n",
			nil,
			terminal.ExitFailure,
			[]string{`column "mph" appears twice`},
		},
		{
			"computed column",
			"pin_board," + header + "17,20,2,17,300,45,12\n",
			nil,
			terminal.ExitFailure,
			[]string{`column "pin_board" is one of those to be computed`},
		},
		{"no rows", header, nil, terminal.ExitFailure, []string{"a header and no rows"}},
		{"empty", "", nil, terminal.ExitFailure, []string{"the file is empty"}},
		{
			"quotation mark",
			header + "20,2,17,300,45,12\n\"20,2,17,300,45,12\n",
			nil,
			terminal.ExitFailure,
			[]string{"row 2, the line is not CSV"},
		},
		{
			"friction",
			header + "20,2,17,300,45,12\n",
			[]string{"--mu-oil=-1"},
			terminal.ExitUsage,
			[]string{"mu_oil -1 is out of range"},
		},
		{
			"slip speed",
			header + "20,2,17,300,45,12\n",
			[]string{"--slip-mps", "fast"},
			terminal.ExitUsage,
			[]string{`"fast" is not a slip speed: write metres a second, such as 3, or none`},
		},
		{
			"ball",
			header + "20,2,17,300,45,12\n",
			[]string{"--gyration-in", "9"},
			terminal.ExitUsage,
			[]string{"gyration_in 9 is out of range"},
		},
		{
			"no film",
			header + "20,2,17,300,45,12\n",
			[]string{"--film", "nowhere.json"},
			terminal.ExitFailure,
			[]string{"nowhere.json"},
		},
		{
			"no film map",
			header + "20,2,17,300,45,12\n",
			[]string{"--film", "run.go"},
			terminal.ExitFailure,
			[]string{"run.go: it is not a film map or a load table"},
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			code, out, messages := runOffline(
				t,
				c.releases,
				append([]string{"path", "--film", film, "--releases", "-"}, c.args...)...)
			if code != c.code || out != "" {
				t.Errorf("exit code %d, want %d; output %q", code, c.code, out)
			}
			for _, word := range c.says {
				if !strings.Contains(messages, word) {
					t.Errorf("does not say %q: %s", word, messages)
				}
			}
		})
	}
}

func TestPathManyFaults(t *testing.T) {
	releases := "laydown_board,angle_deg,mph,rpm,rot_deg,tilt_deg\n" + strings.Repeat("x,2,17,300,45,12\n", 100)
	code, _, messages := runOffline(t, releases, "path", "--film", motionData+"house_like.json", "--releases", "-")
	if code != terminal.ExitFailure || !strings.Contains(messages, "and 80 more") || strings.Count(messages, "\n") > 25 {
		t.Errorf("exit code %d: %s", code, messages)
	}
}

// Ctrl-C stops a long run without output.
func TestPathStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var out bytes.Buffer
	releases := "laydown_board,angle_deg,mph,rpm,rot_deg,tilt_deg\n" + strings.Repeat("20,2,17,300,45,12\n", 1000)
	code := run(ctx, terminal.Environment{
		Args: []string{
			"path",
			"--film",
			motionData + "house_like.json",
			"--releases",
			"-",
		},
		Now:    time.Now,
		Getenv: func(string) string { return "" },
		Stdin:  strings.NewReader(releases),
		Stdout: &out,
		Stderr: &bytes.Buffer{},
	})
	if code != terminal.ExitFailure || out.Len() > 0 {
		t.Errorf("exit code %d, output %q", code, out.String())
	}
}

const oilData = "../../testdata/oil/"

func TestOilText(t *testing.T) {
	code, out, messages := runOffline(t, "", "oil", "--loads", oilData+"invented-41.csv")
	if code != terminal.ExitOK || messages != "" {
		t.Fatalf("exit code %d: %s", code, messages)
	}
	compareGolden(t, "oil.golden", out)
}

func TestOilJSON(t *testing.T) {
	code, out, messages := runOffline(t, "", "oil", "--loads", oilData+"invented-41.csv", "--format", "json")
	if code != terminal.ExitOK {
		t.Fatalf("exit code %d: %s", code, messages)
	}
	var report advice.FilmReport
	if err := json.Unmarshal([]byte(out), &report); err != nil {
		t.Fatal(err)
	}
	// The volume by hand: boards x microlitres x count of each load of the file.
	const want = 37*2*45 + 25*2*45 + 21*3*45 + 17*2*45 + 23*2*45 + 31*45
	boards, feet, cells := 0.0, 0.0, 0.0
	for b, row := range report.FilmUL {
		boards += report.BoardUL[b]
		for _, ul := range row {
			cells += ul
		}
	}
	for _, ul := range report.FootUL {
		feet += ul
	}
	for name, got := range map[string]float64{"in all": report.VolumeUL, "by board": boards, "by foot": feet, "by cell": cells} {
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("volume %s is %.12g uL, want %d", name, got, want)
		}
	}
	if report.LengthFt != 41 || len(report.Ratios) != len(oil.Definitions()) ||
		len(report.Classes) != len(oil.ThresholdSets()) ||
		report.Class == "" {
		t.Errorf("%+v", report)
	}
}

// The film that is written out is the one that was laid, whichever way it goes.
func TestOilFilms(t *testing.T) {
	dir := t.TempDir()
	csvFile, jsonFile := filepath.Join(dir, "film.csv"), filepath.Join(dir, "film.json")
	_, direct, _ := runOffline(
		t,
		"",
		"oil",
		"--loads",
		oilData+"invented-41.csv",
		"--format",
		"csv",
		"--film-out",
		csvFile,
	)
	golden, err := os.ReadFile(oilData + "invented-41.film.csv")
	if err != nil {
		t.Fatal(err)
	}
	if direct != string(golden) {
		t.Error("the film differs from testdata/oil/invented-41.film.csv")
	}
	code, _, messages := runOffline(t, "", "oil", "--film", csvFile, "--film-out", jsonFile)
	if code != terminal.ExitOK || !strings.Contains(messages, "Wrote "+jsonFile) {
		t.Errorf("exit code %d: %s", code, messages)
	}
	_, again, _ := runOffline(t, "", "oil", "--film", jsonFile, "--format", "csv")
	_, want := readTable(t, direct)
	header, got := readTable(t, again)
	for i := range want {
		for _, column := range header {
			if a, b := numberIn(t, header, want[i], column), numberIn(t, header, got[i], column); math.Abs(a-b) > 1e-9 {
				t.Fatalf("board %d, %s: %g became %g on the way", i+1, column, a, b)
			}
		}
	}
	if code, _, messages := runOffline(
		t,
		"laydown_board,angle_deg,mph,rpm,rot_deg,tilt_deg\n20,2,17,300,45,12\n",
		"path",
		"--film",
		jsonFile,
		"--releases",
		"-",
	); code != terminal.ExitOK {
		t.Errorf("laneward path does not take the film: %s", messages)
	}
}

func TestOilPictures(t *testing.T) {
	dir := t.TempDir()
	svg, png := filepath.Join(dir, "film.svg"), filepath.Join(dir, "film.png")
	code, _, messages := runOffline(t, "", "oil", "--loads", oilData+"invented-41.csv", "--svg", svg, "--png", png)
	if code != terminal.ExitOK {
		t.Fatalf("exit code %d: %s", code, messages)
	}
	drawn, err := os.ReadFile(svg)
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"<svg ", `viewBox="0 0 390`, ">invented-41<", "41 ft, 13.41 mL, 3.7 to 1, sport", "microlitres per board-foot"} {
		if !strings.Contains(string(drawn), word) {
			t.Errorf("the picture does not hold %q", word)
		}
	}
	pixels, err := os.ReadFile(png)
	if err != nil || !bytes.HasPrefix(pixels, []byte("\x89PNG\r\n")) {
		t.Errorf("no PNG: %v", err)
	}
}

func TestOilRefuses(t *testing.T) {
	const header = "direction,from_board,to_board,count,ul_per_board,start_ft,end_ft\n"
	cases := []struct {
		name, loads string
		args        []string
		code        int
		says        []string
	}{
		{
			"every fault of every row",
			header + "out,2,50,1,45,0,40\nsideways,2,38,1,-4,40,0\n",
			nil,
			terminal.ExitFailure,
			[]string{
				"row 1, to_board: there is no board 50",
				`row 2, direction: "sideways" is unknown`,
				"row 2, ul_per_board: negative oil",
				"row 2, end_ft: the load ends at 0 ft",
			},
		},
		{"absurd volume", header + "out,1,39,50,500,0,40\n", nil, terminal.ExitFailure, []string{"absurd"}},
		{
			"no number",
			header + "out,2,38,1,much,0,40\n",
			nil,
			terminal.ExitFailure,
			[]string{`row 1, ul_per_board: "much" is not a number`},
		},
		{"no header", "out,2,38,1,45,0,40\n", nil, terminal.ExitFailure, []string{"the header is direction,from_board"}},
		{
			"width",
			header + "out,2,38,1,45,0,40\n",
			[]string{"--svg", "x.svg", "--width-px", "10"},
			terminal.ExitFailure,
			[]string{"10 px wide", "320 to 1600"},
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			code, out, messages := runOffline(t, c.loads, append([]string{"oil", "--loads", "-"}, c.args...)...)
			if code != c.code || out != "" {
				t.Errorf("exit code %d, want %d; output %q", code, c.code, out)
			}
			for _, word := range c.says {
				if !strings.Contains(messages, word) {
					t.Errorf("does not say %q: %s", word, messages)
				}
			}
		})
	}
	for name, args := range map[string][]string{"neither": {"oil"}, "both": {"oil", "--loads", "-", "--film", "x.json"}} {
		if code, _, _ := runOffline(t, "", args...); code != terminal.ExitUsage {
			t.Errorf("%s a table nor a film: exit code %d", name, code)
		}
	}
}
