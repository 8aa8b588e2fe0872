package desk

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"laneward/service/lane"
	"laneward/service/shot"
)

func TestParseShot(t *testing.T) {
	t.Parallel()
	full := shot.Shot{
		LaydownBoard:    ptr(15.5),
		ArrowsBoard:     ptr(11.0),
		BreakpointBoard: ptr(9.0),
		BreakpointFt:    ptr(42.0),
		EntryBoard:      ptr(17.0),
	}
	with := func(s shot.Shot, change func(*shot.Shot)) shot.Shot {
		change(&s)
		return s
	}
	left := func(pins ...int) *lane.PinSet {
		set, err := lane.Pins(pins...)
		if err != nil {
			t.Fatal(err)
		}
		return &set
	}
	for line, want := range map[string]shot.Shot{
		"15.5 11 9@42 17 10":              with(full, func(s *shot.Shot) { s.Standing = left(10) }),
		"15,5 11 9@42ft 17 7-10":          with(full, func(s *shot.Shot) { s.Standing = left(7, 10) }),
		"  15.5\t11 9@42 17 x ":           with(full, func(s *shot.Shot) { s.Standing = left() }),
		"15.5 11 9@42 17 STRIKE":          with(full, func(s *shot.Shot) { s.Standing = left() }),
		"15.5 11 9@42 17 -":               full,
		"15.5 11 9@42 17":                 full,
		"9@42":                            {BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0)},
		"- - 9":                           {BreakpointBoard: ptr(9.0)},
		"- - - 17.5 4-9":                  {EntryBoard: ptr(17.5), Standing: left(4, 9)},
		"x":                               {Standing: left()},
		"4-9 15":                          {}, // nothing comes after the pins
		"15 x":                            {LaydownBoard: ptr(15.0), Standing: left()},
		"9@42 17":                         {BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0), EntryBoard: ptr(17.0)},
		"15 9@42 17":                      {LaydownBoard: ptr(15.0), BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0), EntryBoard: ptr(17.0)},
		"bp=9@42 en=17 leave=10":          {BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0), EntryBoard: ptr(17.0), Standing: left(10)},
		"breakpoint=9 at=42":              {BreakpointBoard: ptr(9.0), BreakpointFt: ptr(42.0)},
		"mph=17.2 rpm=310 rotation=-10":   {SpeedMPH: ptr(17.2), RevRateRPM: ptr(310.0), RotationDeg: ptr(-10.0)},
		"angle=4.5 launch=-1.2 tilt=12":   {EntryAngleDeg: ptr(4.5), LaunchAngleDeg: ptr(-1.2), TiltDeg: ptr(12.0)},
		"x note=late = early, at \"9\" x": {Standing: left(), Note: "late = early, at \"9\" x"},
		`x note="quoted"`:                 {Standing: left(), Note: "quoted"},
		"speed=-":                         {},
	} {
		change, err := parseShot(line)
		if line == "4-9 15" {
			if err == nil {
				t.Errorf("%q: a board after the pins is taken", line)
			}
			continue
		}
		var got shot.Shot
		for _, one := range change {
			one.set(&got)
		}
		if diff := cmp.Diff(want, got); diff != "" || err != nil {
			t.Errorf("%q: %v\n%s", line, err, diff)
		}
	}
	for _, line := range []string{
		"15 11 9 17 10 4", "fast", "speed=", "speed=fast", "x x", "9@42 bp=9", "leave=11", "11-12", "7-7", "colour=blue", "=3", "9@", "@", "1@2@3", "Inf@NaN@", `ball="Blue`,
		"15 11 9@42 17 11", "NaN", "speed=Inf", "0x10", "1_0", "1e1",
	} {
		if change, err := parseShot(line); err == nil {
			t.Errorf("%q is taken as %d settings", line, len(change))
		} else if strings.Contains(err.Error(), "strconv") {
			t.Errorf("%q: %v", line, err)
		}
	}
}

func ptr[T any](v T) *T { return &v }

func TestParseShotClears(t *testing.T) {
	t.Parallel()
	s := shot.Shot{
		BreakpointBoard: ptr(9.0),
		BreakpointFt:    ptr(42.0),
		SpeedMPH:        ptr(17.0),
		Standing:        ptr(lane.PinSet(1)),
		Note:            "late",
	}
	for _, line := range []string{"bp=- leave=-", "speed=- note=-"} {
		change, err := parseShot(line)
		if err != nil {
			t.Fatal(err)
		}
		for _, one := range change {
			one.set(&s)
		}
	}
	if diff := cmp.Diff(shot.Shot{}, s); diff != "" {
		t.Error(diff)
	}
}

// Whatever is typed is a shot or a mistake; and what a line says of its summary says the same.
func FuzzParseShot(f *testing.F) {
	for _, line := range []string{"15.5 11 9@42 17 10", "- - 9@41 - x", "bp=9@42 speed=17.2 note=late", `ball="Blue solid"`, "4-9 =", "x\x00", "é=1", "NaN Inf 1e9"} {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, line string) {
		change, err := parseShot(line)
		if err != nil {
			if err.Error() == "" {
				t.Error("a mistake without words")
			}
			return
		}
		var s shot.Shot
		for _, one := range change {
			if one.ball == "" {
				one.set(&s)
			}
		}
		if shotLine(&s, "") == "" {
			t.Error("a shot without words")
		}
	})
}
