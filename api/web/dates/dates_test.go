package dates_test

import (
	"encoding/json"
	"flag"
	"os"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"laneward/api/web/dates"
)

var update = flag.Bool("update", false, "write the golden file anew")

// golden holds how days are written in some languages; the logger's test holds its script to the
// same file.
const golden = "testdata/days.json"

type written struct {
	Language string `json:"language"`
	Date     string `json:"date"`
	Day      string `json:"day"`
	Weekday  string `json:"weekday"`
}

func TestDaysAsInTheGolden(t *testing.T) {
	var got []written
	for _, language := range []string{
		"", "en", "en-GB", "en-US", "de", "de-AT", "fr", "es-MX", "it", "pt-BR", "nl", "sv", "da", "nb", "fi", "pl", "cs", "ja", "zh-Hans-CN", "ko", "xx",
	} {
		form := dates.For(language)
		for _, date := range []string{"2026-11-29", "2028-02-29", "2026-09-01", "2026-05-08"} {
			day, err := time.Parse(time.DateOnly, date)
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, written{language, date, form.Day(day), form.Weekday(day)})
		}
	}
	if *update {
		text, err := json.MarshalIndent(got, "", " ")
		if err == nil {
			err = os.WriteFile(golden, append(text, '\n'), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	var want []written
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("days are written anew (-want +got):\n%s", diff)
	}
}

func TestFor(t *testing.T) {
	for name, c := range map[string]struct{ header, want string }{
		"none":              {"", "en"},
		"unknown":           {"xx-YY, tlh;q=0.5", "en"},
		"exact":             {"en-US,en;q=0.9", "en-US"},
		"base":              {"de-CH", "de"},
		"by weight":         {"en;q=0.5, sv;q=0.8", "sv"},
		"equal: the first":  {"fr, de", "fr"},
		"unknown, then one": {"xx, es;q=0.1", "es"},
		"refused":           {"de;q=0, fr;q=0.2", "fr"},
		"any":               {"*", "en"},
		"other case":        {"EN-us", "en-US"},
		"broken weight":     {"de;q=much, fr", "fr"},
		"not a header":      {";;;,,,", "en"},
	} {
		t.Run(name, func(t *testing.T) {
			if got := dates.For(c.header).Language; got != c.want {
				t.Errorf("For(%q) is %s, want %s", c.header, got, c.want)
			}
		})
	}
}

func TestHTMLSaysTheDayToMachines(t *testing.T) {
	day := time.Date(2026, 11, 29, 0, 0, 0, 0, time.UTC)
	form := dates.For("de")
	want := `<time datetime="2026-11-29" lang="de">29. Nov. 2026</time>`
	if got := string(form.HTML(form.Day(day), "2026-11-29")); got != want {
		t.Errorf("HTML is %s, want %s", got, want)
	}
}
