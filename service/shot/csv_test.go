package shot_test

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service/lane"
	"laneward/service/shot"
)

// toSession are the options of a log that is sent to one session for one athlete.
var toSession = shot.Options{SessionID: session, AthleteID: athlete}

const rowTime = "2026-03-01T18:05:00Z"

// The rules of RFC 4180, section 2, by their number there, and what this reader takes beyond them.
func TestCSVFormat(t *testing.T) {
	const header = "time,speed_mph,note"
	for _, c := range []struct {
		name, log string
		want      []string // speed and note of each row, or "fault" and where
	}{
		{"2.1 lines end with CRLF", header + "\r\n" + rowTime + ",16,a\r\n" + rowTime + ",17,b\r\n", []string{"16 a", "17 b"}},
		{"beyond 2.1: lines end with LF", header + "\n" + rowTime + ",16,a\n" + rowTime + ",17,b\n", []string{"16 a", "17 b"}},
		{"2.2 the last line may have no line end", header + "\r\n" + rowTime + ",16,a", []string{"16 a"}},
		{"2.3 header row alone", header + "\r\n", nil},
		{
			"2.4 blanks are part of a field: kept in a note, of no meaning elsewhere", header + "\r\n" + rowTime + " , 16 , a b \r\n",
			[]string{"16  a b "},
		},
		{
			"2.4 the same number of fields in each line: fewer", header + "\r\n" + rowTime + ",16\r\n" + rowTime + ",17,b\r\n",
			[]string{"fault ", "17 b"},
		},
		{
			"2.4 the same number of fields in each line: more", header + "\r\n" + rowTime + ",16,5,a\r\n" + rowTime + ",17,b\r\n",
			[]string{"fault ", "17 b"},
		},
		{"2.4 a comma after the last field is one field more", header + "\r\n" + rowTime + ",16,a,\r\n", []string{"fault "}},
		{
			"2.5 fields with and without quotes", header + "\r\n\"" + rowTime + "\",\"16\",\"a\"\r\n" + rowTime + ",17,b\r\n",
			[]string{"16 a", "17 b"},
		},
		{
			"2.5 a quote in a field without quotes", header + "\r\n" + rowTime + ",16,15\" ball\r\n" + rowTime + ",17,b\r\n",
			[]string{"fault ", "17 b"},
		},
		{"2.6 comma in quotes", header + "\r\n" + rowTime + ",16,\"a,b\"\r\n", []string{"16 a,b"}},
		{
			"2.6 CRLF in quotes is read as a line feed", header + "\r\n" + rowTime + ",16,\"a\r\nb\"\r\n" + rowTime + ",17,b\r\n",
			[]string{"16 a\nb", "17 b"},
		},
		{"2.7 a quote in quotes is doubled", header + "\r\n" + rowTime + ",16,\"a \"\"b\"\"\"\r\n", []string{`16 a "b"`}},
		{
			"2.7 a quote in quotes is not doubled", header + "\r\n" + rowTime + ",16,\"a \"b\" c\"\r\n" + rowTime + ",17,b\r\n",
			[]string{"fault ", "17 b"},
		},
		{"quotes opened on the last line", header + "\n" + rowTime + ",16,a\n" + rowTime + ",17,\"b\n", []string{"16 a", "fault "}},
		{"byte order mark", "\ufeff" + header + "\r\n" + rowTime + ",16,a\r\n", []string{"16 a"}},
		{"byte order mark before quotes", "\ufeff\"time\",\"speed_mph\",\"note\"\n" + rowTime + ",16,a\n", []string{"16 a"}},
		{"semicolons", "time;speed_mph;note\r\n" + rowTime + ";16.5;a,b\r\n", []string{"16.5 a,b"}},
		{
			"semicolons and a decimal comma", "time;speed_mph;note\n" + rowTime + ";16,5;a\n" + rowTime + ";17;b\n",
			[]string{"fault speed_mph", "17 b"},
		},
		{"another order of columns", "note,speed_mph,time\na,16," + rowTime + "\n", []string{"16 a"}},
		{"blanks around column names", "time , speed_mph, note\n" + rowTime + ",16,a\n", []string{"16 a"}},
		{"blank cell was not measured", header + "\n" + rowTime + ",,a\n" + rowTime + ",  ,b\n", []string{"- a", "- b"}},
		{
			"blank lines and rows are passed over", "\n" + header + "\n\n" + rowTime + ",16,a\n,,\n , ,\n\r\n" + rowTime + ",17,b\n\n",
			[]string{"16 a", "17 b"},
		},
		{"not UTF-8 costs the row", header + "\n" + rowTime + ",16,caf\xe9\n" + rowTime + ",17,b\n", []string{"fault note", "17 b"}},
		{"UTF-8", header + "\n" + rowTime + ",16,café ✓\n", []string{"16 café ✓"}},
		{
			"apostrophe before a formula", header + "\n" + rowTime + ",16,'=1+1\n" + rowTime + ",16,''@b\n" + rowTime + ",17,'tis\n",
			[]string{"16 =1+1", "16 '@b", "17 'tis"},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := read(shot.ReadCSV(strings.NewReader(c.log), toSession))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for i, row := range rows {
				if row.Number != i+1 {
					t.Errorf("row %d has number %d", i+1, row.Number)
				}
				switch s := row.Shot; {
				case len(row.Faults) > 0:
					got = append(got, "fault "+row.Faults[0].Field)
				case s.SpeedMPH == nil:
					got = append(got, "- "+s.Note)
				default:
					got = append(got, fmt.Sprint(*s.SpeedMPH, " ", s.Note))
				}
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("rows (-want +got):\n%s", diff)
			}
		})
	}
}

func TestCSVLogErrors(t *testing.T) {
	for _, c := range []struct {
		name, log string
		options   shot.Options
		code      shot.LogCode
		line      int
		rows      int // rows yielded before
	}{
		{"empty", "", toSession, shot.LogHeader, 0, 0},
		{"blank lines only", "\r\n\n", toSession, shot.LogHeader, 0, 0},
		{"no time", "order,speed_mph\n1,16\n", toSession, shot.LogHeader, 1, 0},
		{"no athlete", "time\n" + rowTime, shot.Options{SessionID: session}, shot.LogHeader, 1, 0},
		{"no session", "time\n" + rowTime, shot.Options{AthleteID: athlete}, shot.LogHeader, 1, 0},
		{"unknown column", "time,speed\n" + rowTime + ",16\n", toSession, shot.LogHeader, 1, 0},
		{"column twice", "time,note,time\n", toSession, shot.LogHeader, 1, 0},
		{"column without a name", "time,note,\n", toSession, shot.LogHeader, 1, 0},
		{"header behind blank lines", "\n\n\"time\",speed\n", toSession, shot.LogHeader, 3, 0},
		{"quote in the header", "time,no\"te\n", toSession, shot.LogHeader, 1, 0},
		{"header without end", strings.Repeat("time,", 3000), toSession, shot.LogHeader, 1, 0},
		{"tabs", "time\torder\n", toSession, shot.LogHeader, 1, 0},
		{"sep=", "sep=;\ntime;order\n", toSession, shot.LogHeader, 1, 0},
		{"carriage returns alone", "time,note\r" + rowTime + ",a\r", toSession, shot.LogHeader, 1, 0},
		{"JSON", `[{"time": 1}]`, toSession, shot.LogFormat, 1, 0},
		{"UTF-16", "\xff\xfet\x00i\x00", toSession, shot.LogFormat, 0, 0},
		{"workbook", "PK\x03\x04aaaa", toSession, shot.LogFormat, 0, 0},
		{"gzip", "\x1f\x8b\x08\x00", toSession, shot.LogFormat, 0, 0},
		{
			"quote that runs to the end", "time,note\n" + rowTime + ",a\n" + rowTime + ",\"b\n" + rowTime + ",c\n" + rowTime + ",d\n", toSession,
			shot.LogQuote, 3, 1,
		},
		{
			"quote that runs into the next", "time,note\n" + rowTime + ",\"b\n" + rowTime + ",\"c\"\n" + rowTime + ",d\n", toSession,
			shot.LogQuote, 2, 0,
		},
		{
			"too many rows", "time\n" + strings.Repeat(rowTime+"\n", 4),
			shot.Options{SessionID: session, AthleteID: athlete, MaxRows: 3},
			shot.LogTooLong, 5, 3,
		},
		{
			"too many bytes", "time\n" + strings.Repeat(rowTime+"\n", 4),
			shot.Options{SessionID: session, AthleteID: athlete, MaxBytes: 50},
			shot.LogTooLarge, 0, 2,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := read(shot.ReadCSV(strings.NewReader(c.log), c.options))
			var logErr *shot.LogError
			if !errors.As(err, &logErr) {
				t.Fatalf("error %v, want a LogError", err)
			}
			if logErr.Code != c.code || logErr.Line != c.line || len(rows) != c.rows {
				t.Errorf(
					"%s on line %d after %d rows, want %s on %d after %d: %v",
					logErr.Code,
					logErr.Line,
					len(rows),
					c.code,
					c.line,
					c.rows,
					err,
				)
			}
		})
	}
}

func TestCSVLimitsAreExact(t *testing.T) {
	log := "time\n" + strings.Repeat(rowTime+"\n", 3)
	options := toSession
	options.MaxRows, options.MaxBytes = 3, int64(len(log))
	if got := len(shotsOf(t, shot.ReadCSV(strings.NewReader(log), options))); got != 3 {
		t.Errorf("%d rows at the limits, want 3", got)
	}
	options.MaxBytes--
	if _, err := read(shot.ReadCSV(strings.NewReader(log), options)); err == nil {
		t.Error("one byte beyond the limit is accepted")
	}
}

func TestCSVEveryColumn(t *testing.T) {
	log := "shot_id,session,athlete,ball,drill,order,time,lane,game,frame,delivery,aim_laydown_board,aim_launch_angle_deg,laydown_board,arrows_board,arrows_ft,breakpoint_board,breakpoint_ft,entry_board,entry_angle_deg," +
		"launch_angle_deg,speed_mph,rev_rate_rpm,rotation_deg,tilt_deg,board_se,angle_se_deg,speed_se_mph,rev_rate_se_rpm,axis_se_deg," +
		"track,gutter,standing,source,note\n" +
		"01890a5d-ac96-7b7c-8d2e-0000000000ff,01890a5d-ac96-774b-bcce-b302099a8057,01890a5d-ac96-7b7c-8d2e-000000000001," +
		"01890a5d-ac96-7b7c-8d2e-00000000000b,01890a5d-ac96-7b7c-8d2e-00000000000d,12,2026-03-01T18:05:00+01:00,11,2,10,3,18,2,18.5,14,14.5,8.5,41,17.4,5.5,2.1,16.9,330,55,12,0.5,0.3,0.2,15,4," +
		"15:14.1 30:9.7,right,7-10,sensor,\"good, \"\"high\"\";\nflush\"\n"
	got := shotsOf(t, shot.ReadCSV(strings.NewReader(log), shot.Options{}))
	if diff := cmp.Diff([]shot.Shot{valid()}, got); diff != "" {
		t.Errorf("shots (-want +got):\n%s", diff)
	}
	var out bytes.Buffer
	if err := shot.WriteCSV(&out, slices.Values(got)); err != nil {
		t.Fatal(err)
	}
	// The writer has UTC and RFC 4180's line ends.
	want := strings.ReplaceAll(strings.Replace(log, "18:05:00+01:00", "17:05:00Z", 1), "\n", "\r\n")
	if diff := cmp.Diff(want, out.String()); diff != "" {
		t.Errorf("written (-want +got):\n%s", diff)
	}
}

func TestCSVSynonyms(t *testing.T) {
	log := "time,order,lane_number,game_number,frame_number,delivery_number,arrows_distance_ft,gutter_side\n" +
		rowTime + ",1,11,2,10,3,14.5,LEFT\n"
	got := shotsOf(t, shot.ReadCSV(strings.NewReader(log), toSession))[0]
	if *got.Lane != 11 || *got.Game != 2 || *got.Frame != 10 || *got.Delivery != 3 || *got.ArrowsFt != 14.5 ||
		got.Gutter != lane.Left {
		t.Errorf("read as %+v", got)
	}
	_, err := read(shot.ReadCSV(strings.NewReader("time,lane,lane_number\n"), toSession))
	if err == nil || !strings.Contains(err.Error(), "lane_number is there twice") {
		t.Errorf("a column by two of its names: %v", err)
	}
}

func TestDefaultDrill(t *testing.T) {
	options := toSession
	options.DrillID = drill
	options.Drill = func(name string) (uuid.UUID, error) {
		return uuid.Nil, fmt.Errorf("the squad has no drill %q: check the name", name)
	}
	rows, err := read(
		shot.ReadCSV(
			strings.NewReader("time,drill\n"+rowTime+",\n"+rowTime+","+ball.String()+"\n"+rowTime+",Inside\n"),
			options,
		),
	)
	if err != nil {
		t.Fatal(err)
	}
	if got := rows[0].Shot.DrillID; got == nil || *got != drill {
		t.Errorf("a row without a drill has %v, want the log's", got)
	}
	if got := rows[1].Shot.DrillID; got == nil || *got != ball {
		t.Errorf("a row with a drill has %v, want its own", got)
	}
	if got := summary(rows[2].Faults); got != "drill unknown" {
		t.Errorf("an unknown drill: %q", got)
	}
}

func TestCSVNames(t *testing.T) {
	asked := 0
	options := shot.Options{
		SessionID: session,
		Athlete: func(name string) (uuid.UUID, error) {
			asked++
			switch name {
			case "Ona":
				return athlete, nil
			case "Jory":
				return athlete2, nil
			case "Nobody":
				return uuid.Nil, nil
			}
			return uuid.Nil, fmt.Errorf("the squad has no athlete %q: check the name", name)
		},
		Ball: func(owner uuid.UUID, name string) (uuid.UUID, error) {
			if owner == athlete && name == "blue solid" {
				return ball, nil
			}
			return uuid.Nil, fmt.Errorf("the arsenal has no ball %q: add it first", name)
		},
	}
	log := "ball,time,athlete\n" +
		"blue solid," + rowTime + ",Ona\n" +
		"blue solid," + rowTime + ",Jory\n" +
		"," + rowTime + ",01890a5d-ac96-7b7c-8d2e-000000000002\n" +
		"blue solid," + rowTime + ",Onna\n" +
		"," + rowTime + ",Nobody\n" +
		"," + rowTime + ",\n" +
		"01890a5d-ac96-7b7c-8d2e-00000000000b," + rowTime + ",Ona\n"
	rows, err := read(shot.ReadCSV(strings.NewReader(log), options))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, row := range rows {
		if len(row.Faults) > 0 {
			got = append(got, summary(row.Faults))
			continue
		}
		who := map[uuid.UUID]string{athlete: "Ona", athlete2: "Jory"}[row.Shot.AthleteID]
		got = append(got, fmt.Sprint(who, " ", row.Shot.Order, " ", row.Shot.BallID != nil && *row.Shot.BallID == ball))
	}
	want := []string{
		"Ona 1 true",
		"ball unknown",
		"Jory 3 false",
		"athlete unknown",
		"athlete unknown",
		"athlete required",
		"Ona 7 true",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("rows (-want +got):\n%s", diff)
	}
	// The log's athlete does not stand in for one who is not known, nor is that one's ball looked
	// for in the other's arsenal.
	options.AthleteID = athlete2
	rows, err = read(shot.ReadCSV(strings.NewReader("ball,time,athlete\nblue solid,"+rowTime+",Onna\n"), options))
	if err != nil || len(rows) != 1 || summary(rows[0].Faults) != "athlete unknown" {
		t.Errorf("an unknown athlete's ball: %+v, error %v", rows, err)
	}
	if asked != 5 {
		t.Errorf("asked for a name %d times, want once for each of 4 and again for the second log", asked)
	}
}

// A log sent twice, and sent again with a row corrected, names the same shots.
func TestCSVSentAgain(t *testing.T) {
	ids := func(log string) map[int]uuid.UUID {
		rows, err := read(shot.ReadCSV(strings.NewReader(log), toSession))
		if err != nil {
			t.Fatal(err)
		}
		byNumber := map[int]uuid.UUID{}
		for _, row := range rows {
			if len(row.Faults) == 0 {
				byNumber[row.Number] = row.Shot.ID
			}
		}
		return byNumber
	}
	for _, c := range []struct {
		name, first, again string
		missing            int // row that was refused the first time
	}{
		{"unchanged", "time,speed_mph\n" + rowTime + ",16\n" + rowTime + ",17\n", "time,speed_mph\n" + rowTime + ",16\n" + rowTime + ",17\n", 0},
		{"a value corrected", "time,speed_mph\n" + rowTime + ",16\n" + rowTime + ",17\n", "time,speed_mph\n" + rowTime + ",16.5\n" + rowTime + ",17\n", 0},
		{"a time corrected", "time,order\n" + rowTime + ",5\n", "time,order\n2026-03-02T00:00:00Z,5\n", 0},
		{"rows in another order", "time,order\n" + rowTime + ",1\n" + rowTime + ",2\n", "time,order\n" + rowTime + ",1\n\n" + rowTime + ",2\n", 0},
		{"a refused row mended", "time,speed_mph\n" + rowTime + ",\"16,5\"\n" + rowTime + ",17\n", "time,speed_mph\n" + rowTime + ",16.5\n" + rowTime + ",17\n", 1},
		{"an athlete's name mended", "time,athlete\n" + rowTime + ",Onna\n" + rowTime + ",\n", "time,athlete\n" + rowTime + ",\n" + rowTime + ",\n", 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			first, again := ids(c.first), ids(c.again)
			delete(again, c.missing)
			if diff := cmp.Diff(first, again); diff != "" {
				t.Errorf("ids (-first +again):\n%s", diff)
			}
		})
	}
}

func TestCSVShotTwice(t *testing.T) {
	const id = "01890a5d-ac96-7b7c-8d2e-0000000000ff"
	for _, c := range []struct{ name, log, want string }{
		{"same order", "time,order\n" + rowTime + ",1\n" + rowTime + ",2\n" + rowTime + ",1\n", "; ; repeated"},
		{"same order of another athlete", "time,order,athlete\n" + rowTime + ",1,\n" + rowTime + ",1,01890a5d-ac96-7b7c-8d2e-000000000002\n", "; "},
		{"same id", "time,order,shot_id\n" + rowTime + ",1," + id + "\n" + rowTime + ",2," + id + "\n", "; repeated"},
		{"the first was refused", "time,order,speed_mph\n" + rowTime + ",1,99\n" + rowTime + ",1,16\n", "speed_mph range; "},
		{"order column with a blank cell", "time,order\n" + rowTime + ",1\n" + rowTime + ",\n", "; order required"},
		{"another session", "time,session\n" + rowTime + ",01890a5d-ac96-774b-bcce-b302099a8057\n" + rowTime + "," + id + "\n", "; session mismatch"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := read(shot.ReadCSV(strings.NewReader(c.log), toSession))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, row := range rows {
				got = append(got, summary(row.Faults))
			}
			if diff := cmp.Diff(c.want, strings.Join(got, "; ")); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

func TestWriteCSVRefusesWhatCannotBeReadAgain(t *testing.T) {
	s := valid()
	s.Note = "a\r\nb"
	var out bytes.Buffer
	err := shot.WriteCSV(&out, slices.Values([]shot.Shot{s}))
	var fault shot.Fault
	if !errors.As(err, &fault) || fault.Field != "note" {
		t.Errorf("error %v, want the fault of the note", err)
	}
}

func TestColumns(t *testing.T) {
	names := map[string]bool{}
	for _, c := range shot.Columns() {
		if names[c.Name] || c.Name != strings.ToLower(c.Name) {
			t.Errorf("column %s is there twice, or not in lower case", c.Name)
		}
		names[c.Name] = true
		if c.Meaning == "" || c.Limits == "" {
			t.Errorf("column %s: meaning %q, limits %q", c.Name, c.Meaning, c.Limits)
		}
	}
	var fields []string
	for _, c := range shot.Columns() {
		fields = append(fields, c.Field)
	}
	slices.Sort(fields)
	if diff := cmp.Diff(leafFields(), fields); diff != "" {
		t.Errorf("JSON names of a shot against columns (-shot +columns):\n%s", diff)
	}
}
