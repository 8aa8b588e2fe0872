package record

import (
	"encoding/json"
	"fmt"
	"time"
)

// Day is a calendar day, YYYY-MM-DD, with no time zone.
type Day struct{ time.Time }

const dayLayout = "2006-01-02"

// ParseDay reads YYYY-MM-DD.
func ParseDay(text string) (Day, error) {
	day, err := time.Parse(dayLayout, text)
	if err != nil {
		return Day{}, fmt.Errorf("%q is not a day: write YYYY-MM-DD, such as 2026-03-14", text)
	}
	return Day{day}, nil
}

func (d Day) String() string { return d.Format(dayLayout) }

// MarshalJSON writes YYYY-MM-DD.
func (d Day) MarshalJSON() ([]byte, error) { return json.Marshal(d.String()) }

// UnmarshalJSON reads YYYY-MM-DD.
func (d *Day) UnmarshalJSON(data []byte) error {
	var text string
	if err := json.Unmarshal(data, &text); err != nil {
		return fmt.Errorf("a day is a string YYYY-MM-DD: %w", err)
	}
	day, err := ParseDay(text)
	if err != nil {
		return err
	}
	*d = day
	return nil
}
