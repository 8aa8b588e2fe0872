package lines

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
	"laneward/service/tenpin"
)

// Spares is what a person knows of how an athlete converts each class of leave.
type Spares struct{ own advice.OwnSpares }

// Own is what is known; nil for nothing.
func (s *Spares) Own() advice.OwnSpares {
	if s == nil {
		return nil
	}
	return s.own
}

// UnmarshalText reads classes and rates, such as single=27/30,split=20%.
func (s *Spares) UnmarshalText(text []byte) error {
	s.own = make(advice.OwnSpares)
	for part := range strings.SplitSeq(string(text), ",") {
		name, rate, _ := strings.Cut(part, "=")
		class := tenpin.SpareClass(strings.ReplaceAll(strings.TrimSpace(name), "-", "_"))
		if !slices.Contains(tenpin.SpareClasses(), class) {
			return fmt.Errorf("there is no class of leaves %q: write one of %s", name, spareNames())
		}
		of, err := readConversions(strings.TrimSpace(rate))
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if fault := of.Fault(); fault != "" {
			return fmt.Errorf("%s %s", name, fault)
		}
		s.own[class] = of
	}
	return nil
}

func readConversions(text string) (tenpin.Conversions, error) {
	converted, tries, counted := strings.Cut(text, "/")
	if counted {
		made, madeErr := strconv.Atoi(converted)
		tried, triedErr := strconv.Atoi(tries)
		if madeErr == nil && triedErr == nil {
			return tenpin.Conversions{Converted: made, Tries: tried}, nil
		}
		return tenpin.Conversions{}, fmt.Errorf("%q is not a count: write 27/30", text)
	}
	if text == "0" || text == "0%" {
		none := 0.0
		return tenpin.Conversions{Share: &none}, nil
	}
	var share terminal.Share
	if share.UnmarshalText([]byte(text)) != nil {
		return tenpin.Conversions{}, fmt.Errorf("%q is not a rate: write 27/30, 90%% or 0.9", text)
	}
	return tenpin.Conversions{Share: (*float64)(&share)}, nil
}

// MarshalJSON writes them as a request has them.
func (s *Spares) MarshalJSON() ([]byte, error) { return json.Marshal(s.Own()) }

// Defaults are the values that the help of commands names.
func Defaults() kong.Vars { return kong.Vars{"spares": spareNames()} }

func spareNames() string { return terminal.Joined(tenpin.SpareClasses(), ", ") }
