package terminal

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestTable(t *testing.T) {
	t.Parallel()
	list := NewTable("name", "speed>", "empty", "note")
	list.Style("name", func(name string) string {
		if name == "Zoë" {
			return Red
		}
		return ""
	})
	list.Add("Rhea", "17.5 mph", "", "a note of some length, to be broken where the terminal ends")
	list.Add("Zoë", "9 mph", "", "short")
	list.Add("保龄", "", "", "")
	cases := map[string]struct {
		width   int
		colours bool
		want    string
	}{
		"endless": {0, false, `NAME     SPEED  NOTE
Rhea  17.5 mph  a note of some length, to be broken where the terminal ends
Zoë      9 mph  short
保龄
`},
		"wrapped": {50, false, `NAME     SPEED  NOTE
Rhea  17.5 mph  a note of some length, to be
                broken where the terminal ends
Zoë      9 mph  short
保龄
`},
		"too narrow for a table": {30, false, `name   Rhea
speed  17.5 mph
note   a note of some length, to be broken where the terminal ends

name   Zoë
speed  9 mph
note   short

name   保龄
`},
		"with colours": {50, true, "\x1b[1mNAME\x1b[0m     \x1b[1mSPEED\x1b[0m  \x1b[1mNOTE\x1b[0m\n" +
			"\x1b[mRhea\x1b[0m"},
	}
	for name, one := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := list.Text(one.width, one.colours)
			if one.colours {
				if strings.Count(got, "\x1b[1m") != 3 || strings.Count(got, "\x1b[31mZoë\x1b[0m") != 1 ||
					strings.Count(got, "\x1b[0m") != 4 {
					t.Errorf("styles are wrong: %q", got)
				}
				return
			}
			if diff := cmp.Diff(one.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
	if got := NewTable("name").Text(80, true); got != "" {
		t.Errorf("a table of nothing is %q", got)
	}
}
