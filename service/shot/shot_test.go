package shot_test

import (
	"iter"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/shot"
)

var (
	session  = uuid.MustParse("01890a5d-ac96-774b-bcce-b302099a8057")
	athlete  = uuid.MustParse("01890a5d-ac96-7b7c-8d2e-000000000001")
	athlete2 = uuid.MustParse("01890a5d-ac96-7b7c-8d2e-000000000002")
	ball     = uuid.MustParse("01890a5d-ac96-7b7c-8d2e-00000000000b")
	drill    = uuid.MustParse("01890a5d-ac96-7b7c-8d2e-00000000000d")
)

// read collects a log.
func read(rows iter.Seq2[shot.Row, error]) ([]shot.Row, error) {
	var list []shot.Row
	for row, err := range rows {
		if err != nil {
			return list, err
		}
		list = append(list, row)
	}
	return list, nil
}

// shotsOf reads a log in which nothing may be wrong.
func shotsOf(t testing.TB, rows iter.Seq2[shot.Row, error]) []shot.Shot {
	t.Helper()
	var shots []shot.Shot
	for row, err := range rows {
		if err != nil {
			t.Fatal(err)
		}
		if len(row.Faults) > 0 {
			t.Fatalf("row %d: %v", row.Number, row.Faults)
		}
		shots = append(shots, row.Shot)
	}
	return shots
}

// valid is a shot with every field set.
func valid() shot.Shot {
	standing := lane.PinSet(1<<6 | 1<<9)
	return shot.Shot{
		ID: uuid.MustParse(
			"01890a5d-ac96-7b7c-8d2e-0000000000ff",
		),
		SessionID: session,
		AthleteID: athlete,
		BallID:    new(ball),
		DrillID:   new(drill),
		Order:     12,
		Time:      time.Date(2026, 3, 1, 17, 5, 0, 0, time.UTC),
		Lane:      new(11),
		Game:      new(2),
		Frame:     new(10),
		Delivery:  new(3),

		AimLaydownBoard:   new(18.0),
		AimLaunchAngleDeg: new(2.0),
		ArrowsFt:          new(14.5),
		Gutter:            lane.Right,
		LaydownBoard:      new(18.5),
		ArrowsBoard:       new(14.0),
		BreakpointBoard:   new(8.5),
		BreakpointFt:      new(41.0),
		EntryBoard: new(
			17.4,
		),
		EntryAngleDeg:  new(5.5),
		LaunchAngleDeg: new(2.1),
		SpeedMPH:       new(16.9),
		RevRateRPM:     new(330.0),
		RotationDeg:    new(55.0),
		TiltDeg:        new(12.0),
		Track:          []shot.TrackPoint{{Ft: 15, Board: 14.1}, {Ft: 30, Board: 9.7}},
		Standing:       &standing,
		Source:         "sensor",
		Errors: shot.StandardErrors{
			Board: new(0.5), AngleDeg: new(0.3), SpeedMPH: new(0.2), RevRateRPM: new(15.0), AxisDeg: new(4.0),
		},
		Note: "good, \"high\";\nflush",
	}
}

func TestCanonical(t *testing.T) {
	s := valid()
	s.Time = time.Date(2026, 3, 1, 18, 5, 0, 123_456_789, time.FixedZone("", 3600))
	s.Track = []shot.TrackPoint{}
	got := s.Canonical()
	if want := time.Date(2026, 3, 1, 17, 5, 0, 123_456_000, time.UTC); got.Time != want {
		t.Errorf("time %v, want %v", got.Time, want)
	}
	if got.Track != nil {
		t.Errorf("track %v, want nil", got.Track)
	}
}

// The library's version 5 against the example of RFC 9562, appendix A.4, and our name against
// Python's uuid.uuid5.
func TestDeriveID(t *testing.T) {
	if got := uuid.NewSHA1(uuid.NameSpaceDNS, []byte("www.example.com")).
		String(); got != "2ed6657d-e927-568b-95e1-2665a8aea6a2" {
		t.Errorf("RFC 9562 A.4: %s", got)
	}
	if got := shot.DeriveID(session, athlete, 12).String(); got != "0e7d8bde-1cf2-5fe1-86fc-19bbf7aa51aa" {
		t.Errorf("DeriveID: %s", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		type key struct {
			session, athlete uuid.UUID
			order            int
		}
		draw := func(label string) key {
			return key{
				rapid.SampledFrom([]uuid.UUID{session, athlete}).Draw(t, label+" session"),
				rapid.SampledFrom([]uuid.UUID{athlete, athlete2}).Draw(t, label+" athlete"),
				rapid.IntRange(1, 12).Draw(t, label+" order"),
			}
		}
		a, b := draw("a"), draw("b")
		same := shot.DeriveID(a.session, a.athlete, a.order) == shot.DeriveID(b.session, b.athlete, b.order)
		if same != (a == b) {
			t.Fatalf("%v and %v: same id is %v", a, b, same)
		}
	})
}

func TestValidate(t *testing.T) {
	if faults := shot.Validate(valid()); faults != nil {
		t.Fatalf("a valid shot has faults: %v", faults)
	}
	for _, c := range []struct {
		name  string
		spoil func(*shot.Shot)
		want  string // "field code", one for each fault
	}{
		{
			"nothing set", func(s *shot.Shot) { *s = shot.Shot{} },
			"id required, session_id required, athlete_id required, order required, time required",
		},
		{"only what is required", func(s *shot.Shot) {
			*s = shot.Shot{ID: s.ID, SessionID: s.SessionID, AthleteID: s.AthleteID, Order: 1, Time: s.Time}
		}, ""},
		{"nil ball", func(s *shot.Shot) { s.BallID = &uuid.Nil }, "ball_id format"},
		{"nil drill", func(s *shot.Shot) { s.DrillID = &uuid.Nil }, "drill_id format"},
		{"order negative", func(s *shot.Shot) { s.Order = -1 }, "order range"},
		{"order highest", func(s *shot.Shot) { s.Order = 100_000 }, ""},
		{"order too high", func(s *shot.Shot) { s.Order = 100_001 }, "order range"},
		{"year 1969", func(s *shot.Shot) { s.Time = time.Unix(-1, 0) }, "time range"},
		{"year 1970, a clock that lost its time", func(s *shot.Shot) { s.Time = time.Unix(0, 0) }, ""},
		{"year 2200", func(s *shot.Shot) { s.Time = time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC) }, "time range"},
		{"board 41", func(s *shot.Shot) { s.LaydownBoard = new(41.0) }, "laydown_board range"},
		{"board 40 is the gutter", func(s *shot.Shot) { s.EntryBoard = new(40.0) }, ""},
		{"board 0 is the gutter", func(s *shot.Shot) { s.ArrowsBoard = new(0.0) }, ""},
		{"board below 0", func(s *shot.Shot) { s.ArrowsBoard = new(-0.1) }, "arrows_board range"},
		{"board just above 40", func(s *shot.Shot) { s.BreakpointBoard = new(math.Nextafter(40, 41)) }, "breakpoint_board range"},
		{"board NaN", func(s *shot.Shot) { s.EntryBoard = new(math.NaN()) }, "entry_board range"},
		{"board infinite", func(s *shot.Shot) { s.EntryBoard = new(math.Inf(1)) }, "entry_board range"},
		{"breakpoint at the head pin", func(s *shot.Shot) { s.BreakpointFt = new(60.0) }, ""},
		{"breakpoint behind the head pin", func(s *shot.Shot) { s.BreakpointFt = new(60.5) }, "breakpoint_ft range"},
		{"breakpoint before the foul line", func(s *shot.Shot) { s.BreakpointFt = new(-1.0) }, "breakpoint_ft range"},
		{"entry angle", func(s *shot.Shot) { s.EntryAngleDeg = new(20.5) }, "entry_angle_deg range"},
		{"launch angle inward", func(s *shot.Shot) { s.LaunchAngleDeg = new(-4.0) }, ""},
		{"launch angle", func(s *shot.Shot) { s.LaunchAngleDeg = new(-21.0) }, "launch_angle_deg range"},
		{"slowest", func(s *shot.Shot) { s.SpeedMPH = new(5.0) }, ""},
		{"too slow", func(s *shot.Shot) { s.SpeedMPH = new(4.9) }, "speed_mph range"},
		{"too fast", func(s *shot.Shot) { s.SpeedMPH = new(30.1) }, "speed_mph range"},
		{"no revs", func(s *shot.Shot) { s.RevRateRPM = new(0.0) }, ""},
		{"revs", func(s *shot.Shot) { s.RevRateRPM = new(801.0) }, "rev_rate_rpm range"},
		{"backs up", func(s *shot.Shot) { s.RotationDeg = new(-30.0) }, ""},
		{"rotation", func(s *shot.Shot) { s.RotationDeg = new(181.0) }, "rotation_deg range"},
		{"tilt", func(s *shot.Shot) { s.TiltDeg = new(-1.0) }, "tilt_deg range"},
		{"error of nothing", func(s *shot.Shot) { s.Errors.Board = new(0.0) }, "errors/board range"},
		{"error negative", func(s *shot.Shot) { s.Errors.SpeedMPH = new(-0.2) }, "errors/speed_mph range"},
		{"error as wide as the lane", func(s *shot.Shot) { s.Errors.Board = new(40.0) }, ""},
		{"error wider", func(s *shot.Shot) { s.Errors.AxisDeg = new(181.0) }, "errors/axis_deg range"},
		{"error NaN", func(s *shot.Shot) { s.Errors.AngleDeg = new(math.NaN()) }, "errors/angle_deg range"},
		{"track turns back", func(s *shot.Shot) { s.Track[1].Ft = 14 }, "track/1/ft not_rising"},
		{"track stands", func(s *shot.Shot) { s.Track[1].Ft = 15 }, "track/1/ft not_rising"},
		{
			"track outside", func(s *shot.Shot) { s.Track[0] = shot.TrackPoint{Ft: -1, Board: 41} },
			"track/0/ft range, track/0/board range",
		},
		{
			"track NaN", func(s *shot.Shot) { s.Track[1] = shot.TrackPoint{Ft: math.NaN(), Board: math.NaN()} },
			"track/1/ft range, track/1/board range",
		},
		{"track too long", func(s *shot.Shot) { s.Track = make([]shot.TrackPoint, 201) }, "track length"},
		{"lane", func(s *shot.Shot) { s.Lane = new(1000) }, "lane range"},
		{"game", func(s *shot.Shot) { s.Game = new(0) }, "game range"},
		{"frame", func(s *shot.Shot) { s.Frame = new(11) }, "frame range"},
		{"delivery", func(s *shot.Shot) { s.Delivery = new(4) }, "delivery range"},
		{
			"aim", func(s *shot.Shot) { s.AimLaydownBoard, s.AimLaunchAngleDeg = new(41.0), new(-21.0) },
			"aim_laydown_board range, aim_launch_angle_deg range",
		},
		{"arrows behind the arrows", func(s *shot.Shot) { s.ArrowsFt = new(21.0) }, "arrows_ft range"},
		{"gutter", func(s *shot.Shot) { s.Gutter = "both" }, "gutter format"},
		{"no gutter", func(s *shot.Shot) { s.Gutter = "" }, ""},
		{"strike", func(s *shot.Shot) { s.Standing = new(lane.PinSet(0)) }, ""},
		{"ten pins, a gutter ball", func(s *shot.Shot) { s.Standing = new(lane.FullRack) }, ""},
		{"pin 11", func(s *shot.Shot) { s.Standing = new(lane.PinSet(1 << 10)) }, "standing range"},
		{"source longest", func(s *shot.Shot) { s.Source = strings.Repeat("é", 100) }, ""},
		{"source too long", func(s *shot.Shot) { s.Source = strings.Repeat("é", 101) }, "source length"},
		{"source of two lines", func(s *shot.Shot) { s.Source = "eye\nsensor" }, "source format"},
		{"source with a blank", func(s *shot.Shot) { s.Source = " eye" }, "source format"},
		{"note longest", func(s *shot.Shot) { s.Note = strings.Repeat("é", 4000) }, ""},
		{"note too long", func(s *shot.Shot) { s.Note = strings.Repeat("e", 4001) }, "note length"},
		{"note with a carriage return", func(s *shot.Shot) { s.Note = "a\r\nb" }, "note format"},
		{"note with NUL", func(s *shot.Shot) { s.Note = "a\x00b" }, "note format"},
		{"note not UTF-8", func(s *shot.Shot) { s.Note = "caf\xe9" }, "note format"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := valid()
			c.spoil(&s)
			if diff := cmp.Diff(c.want, summary(shot.Validate(s))); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

// summary writes faults as "field code", joined by commas.
func summary(faults []shot.Fault) string {
	var parts []string
	for _, f := range faults {
		parts = append(parts, strings.TrimSpace(f.Field+" "+string(f.Code)))
	}
	return strings.Join(parts, ", ")
}
