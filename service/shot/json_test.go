package shot_test

import (
	"encoding/json"
	"errors"
	"io"
	"iter"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"

	"laneward/service/shot"
)

// leafFields lists the JSON names of a shot's fields, those of its errors after "errors/", sorted.
func leafFields() []string {
	var fields []string
	var walk func(prefix string, typ reflect.Type)
	walk = func(prefix string, typ reflect.Type) {
		for field := range typ.Fields() {
			name, _, _ := strings.Cut(field.Tag.Get("json"), ",")
			if field.Type == reflect.TypeFor[shot.StandardErrors]() {
				walk(name+"/", field.Type)
				continue
			}
			fields = append(fields, prefix+name)
		}
	}
	walk("", reflect.TypeFor[shot.Shot]())
	slices.Sort(fields)
	return fields
}

func encode(t testing.TB, v any) string {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// Each format reads what encoding/json writes of a shot.
func TestJSONEveryKey(t *testing.T) {
	one := encode(t, valid())
	for _, c := range []struct {
		name string
		rows iter.Seq2[shot.Row, error]
	}{
		{"NDJSON", shot.ReadNDJSON(strings.NewReader(one+"\n"), shot.Options{})},
		{"NDJSON with a byte order mark, CRLF and blank lines", shot.ReadNDJSON(strings.NewReader("\ufeff\r\n "+one+" \r\n\r\n"), shot.Options{})},
		{"NDJSON without line end", shot.ReadNDJSON(strings.NewReader(one), shot.Options{})},
		{"array", shot.ReadJSON(strings.NewReader("["+one+"]"), shot.Options{})},
		{"object", shot.ReadJSON(strings.NewReader("\ufeff {\"shots\" : [\n"+one+"\n] }\n"), shot.Options{})},
		{"one byte at a time", shot.ReadJSON(iotest.OneByteReader(strings.NewReader("[ "+one+" ]")), shot.Options{})},
	} {
		t.Run(c.name, func(t *testing.T) {
			if diff := cmp.Diff([]shot.Shot{valid()}, shotsOf(t, c.rows)); diff != "" {
				t.Errorf("shots (-want +got):\n%s", diff)
			}
		})
	}
}

func TestJSONRows(t *testing.T) {
	for _, c := range []struct{ name, row, want string }{
		{"only what is required", `{"order": 1, "time": "2026-03-01T18:05:00Z"}`, ""},
		{"null is not measured", `{"order": 1, "time": "2026-03-01T18:05:00Z", "speed_mph": null, "track": null, "errors": {"board": null}}`, ""},
		{"nothing", `{}`, "order required, time required"},
		{"not an object", `1`, "format"},
		{"null", `null`, "format"},
		{"key unknown", `{"order": 1, "time": "2026-03-01T18:05:00Z", "speed": 16}`, "unknown"},
		{"key in capitals", `{"order": 1, "time": "2026-03-01T18:05:00Z", "Speed_MPH": 16}`, "unknown"},
		{"key twice", `{"order": 1, "time": "2026-03-01T18:05:00Z", "speed_mph": 16, "speed_mph": 17}`, "speed_mph repeated"},
		{"key with an escape is the same key", `{"order": 1, "order": 1, "time": "2026-03-01T18:05:00Z"}`, "order repeated"},
		{"key of errors unknown", `{"order": 1, "time": "2026-03-01T18:05:00Z", "errors": {"boards": 1}}`, "errors unknown"},
		{"errors not an object", `{"order": 1, "time": "2026-03-01T18:05:00Z", "errors": 1}`, "errors format"},
		{"text for a number", `{"order": 1, "time": "2026-03-01T18:05:00Z", "speed_mph": "16"}`, "speed_mph format"},
		{"number for text", `{"order": 1, "time": "2026-03-01T18:05:00Z", "note": 16}`, "note format"},
		{"number too large", `{"order": 1, "time": "2026-03-01T18:05:00Z", "speed_mph": 1e999}`, "speed_mph format"},
		{
			"every fault at once", `{"order": 1.5, "time": "today", "speed_mph": 99, "laydown_board": true, "x": 1}`,
			"order format, time format, laydown_board format, unknown, speed_mph range",
		},
		{"id not a UUID", `{"id": "1", "order": 1, "time": "2026-03-01T18:05:00Z"}`, "id format"},
		{"nil id", `{"id": "00000000-0000-0000-0000-000000000000", "order": 1, "time": "2026-03-01T18:05:00Z"}`, "id format"},
		{"another session", `{"session_id": "01890a5d-ac96-7b7c-8d2e-0000000000ff", "order": 1, "time": "2026-03-01T18:05:00Z"}`, "session_id mismatch"},
		{"pin 11", `{"order": 1, "time": "2026-03-01T18:05:00Z", "standing": [7, 11]}`, "standing format"},
		{"pin twice", `{"order": 1, "time": "2026-03-01T18:05:00Z", "standing": [7, 7]}`, "standing format"},
		{"pin not a number", `{"order": 1, "time": "2026-03-01T18:05:00Z", "standing": ["7"]}`, "standing format"},
		{"pins not an array", `{"order": 1, "time": "2026-03-01T18:05:00Z", "standing": "7-10"}`, "standing format"},
		{"point without board", `{"order": 1, "time": "2026-03-01T18:05:00Z", "track": [{"ft": 15, "board": 10}, {"ft": 30}]}`, "track/1 required"},
		{"point with text", `{"order": 1, "time": "2026-03-01T18:05:00Z", "track": [{"ft": "15", "board": 10}]}`, "track/0/ft format"},
		{"point key unknown", `{"order": 1, "time": "2026-03-01T18:05:00Z", "track": [{"ft": 15, "board": 10, "x": 1}]}`, "track/0 unknown"},
		{"point key twice", `{"order": 1, "time": "2026-03-01T18:05:00Z", "track": [{"ft": 15, "board": 10, "ft": 1}]}`, "track/0/ft repeated"},
		{
			"brackets and quotes in a point's key", `{"order": 1, "time": "2026-03-01T18:05:00Z", "track": [{"]}\"": 1, "ft": 15, "board": 10}], "tilt_deg": 91}`,
			"track/0 unknown, tilt_deg range",
		},
		{"point not an object", `{"order": 1, "time": "2026-03-01T18:05:00Z", "track": [15]}`, "track/0 format"},
		{"points not an array", `{"order": 1, "time": "2026-03-01T18:05:00Z", "track": {}}`, "track format"},
		{"points turn back", `{"order": 1, "time": "2026-03-01T18:05:00Z", "track": [{"ft": 15, "board": 10}, {"ft": 14, "board": 10}]}`, "track/1/ft not_rising"},
		{"text with escapes", `{"order": 1, "time": "2026-03-01T18:05:00Z", "note": "a \"b\\\" [{ é\n"}`, ""},
		{"not UTF-8", `{"order": 1, "time": "2026-03-01T18:05:00Z", "note": "caf` + "\xe9" + `"}`, "format"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for format, rows := range map[string]iter.Seq2[shot.Row, error]{
				"NDJSON": shot.ReadNDJSON(strings.NewReader(c.row), toSession),
				"JSON":   shot.ReadJSON(strings.NewReader("["+c.row+"]"), toSession),
			} {
				list, err := read(rows)
				if err != nil || len(list) != 1 {
					t.Fatalf("%s: %d rows, error %v", format, len(list), err)
				}
				if diff := cmp.Diff(c.want, summary(list[0].Faults)); diff != "" {
					t.Errorf("%s: faults (-want +got):\n%s", format, diff)
				}
			}
		})
	}
}

// The readers yield shots in canonical form. A cmp of times would not tell zones apart.
func TestReadersAreCanonical(t *testing.T) {
	const at = "2026-03-01T18:05:00.123456789+01:00"
	for format, rows := range map[string]iter.Seq2[shot.Row, error]{
		"CSV":    shot.ReadCSV(strings.NewReader("time,order\n"+at+",1\n"), toSession),
		"NDJSON": shot.ReadNDJSON(strings.NewReader(`{"order": 1, "track": [], "time": "`+at+`"}`), toSession),
	} {
		s := shotsOf(t, rows)[0]
		if want := time.Date(2026, 3, 1, 17, 5, 0, 123_456_000, time.UTC); s.Time != want || s.Track != nil {
			t.Errorf("%s: time %v and track %v, want %v and none", format, s.Time, s.Track, want)
		}
	}
}

func TestNDJSONBadLineStopsNoOther(t *testing.T) {
	const good = `{"order": 1, "time": "2026-03-01T18:05:00Z"}`
	other := strings.Replace(good, "1", "2", 1)
	for _, c := range []struct{ name, bad, want string }{
		{"not JSON", `{"order": 3,`, "format"},
		{"two objects", good + good, "format"},
		{"too long", `{"note": "` + strings.Repeat("a", 64<<10) + `"}`, "length"},
		{"too long, and blank", strings.Repeat(" ", 70<<10), "length"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := read(shot.ReadNDJSON(strings.NewReader(good+"\n"+c.bad+"\n"+other+"\n"), toSession))
			if err != nil || len(rows) != 3 {
				t.Fatalf("%d rows, error %v", len(rows), err)
			}
			if got := summary(rows[1].Faults); got != c.want || rows[1].Line != 2 {
				t.Errorf("faults %q on line %d, want %q on 2", got, rows[1].Line, c.want)
			}
			if rows[0].Faults != nil || rows[2].Faults != nil || rows[2].Line != 3 || rows[2].Number != 3 {
				t.Errorf("the good rows: %+v, %+v", rows[0], rows[2])
			}
		})
	}
}

// The answer to a row is not many times its size.
func TestFaultsAreLimited(t *testing.T) {
	row := `{` + strings.Repeat(`"a": 1, `, 1000) + `"b": 1}`
	rows, err := read(shot.ReadNDJSON(strings.NewReader(row), toSession))
	if err != nil || len(rows) != 1 || len(rows[0].Faults) != shot.MaxFaults {
		t.Errorf("%d rows, error %v; want one with %d faults", len(rows), err, shot.MaxFaults)
	}
}

func TestNDJSONLongestLine(t *testing.T) {
	const good = `{"order": 1, "time": "2026-03-01T18:05:00Z"}`
	line := good + strings.Repeat(" ", 64<<10-len(good)-1) + "\n"
	if got := len(shotsOf(t, shot.ReadNDJSON(strings.NewReader(line), toSession))); got != 1 {
		t.Errorf("%d rows of a line of 64 KiB, want 1", got)
	}
}

func TestJSONLogErrors(t *testing.T) {
	const good = `{"order": 1, "time": "2026-03-01T18:05:00Z"}`
	broken := errors.New("broken pipe")
	limited := toSession
	limited.MaxRows = 1
	for _, c := range []struct {
		name string
		rows iter.Seq2[shot.Row, error]
		code shot.LogCode
		good int // rows yielded before
	}{
		{"empty", shot.ReadJSON(strings.NewReader(""), toSession), shot.LogSyntax, 0},
		{"text", shot.ReadJSON(strings.NewReader(`"a"`), toSession), shot.LogFormat, 0},
		{"CSV", shot.ReadJSON(strings.NewReader("time,order\n"), toSession), shot.LogSyntax, 0},
		{"one shot alone", shot.ReadJSON(strings.NewReader(good), toSession), shot.LogFormat, 0},
		{"shots not an array", shot.ReadJSON(strings.NewReader(`{"shots": 1}`), toSession), shot.LogFormat, 0},
		{"another key after the shots", shot.ReadJSON(strings.NewReader(`{"shots": [`+good+`], "more": 1}`), toSession), shot.LogFormat, 1},
		{"more after the end", shot.ReadJSON(strings.NewReader(`[`+good+`] []`), toSession), shot.LogFormat, 1},
		{"rubbish after the end", shot.ReadJSON(strings.NewReader(`[`+good+`] x`), toSession), shot.LogSyntax, 1},
		{"cut in a shot", shot.ReadJSON(strings.NewReader(`[`+good+`, {"order"`), toSession), shot.LogSyntax, 1},
		{"cut after a shot", shot.ReadJSON(strings.NewReader(`[`+good), toSession), shot.LogSyntax, 1},
		{"cut after the array", shot.ReadJSON(strings.NewReader(`{"shots": [`+good+`]`), toSession), shot.LogSyntax, 1},
		{"wrong bracket", shot.ReadJSON(strings.NewReader(`[`+good+`}`), toSession), shot.LogSyntax, 1},
		{"comma after the last", shot.ReadJSON(strings.NewReader(`[`+good+`,]`), toSession), shot.LogSyntax, 1},
		{"too many", shot.ReadJSON(strings.NewReader(`[`+good+`,`+good+`]`), limited), shot.LogTooLong, 1},
		{"NDJSON: an array", shot.ReadNDJSON(strings.NewReader(`[`+good+`]`), toSession), shot.LogFormat, 0},
		{"NDJSON: too many", shot.ReadNDJSON(strings.NewReader(good+"\n"+good), limited), shot.LogTooLong, 1},
		{"the reader fails", shot.ReadJSON(io.MultiReader(strings.NewReader(`[`+good+`,`), iotest.ErrReader(broken)), toSession), shot.LogRead, 1},
		{"NDJSON: the reader fails", shot.ReadNDJSON(io.MultiReader(strings.NewReader(good+"\n{"), iotest.ErrReader(broken)), toSession), shot.LogRead, 1},
		{"CSV: the reader fails", shot.ReadCSV(io.MultiReader(strings.NewReader("time\n"+rowTime+"\n2026"), iotest.ErrReader(broken)), toSession), shot.LogRead, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := read(c.rows)
			var logErr *shot.LogError
			if !errors.As(err, &logErr) {
				t.Fatalf("error %v, want a LogError", err)
			}
			if logErr.Code != c.code || len(rows) != c.good {
				t.Errorf("%s after %d rows, want %s after %d: %v", logErr.Code, len(rows), c.code, c.good, err)
			}
			if c.code == shot.LogRead && !errors.Is(err, broken) {
				t.Errorf("the cause is lost: %v", err)
			}
		})
	}
}

// A log whose sending breaks off anywhere yields only whole rows of it, and never more.
func TestCutLogs(t *testing.T) {
	first, second := valid(), valid()
	second.ID, second.Order, second.Note = athlete2, 13, "b"
	want := map[string]bool{encode(t, first): true, encode(t, second): true}
	var csvLog strings.Builder
	if err := shot.WriteCSV(&csvLog, slices.Values([]shot.Shot{first, second})); err != nil {
		t.Fatal(err)
	}
	for format, c := range map[string]struct {
		log  string
		read func(io.Reader, shot.Options) iter.Seq2[shot.Row, error]
	}{
		"CSV":    {csvLog.String(), shot.ReadCSV},
		"NDJSON": {encode(t, first) + "\n" + encode(t, second) + "\n", shot.ReadNDJSON},
		"JSON":   {encode(t, []shot.Shot{first, second}), shot.ReadJSON},
	} {
		for cut := range len(c.log) {
			cutLog := io.MultiReader(strings.NewReader(c.log[:cut]), iotest.ErrReader(io.ErrUnexpectedEOF))
			for row := range c.read(cutLog, shot.Options{}) {
				if len(row.Faults) == 0 && row.Number > 0 && !want[encode(t, row.Shot)] {
					t.Errorf("%s cut at byte %d of %d yields %s", format, cut, len(c.log), encode(t, row.Shot))
				}
			}
		}
	}
}

// A document of white space that comes in small pieces is looked at once: with encoding/json's own
// decoder this would take hours.
func TestDecoderLooksAtSpaceOnce(t *testing.T) {
	spaces := strings.NewReader(strings.Repeat(" ", 8<<20) + "7")
	var value int
	if err := shot.NewDecoder(iotest.OneByteReader(spaces)).Decode(&value); err != nil || value != 7 {
		t.Errorf("%d, %v", value, err)
	}
	cut := io.MultiReader(strings.NewReader(`{"a":`), iotest.ErrReader(io.ErrUnexpectedEOF))
	if err := shot.NewDecoder(cut).Decode(&value); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("what is cut ends with %v", err)
	}
}
