package shot_test

import (
	"bytes"
	"io"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/shot"
)

func optional[T any](t *rapid.T, label string, value *rapid.Generator[T]) *T {
	if !rapid.Bool().Draw(t, label+" measured") {
		return nil
	}
	return new(value.Draw(t, label))
}

// anyID draws a UUID other than nil.
func anyID(t *rapid.T, label string) uuid.UUID {
	bytes := rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, label)
	bytes[0] |= 1
	return uuid.UUID(bytes)
}

// texts hold what log formats trip over.
func texts(maxLen int, lines bool) *rapid.Generator[string] {
	special := []rune("a1,;\"'=+-@ :{}[]\\éß漢😀\u00a0\u2028\ufeff")
	if lines {
		special = append(special, '\n', '\t')
	}
	return rapid.Map(rapid.SliceOfN(rapid.SampledFrom(special), 0, maxLen), func(runes []rune) string {
		if lines {
			return string(runes)
		}
		return strings.TrimSpace(string(runes))
	})
}

// anyShot draws a valid shot: each field set or not, each value anywhere within its limits.
func anyShot(t *rapid.T) shot.Shot {
	board := func(label string) *float64 { return optional(t, label, rapid.Float64Range(0, 40)) }
	angle := func(label string) *float64 { return optional(t, label, rapid.Float64Range(-20, 20)) }
	standardError := func(label string) *float64 {
		return optional(t, label, rapid.Float64Range(math.SmallestNonzeroFloat64, 20))
	}
	s := shot.Shot{
		ID: anyID(t, "id"), SessionID: anyID(t, "session"), AthleteID: anyID(t, "athlete"),
		Order: rapid.IntRange(1, shot.MaxOrder).Draw(t, "order"),
		Time: time.UnixMicro(rapid.Int64Range(0, 7_258_118_399_999_999).Draw(t, "time")).
			In(time.FixedZone("", 60*rapid.IntRange(-720, 840).Draw(t, "offset in minutes"))),
		AimLaydownBoard: board("aim laydown"), AimLaunchAngleDeg: angle("aim angle"),
		ArrowsFt:     optional(t, "arrows distance", rapid.Float64Range(10, 20)),
		LaydownBoard: board("laydown"), ArrowsBoard: board("arrows"), BreakpointBoard: board("breakpoint"),
		BreakpointFt: optional(t, "breakpoint distance", rapid.Float64Range(0, 60)),
		EntryBoard:   board("entry"), EntryAngleDeg: angle("entry angle"), LaunchAngleDeg: angle("launch angle"),
		SpeedMPH:    optional(t, "speed", rapid.Float64Range(5, 30)),
		RevRateRPM:  optional(t, "rev rate", rapid.Float64Range(0, 800)),
		RotationDeg: optional(t, "rotation", rapid.Float64Range(-180, 180)),
		TiltDeg:     optional(t, "tilt", rapid.Float64Range(0, 90)),
		Errors: shot.StandardErrors{
			Board: standardError("board"), AngleDeg: standardError("angle"), SpeedMPH: standardError("speed"),
			RevRateRPM: standardError("rev rate"), AxisDeg: standardError("axis"),
		},
		Source: texts(20, false).Draw(t, "source"),
		Note:   texts(40, true).Draw(t, "note"),
	}
	for _, place := range []**int{&s.Lane, &s.Game, &s.Frame, &s.Delivery} {
		if rapid.Bool().Draw(t, "counted") {
			*place = new(rapid.IntRange(1, 3).Draw(t, "count"))
		}
	}
	s.Gutter = rapid.SampledFrom([]lane.Side{"", lane.Right, lane.Left}).Draw(t, "gutter")
	if rapid.Bool().Draw(t, "with ball") {
		s.BallID = new(anyID(t, "ball"))
	}
	if rapid.Bool().Draw(t, "with drill") {
		s.DrillID = new(anyID(t, "drill"))
	}
	if rapid.Bool().Draw(t, "pins recorded") {
		s.Standing = new(lane.PinSet(rapid.Uint16Range(0, uint16(lane.FullRack)).Draw(t, "standing")))
	}
	distances := rapid.SliceOfNDistinct(rapid.Float64Range(0, 60), 0, 5, rapid.ID[float64]).Draw(t, "distances")
	slices.Sort(distances)
	for _, ft := range distances {
		s.Track = append(s.Track, shot.TrackPoint{Ft: ft, Board: rapid.Float64Range(0, 40).Draw(t, "track board")})
	}
	return s
}

// anyLog draws shots with ids of their own.
func anyLog(t *rapid.T) []shot.Shot {
	byID := map[uuid.UUID]shot.Shot{}
	for range rapid.IntRange(0, 4).Draw(t, "shots") {
		s := anyShot(t)
		byID[s.ID] = s
	}
	return slices.Collect(maps.Values(byID))
}

// Whatever valid shots are written as CSV, NDJSON or JSON, the same shots are read.
func TestReadWhatWasWritten(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		shots := anyLog(rt)
		var want []shot.Shot
		var csvLog, ndjsonLog bytes.Buffer
		for _, s := range shots {
			if faults := shot.Validate(s); faults != nil {
				rt.Fatalf("the drawn shot is not valid: %v", faults)
			}
			want = append(want, s.Canonical())
			ndjsonLog.WriteString(encode(t, s) + "\n")
		}
		if err := shot.WriteCSV(&csvLog, slices.Values(shots)); err != nil {
			rt.Fatal(err)
		}
		semicolons := strings.NewReader(swapSeparators(csvLog.String()))
		for format, rows := range map[string]iter.Seq2[shot.Row, error]{
			"CSV":              shot.ReadCSV(&csvLog, shot.Options{}),
			"CSV (semicolons)": shot.ReadCSV(semicolons, shot.Options{}),
			"NDJSON":           shot.ReadNDJSON(&ndjsonLog, shot.Options{}),
			"JSON":             shot.ReadJSON(strings.NewReader(encode(t, append([]shot.Shot{}, shots...))), shot.Options{}),
		} {
			got := shotsOf(t, rows)
			if diff := cmp.Diff(want, got); diff != "" {
				rt.Fatalf("%s (-written +read):\n%s", format, diff)
			}
		}
	})
}

// swapSeparators turns the commas of a log outside quotes into semicolons, and puts cells in quotes
// that hold one.
func swapSeparators(log string) string {
	var b strings.Builder
	inQuotes := false
	for _, r := range strings.ReplaceAll(quoteSemicolons(log), "\r\n", "\n") {
		if r == '"' {
			inQuotes = !inQuotes
		}
		if r == ',' && !inQuotes {
			r = ';'
		}
		b.WriteRune(r)
	}
	return b.String()
}

// quoteSemicolons puts the cells without quotes that hold a semicolon in quotes.
func quoteSemicolons(log string) string {
	var b strings.Builder
	inQuotes, start := false, 0
	cell := func(end int) {
		if text := log[start:end]; strings.Contains(text, ";") && !strings.HasPrefix(text, `"`) {
			b.WriteString(`"` + text + `"`)
		} else {
			b.WriteString(text)
		}
	}
	for i := range len(log) {
		if log[i] == '"' {
			inQuotes = !inQuotes
		}
		if !inQuotes && (log[i] == ',' || log[i] == '\r' || log[i] == '\n') {
			cell(i)
			b.WriteByte(log[i])
			start = i + 1
		}
	}
	cell(len(log))
	return b.String()
}

// A wrong value in one row is a fault of that row and column, and of nothing else.
func TestOneWrongCell(t *testing.T) {
	wrong := map[string][]string{
		"time":          {"yesterday", "01/02/2026 18:05", "2026-03-01T18:05:00", "2026-13-01T18:05:00Z", "46082.75"},
		"order":         {"0", "-1", "1.5", "one", "100001"},
		"laydown_board": {"41", "-1", "10,5", "1.234,5", "ten", "NaN", "Inf", "0x10", "1_0", "#N/A", "1e400"},
		"speed_mph":     {"4", "31", "16,5", "16.5 mph"},
		"board_se":      {"0", "-0.5", "41"},
		"frame":         {"0", "11", "2.5", "first", "1e300"},
		"gutter":        {"both", "R"},
		"track":         {"15", "15:", ":10", "15:10;30:9", "30:9 15:10", "15:41", "61:10", "15:10,2"},
		"standing":      {"11", "0", "7-11", "7-7", "10-Jul", "7/10", "-", "x 7"},
		"ball":          {"blue", "1"},
		"shot_id":       {"1", "{01890a5d-ac96-7b7c-8d2e-0000000000ff}"},
	}
	columns := slices.Sorted(maps.Keys(wrong))
	columnNames := make([]string, 0, len(columns))
	for _, c := range shot.Columns() {
		if slices.Contains(columns, c.Name) {
			columnNames = append(columnNames, c.Name)
		}
	}
	if len(columnNames) != len(columns) {
		t.Fatalf("columns %v, known are %v", columns, columnNames)
	}
	good := map[string]string{
		"time":          rowTime,
		"laydown_board": "18.5",
		"speed_mph":     "16.5",
		"board_se":      "0.5",
		"track":         "15:10.2 30:8.1",
		"standing":      "7-10",
	}
	rapid.Check(t, func(t *rapid.T) {
		const rows = 4
		bad := rapid.IntRange(1, rows).Draw(t, "bad row")
		column := rapid.SampledFrom(columnNames).Draw(t, "column")
		cell := rapid.SampledFrom(wrong[column]).Draw(t, "cell")
		var log strings.Builder
		log.WriteString(strings.Join(columnNames, ";") + "\n")
		for n := 1; n <= rows; n++ {
			for i, name := range columnNames {
				text := good[name]
				if name == "order" {
					text = string(rune('0' + n))
				}
				if n == bad && name == column {
					text = `"` + cell + `"`
				}
				if i > 0 {
					text = ";" + text
				}
				log.WriteString(text)
			}
			log.WriteString("\n")
		}
		number := 0
		for row, err := range shot.ReadCSV(strings.NewReader(log.String()), toSession) {
			if err != nil {
				t.Fatal(err)
			}
			number++
			if row.Number != bad && row.Faults != nil {
				t.Fatalf("row %d, which is good, has faults %v", row.Number, row.Faults)
			}
			if row.Number == bad &&
				(len(row.Faults) == 0 || slices.ContainsFunc(row.Faults, func(f shot.Fault) bool { return f.Field != column })) {
				t.Fatalf("row %d with %q in %s has faults %v", bad, cell, column, row.Faults)
			}
		}
		if number != rows {
			t.Fatalf("%d rows, want %d", number, rows)
		}
	})
}

// checkLog holds what every reader promises, whatever the log.
func checkLog(t *testing.T, rows iter.Seq2[shot.Row, error]) {
	t.Helper()
	number, line, ended := 0, 0, false
	ids := map[uuid.UUID]bool{}
	var good []shot.Shot
	for row, err := range rows {
		if ended {
			t.Fatal("the sequence goes on after an error")
		}
		if err != nil {
			ended = true
			if err == io.EOF || err.Error() == "" {
				t.Fatalf("error %v", err)
			}
			continue
		}
		if number++; row.Number != number || row.Line < line {
			t.Fatalf("row %d on line %d has number %d and line %d", number, line, row.Number, row.Line)
		}
		line = row.Line
		for _, f := range row.Faults {
			if f.Code == "" || f.Detail == "" || len(f.Detail) > 2000 {
				t.Fatalf("row %d: fault %+v", number, f)
			}
		}
		if len(row.Faults) > shot.MaxFaults {
			t.Fatalf("row %d: %d faults", number, len(row.Faults))
		}
		if len(row.Faults) > 0 {
			continue
		}
		if faults := shot.Validate(row.Shot); faults != nil {
			t.Fatalf("row %d is not refused but has faults: %v", number, faults)
		}
		if ids[row.Shot.ID] {
			t.Fatalf("row %d: shot %s is there twice", number, row.Shot.ID)
		}
		ids[row.Shot.ID] = true
		good = append(good, row.Shot)
	}
	var out bytes.Buffer
	if err := shot.WriteCSV(&out, slices.Values(good)); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(good, shotsOf(t, shot.ReadCSV(&out, shot.Options{}))); diff != "" {
		t.Fatalf("written and read again (-want +got):\n%s", diff)
	}
}

// fuzzOptions leave everything to the log in one half of the runs, nothing in the other.
func fuzzOptions(given bool) shot.Options {
	options := shot.Options{MaxBytes: 1 << 20, MaxRows: 1000}
	if given {
		options.SessionID, options.AthleteID, options.DrillID = session, athlete, drill
		options.Athlete = func(string) (uuid.UUID, error) { return athlete2, nil }
		options.Drill = func(string) (uuid.UUID, error) { return drill, nil }
		options.Ball = func(uuid.UUID, string) (uuid.UUID, error) { return ball, nil }
	}
	return options
}

func fuzzReader(f *testing.F, seeds []string, read func(io.Reader, shot.Options) iter.Seq2[shot.Row, error]) {
	for _, seed := range seeds {
		f.Add(seed, true)
		f.Add(seed, false)
	}
	f.Fuzz(func(t *testing.T, log string, given bool) {
		checkLog(t, read(strings.NewReader(log), fuzzOptions(given)))
	})
}

func FuzzReadCSV(f *testing.F) {
	var written bytes.Buffer
	if err := shot.WriteCSV(&written, slices.Values([]shot.Shot{valid()})); err != nil {
		f.Fatal(err)
	}
	fuzzReader(f, []string{
		written.String(),
		"time;athlete;ball;laydown_board;standing\n" + rowTime + ";Ona;blue solid;10,5;7-11\n" + rowTime + ";Ona;;41;strike\n",
		"\ufefftime,note\r\n" + rowTime + ",\"a\r\nb\"\r\n,\r\n" + rowTime + ",'=1\r\n" + rowTime + ",\"x",
	}, shot.ReadCSV)
}

func FuzzReadNDJSON(f *testing.F) {
	fuzzReader(f, []string{
		encode(f, valid()) + "\n" + encode(f, valid()) + "\n",
		`{"order": 1, "time": "2026-03-01T18:05:00Z", "note": "a\"\\é", "errors": {"board": null}, "track": [ ]}` + "\n{\n[]\n1",
	}, shot.ReadNDJSON)
}

func FuzzReadJSON(f *testing.F) {
	fuzzReader(f, []string{
		encode(f, []shot.Shot{valid()}),
		`{"shots": [{"order": 1, "time": "2026-03-01T18:05:00Z", "track": [{"ft": 1, "board": 2}]}, 1, null, [{}]]}`,
	}, shot.ReadJSON)
}
