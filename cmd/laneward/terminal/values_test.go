package terminal

import (
	"testing"
	"time"
)

func TestValues(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Share{"80%": 0.8, "80 %": 0.8, "80": 0.8, "0.8": 0.8, "1": 1, "100%": 1, "0.5%": 0.005, "0": 0, "101": 0, "-1": 0, "NaN": 0, "half": 0, "": 0} {
		var got Share
		err := got.UnmarshalText([]byte(text))
		if (err != nil) != (want == 0) || got != want {
			t.Errorf("share %q is %v, %v; want %v", text, got, err, want)
		}
	}
	lateOnLeapDay := time.Date(2028, time.February, 29, 23, 30, 0, 0, time.FixedZone("", -5*60*60))
	for text, want := range map[string]string{
		"2026-11-20": "2026-11-20", "today": "2028-02-29", "yesterday": "2028-02-28", "tomorrow": "2028-03-01",
		"2026-02-30": "", "20.11.2026": "", "": "",
	} {
		got, err := ParseDay(text, lateOnLeapDay)
		if (err != nil) != (want == "") || err == nil && got.String() != want {
			t.Errorf("day %q is %v, %v; want %v", text, got, err, want)
		}
	}
}
