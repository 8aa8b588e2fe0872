package reading

import (
	"bytes"
	"encoding/csv"
	"flag"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/service/oil"
	"laneward/service/shot"
)

var update = flag.Bool("update", false, "write the sample lane")

const sampleDir = "../../testdata/reading/"

// sampleFile holds a file of the sample lane against what the generator makes.
func sampleFile(t *testing.T, name, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(sampleDir+name, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(sampleDir + name)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != got {
		t.Errorf("%s is not what the generator makes: run this test with -update", name)
	}
}

func number(v float64, places int) string { return strconv.FormatFloat(v, 'f', places, 64) }

// sampleShots writes the shots as a log.
func sampleShots(throws []Throw) string {
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	header := []string{
		"order", "time", "laydown_board", "arrows_board", "breakpoint_board", "breakpoint_ft", "entry_board",
		"speed_mph", "board_se", "speed_se_mph", "gutter", "source",
	}
	rows := [][]string{header}
	cell := func(v *float64, places int) string {
		if v == nil {
			return ""
		}
		return number(*v, places)
	}
	for _, throw := range throws {
		s := throw.Shot
		rows = append(rows, []string{
			strconv.Itoa(s.Order), time.Date(2026, 11, 29, 10, 0, 30*s.Order, 0, time.UTC).Format(time.RFC3339),
			cell(s.LaydownBoard, 1), cell(s.ArrowsBoard, 1), cell(s.BreakpointBoard, 1), cell(s.BreakpointFt, 1),
			cell(s.EntryBoard, 1), cell(s.SpeedMPH, 2), cell(s.Errors.Board, 1), cell(s.Errors.SpeedMPH, 1),
			string(s.Gutter), s.Source,
		})
	}
	_ = out.WriteAll(rows)
	return b.String()
}

// sampleLane is the invented lane of the samples, as it is and as the reader is told of it.
func sampleLane(t *testing.T) (*foreignLane, Setting) {
	t.Helper()
	loads, err := os.ReadFile(sampleDir + "loads.csv")
	if err != nil {
		t.Fatal(err)
	}
	table, err := oil.ReadTableCSV("sample", bytes.NewReader(loads))
	if err != nil {
		t.Fatal(err)
	}
	film, err := table.Film()
	if err != nil {
		t.Fatal(err)
	}
	l := foreignOn(film, 11)
	l.stated.SpeedMPH, l.stated.RevRPM = math.Round(l.stated.SpeedMPH*10)/10, math.Round(l.stated.RevRPM)
	l.stated.RotationDeg, l.stated.TiltDeg = math.Round(l.stated.RotationDeg), math.Round(l.stated.TiltDeg)
	l.release.SpeedMPH = l.stated.SpeedMPH - l.display
	setting := l.setting()
	setting.Film = film
	return l, setting
}

// sampleThrows are the shots of a sample's log, as anyone would read them.
func sampleThrows(t *testing.T, name string) []Throw {
	t.Helper()
	logged, err := os.ReadFile(sampleDir + name)
	if err != nil {
		t.Fatal(err)
	}
	var throws []Throw
	options := shot.Options{SessionID: uuid.New(), AthleteID: uuid.New()}
	for row, err := range shot.ReadCSV(bytes.NewReader(logged), options) {
		if err != nil || len(row.Faults) > 0 {
			t.Fatal(err, row.Faults)
		}
		throws = append(throws, Throw{Shot: row.Shot})
	}
	return throws
}

// The sample lane: an invented pattern, what an eye saw of twelve shots on it, and where eight aims
// really go. The read of it, as anyone would make it from the files, meets the truth.
func TestSampleLane(t *testing.T) {
	l, setting := sampleLane(t)
	sampleFile(t, "shots.csv", sampleShots(l.probes(12, byEye)))
	read, err := New(setting, sampleThrows(t, "shots.csv"))
	if err != nil {
		t.Fatal(err)
	}
	aims, truth := "laydown_board,angle_deg\n", "laydown_board,angle_deg,entry_board,breakpoint_board,breakpoint_ft\n"
	for range 8 {
		aim := l.unseen()
		aim.LaydownBoard, aim.LaunchAngleDeg = math.Round(aim.LaydownBoard), math.Round(aim.LaunchAngleDeg*10)/10+0
		path := l.exactly(aim)
		line := number(aim.LaydownBoard, 0) + "," + number(aim.LaunchAngleDeg, 1)
		aims += line + "\n"
		truth += line + "," + number(path.entry, 2) + "," + number(path.breakpoint, 2) + "," +
			number(path.breakpointFt, 1) + "\n"
		f := read.Exactly(0, aim, 0)
		t.Logf("%s: %.2f +- %.2f, true %.2f", line, f.EntryBoard, f.EntrySE, path.entry)
		if math.Abs(f.EntryBoard-path.entry) > 3*f.EntrySE {
			t.Errorf("%s: %.2f +- %.2f, true %.2f", line, f.EntryBoard, f.EntrySE, path.entry)
		}
	}
	sampleFile(t, "aims.csv", aims)
	sampleFile(t, "truth.csv", truth)
}

// Two logs of the sample lane by a sensor: from shot 21 on a ball arrives four boards farther
// inside, and six athletes wear the lane from the first shot on. The watch finds both.
func TestSampleTransitions(t *testing.T) {
	for _, one := range []struct {
		name   string
		change Change
		passes float64
		throw  func(l *foreignLane, aim Aim) []Throw
	}{
		{"jump.csv", Jump, 0, func(l *foreignLane, aim Aim) (throws []Throw) {
			next, ok := l.scaled(aim, 4)
			if !ok {
				t.Fatal("the sample lane cannot change by 4 boards")
			}
			for i := 7; i <= 36; i++ {
				if i == 21 {
					l = next
				}
				throws = append(throws, Throw{Shot: l.shoot(aim, bySensor, i)})
			}
			return throws
		}},
		{"wear.csv", Drift, 6, func(l *foreignLane, aim Aim) (throws []Throw) {
			list := l.others(aim, 5)
			for i := 7; i <= 36; i++ {
				throws = append(throws, Throw{Shot: l.shoot(aim, bySensor, i)})
				l.rub(&l.last)
				l.rubAll(list)
			}
			return throws
		}},
	} {
		t.Run(one.name, func(t *testing.T) {
			l, setting := sampleLane(t)
			probes := l.probes(6, bySensor)
			read, err := New(setting, probes)
			if err != nil {
				t.Fatal(err)
			}
			aim, ok := l.line(read, bySensor)
			if !ok {
				t.Fatal("the sample lane has no line")
			}
			sampleFile(t, one.name, sampleShots(append(probes, one.throw(l, aim)...)))
			logged := sampleThrows(t, one.name)
			if read, err = New(setting, logged[:6]); err != nil {
				t.Fatal(err)
			}
			watch, now := read.Watch(0, one.passes), Standing{}
			for _, throw := range logged[6:] {
				now = watch.Add(throw)
			}
			t.Log(watch.Sentence())
			if !now.Alarm || now.Change != one.change || now.SizeBoards < 1.5 || now.SizeBoards > 8 {
				t.Errorf("%+v", now)
			}
			if one.change == Jump && (now.SinceOrder < 19 || now.SinceOrder > 22) {
				t.Errorf("since shot %d, want about 21", now.SinceOrder)
			}
		})
	}
}
