package shot_test

import (
	"flag"
	"fmt"
	"io"
	"iter"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service/shot"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares text with a file under testdata.
func golden(t *testing.T, path, got string) {
	t.Helper()
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
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

// answers writes what a log is answered: a line for each fault, and for the error that ends it.
func answers(rows iter.Seq2[shot.Row, error]) string {
	var b strings.Builder
	for row, err := range rows {
		if err != nil {
			fmt.Fprintf(&b, "  log: %v\n", err)
			continue
		}
		for _, f := range row.Faults {
			fmt.Fprintf(&b, "  row %d: %v [%s]\n", row.Number, f, f.Code)
		}
	}
	return b.String()
}

// Every sentence that a log can be answered with, so that it is read by somebody before it changes.
func TestWording(t *testing.T) {
	var b strings.Builder
	options := shot.Options{
		SessionID: session, AthleteID: athlete, MaxBytes: 100_000, MaxRows: 3,
		Athlete: func(string) (uuid.UUID, error) { return uuid.Nil, nil },
	}
	add := func(format, name, log string, read func(io.Reader, shot.Options) iter.Seq2[shot.Row, error]) {
		answer := answers(read(strings.NewReader(log), options))
		if answer == "" {
			t.Errorf("%s, %s: no answer", format, name)
		}
		fmt.Fprintf(&b, "%s: %s\n%s", format, name, answer)
	}
	for _, c := range []struct{ column, cells string }{
		{"time", "03/04/2026 18:05|3.4.26|2026-03-01T18:05:00|2026-03-01 18:05|2026-03-01 18:05:00Z|2026-03-01|46082.75|yesterday|" +
			"2026-02-30T18:05:00Z|1969-12-31T23:59:59Z|2200-01-01T00:00:00Z|"},
		{"order", "1.5|one|0|-3|100001|"},
		{"laydown_board", "10,5|1,234|1,234.5|1.234,5|1 234|1'234,5|#N/A|-|n/a|ten|18.5 boards|1e400|NaN|Inf|0x10|1.2.3|41|-0.5"},
		{"breakpoint_ft", "61"},
		{"entry_angle_deg", "25"},
		{"launch_angle_deg", "-25"},
		{"speed_mph", "4.9|31|27 km/h"},
		{"rev_rate_rpm", "3300"},
		{"rotation_deg", "190"},
		{"tilt_deg", "-1"},
		{"board_se", "0|41"},
		{"track", "15|15:10,2|15:10 x|x:10|15:41|61:10|30:9 15:10|" + strings.Repeat("1:1 ", 201)},
		{"standing", "7-11|7-7|0|10-Jul|07.Okt|7/10|7;10|7-"},
		{"shot_id", "17"},
		{"session", "17|01890a5d-ac96-7b7c-8d2e-0000000000ff"},
		{"athlete", "Onna"},
		{"ball", "blue solid"},
		{"drill", "Play inside"},
		{"source", "a\nb|" + strings.Repeat("a", 101)},
		{"note", "a\x01b|a\rb|" + strings.Repeat("a", 4001)},
	} {
		for cell := range strings.SplitSeq(c.cells, "|") {
			log := "time,order," + c.column + "\n" + rowTime + ",1,\"" + cell + "\"\n"
			if c.column == "time" {
				log = "order,time\n1,\"" + cell + "\"\n"
			} else if c.column == "order" {
				log = "time,order\n" + rowTime + ",\"" + cell + "\"\n"
			}
			if len(cell) > 30 && c.column != "session" {
				cell = cell[:30] + "…"
			}
			add("CSV cell", fmt.Sprintf("%s %q", c.column, cell), log, shot.ReadCSV)
		}
	}
	row := rowTime + ",a\n"
	for _, c := range []struct{ name, log string }{
		{"empty", ""},
		{"JSON", "[]"},
		{"workbook", "PK\x03\x04"},
		{"gzip", "\x1f\x8b\x08"},
		{"UTF-16", "\xff\xfet\x00"},
		{"tabs", "time\tnote\n"},
		{"sep=", "sep=;\ntime;note\n"},
		{"carriage returns alone", "time,note\r" + rowTime + ",a\r"},
		{"header that does not end", strings.Repeat("time,", 3000)},
		{"quote in the header", "time,no\"te\n"},
		{"header with many faults", "Speed (mph),speed,time_of_day,note,note,,Pins,track points,rpm,board,hook potential\n"},
		{"no time", "note\na\n"},
		{"too few cells", "time,note\n" + rowTime + "\n"},
		{"too many cells", "time,speed_mph\n" + rowTime + ",16,5\n"},
		{"too many cells, semicolons", "time;note\n" + rowTime + ";a;b\n"},
		{"not UTF-8", "time,note\n" + rowTime + ",caf\xe9\n"},
		{"quote out of place", "time,note\n" + rowTime + ",15\" ball\n"},
		{"quote not closed on the last line", "time,note\n" + rowTime + ",\"a\n"},
		{"quote that swallows rows", "time,note\n" + rowTime + ",\"a\n" + row + row},
		{"shot twice", "time,order\n" + rowTime + ",1\n" + rowTime + ",1\n"},
		{"too many rows", "time,note\n" + row + row + row + row},
		{"too many bytes", "time,note\n" + rowTime + ",\"" + strings.Repeat("a", 100_000) + "\"\n"},
	} {
		add("CSV", c.name, c.log, shot.ReadCSV)
	}
	for _, c := range []struct{ name, line string }{
		{"an array", "[]"},
		{"broken", `{"order": 1,}`},
		{"cut", `{"order": 1`},
		{"two on a line", `{} {}`},
		{"too long", strings.Repeat(" ", 70_000)},
		{"not an object", `"shot"`},
		{"nothing in it", `{}`},
		{"keys", `{"order": 1, "time": "` + rowTime + `", "speed": 16, "tilt_deg": 1, "tilt_deg": 2, "errors": {"boards": 1}, "hook potential": 3}`},
		{"kinds", `{"order": true, "time": 5, "speed_mph": "16", "tilt_deg": 1e999, "track": 1, "standing": "7-10", "errors": [], "note": {}, "id": 5}`},
		{"inside", `{"order": 1, "time": "` + rowTime + `", "track": [1, {"ft": 1}, {"ft": "1", "board": 2}, {"ft": 1, "board": 2, "x": 1, "ft": 2}], ` +
			`"standing": ["7"]}`},
		{"values", `{"order": 0, "time": "` + rowTime + `", "track": [{"ft": 15, "board": 10}, {"ft": 14, "board": 41}], "standing": [7, 11], ` +
			`"ball_id": "blue", "errors": {"board": -1}}`},
		{"not UTF-8", `{"note": "caf` + "\xe9" + `"}`},
	} {
		add("NDJSON", c.name, c.line, shot.ReadNDJSON)
	}
	for _, c := range []struct{ name, document string }{
		{"empty", ""},
		{"text", `"a"`},
		{"one shot", `{"order": 1}`},
		{"shots not an array", `{"shots": {}}`},
		{"another key", `{"shots": [], "more": 1}`},
		{"goes on", `[] []`},
		{"cut", `[{"order": 1}, {"ord`},
		{"broken", `[{"order": 1} {"order": 2}]`},
	} {
		add("JSON", c.name, c.document, shot.ReadJSON)
	}
	golden(t, "testdata/wording.golden", b.String())
}

// The sample logs are read as their folder says.
func TestSampleLogs(t *testing.T) {
	const folder = "../../testdata/shotlog/"
	people := map[string]uuid.UUID{"Onaquill Ferrowby": athlete, "Jorrit Sandlepath": athlete2}
	options := shot.Options{
		SessionID: session,
		Athlete:   func(name string) (uuid.UUID, error) { return people[name], nil },
		Ball:      func(uuid.UUID, string) (uuid.UUID, error) { return ball, nil },
		Drill:     func(string) (uuid.UUID, error) { return drill, nil },
	}
	for _, c := range []struct {
		file string
		rows int
		read func(io.Reader, shot.Options) iter.Seq2[shot.Row, error]
	}{
		{"invented-practice.csv", 60, shot.ReadCSV},
		{"invented-practice.ndjson", 60, shot.ReadNDJSON},
		{"invented-practice.json", 60, shot.ReadJSON},
	} {
		t.Run(c.file, func(t *testing.T) {
			file, err := os.Open(folder + c.file)
			if err != nil {
				t.Fatal(err)
			}
			defer file.Close()
			if got := len(shotsOf(t, c.read(file, options))); got != c.rows {
				t.Errorf("%d shots, want %d", got, c.rows)
			}
		})
	}
	t.Run("invented-mistakes.csv", func(t *testing.T) {
		file, err := os.Open(folder + "invented-mistakes.csv")
		if err != nil {
			t.Fatal(err)
		}
		defer file.Close()
		golden(t, folder+"invented-mistakes.golden", answers(shot.ReadCSV(file, options)))
	})
}
