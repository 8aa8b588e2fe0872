package web

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/service"
	"laneward/service/lane"
	"laneward/service/record"
	"laneward/service/shot"
)

// maxTableRows is how many shots one page of the table holds.
const maxTableRows = 100

// shotRow is one shot as the table writes it.
type shotRow struct {
	Number string
	Cells  []shotCell
}

// shotColumn is a column of the table that at least one shot fills.
type shotColumn struct {
	Name, Unit string
	Numeric    bool
}

// shotCell is a shot's value in a column: its text, and for a leave the deck to draw.
type shotCell struct {
	Text    string
	Numeric bool
	Pins    *deck
}

// fillShots writes the table of the shots that the address asks for.
func (v *visit) fillShots(view *sessionView) error {
	after, err := readPlace(v.URL.Query().Get("after"))
	if err != nil {
		return err
	}
	view.After = after != service.ShotPlace{}
	shots, next, err := v.site.svc.Shots(v.Context(), v.me.ID, view.Own.ID, view.Session.ID, after, maxTableRows)
	if err != nil {
		return err
	}
	balls, err := all[*record.Ball](v.Context(), v, view.Own.ID, record.KindBall)
	if err != nil {
		return err
	}
	names := make(map[uuid.UUID]string)
	for _, b := range balls {
		names[b.ID] = b.Name
	}
	for _, d := range view.Drills {
		names[d.ID] = d.Name
	}
	for _, a := range view.Athletes {
		names[a.ID] = a.Name
	}
	view.Astray = astray(shots, view.Session.Date)
	view.Columns, view.Shots = shotTable(shots, names, view.Session.AthleteID == nil)
	if next != nil {
		place, err := writePlace(*next)
		if err != nil {
			return err
		}
		view.Next = "?after=" + place + "#shots"
	}
	return nil
}

// mostAstray is how far a shot may lie from its session's day before it should be checked: a clock
// in another time zone is at most a day off.
const mostAstray = 48 * time.Hour

// astray is the day of the first shot that was bowled far from a session's day; nil when none was.
func astray(shots []*record.Shot, held record.Day) *record.Day {
	for _, s := range shots {
		if s.Time.Before(held.Add(-mostAstray)) || s.Time.After(held.Add(24*time.Hour+mostAstray)) {
			return &record.Day{Time: s.Time.UTC().Truncate(24 * time.Hour)}
		}
	}
	return nil
}

func readPlace(text string) (place service.ShotPlace, err error) {
	if text == "" {
		return place, nil
	}
	raw, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(raw, &place)
	}
	if err != nil {
		return place, &service.Error{
			Code:   service.Invalid,
			Detail: "the address is not a page of this table: start from the session's first shots",
		}
	}
	return place, nil
}

func writePlace(place service.ShotPlace) (string, error) {
	raw, err := json.Marshal(place)
	return base64.RawURLEncoding.EncodeToString(raw), err
}

// place is one way to fill a column: exactly one of its three is set.
type place struct {
	shotColumn
	text    func(s *record.Shot) string
	measure *shot.Measure
	pins    func(s *record.Shot) *lane.PinSet
}

func places(names map[uuid.UUID]string, shared bool) []place {
	named := func(title string, id func(s *record.Shot) *uuid.UUID) place {
		return place{shotColumn: shotColumn{Name: title}, text: func(s *record.Shot) string {
			if of := id(s); of != nil {
				return names[*of]
			}
			return ""
		}}
	}
	var list []place
	if shared { // else it is the same in every row, and above the table
		list = append(list, named("Athlete", func(s *record.Shot) *uuid.UUID { return &s.AthleteID }))
	}
	list = append(list, named("Ball", func(s *record.Shot) *uuid.UUID { return s.BallID }))
	for _, m := range shot.Measures() {
		list = append(list, place{shotColumn: shotColumn{m.Label, unitWords(m), true}, measure: &m})
	}
	return append(
		list,
		place{shotColumn: shotColumn{Name: "Gutter"}, text: func(s *record.Shot) string { return string(s.Gutter) }},
		place{
			shotColumn: shotColumn{Name: "Left standing"},
			pins:       func(s *record.Shot) *lane.PinSet { return s.Standing },
		},
		named("Drill", func(s *record.Shot) *uuid.UUID { return s.DrillID }),
		place{shotColumn: shotColumn{Name: "Note"}, text: func(s *record.Shot) string { return s.Note }},
	)
}

// unitWords is a measure's unit as the head of its column has it.
func unitWords(m shot.Measure) string {
	switch {
	case m.IsError():
		return "± " + m.Unit
	case m.Unit == "boards":
		return "board"
	case m.Unit == "deg":
		return "degrees"
	}
	return m.Unit
}

// shotTable writes shots as rows, leaving out the columns that none of them fills. The athlete is
// written when the session is shared.
func shotTable(shots []*record.Shot, names map[uuid.UUID]string, shared bool) ([]shotColumn, []shotRow) {
	rows := make([]shotRow, len(shots))
	numbers := shot.Numbers(
		shots,
		func(s *record.Shot) (uuid.UUID, int, uuid.UUID) { return s.AthleteID, s.Order, s.ID },
	)
	for i := range rows {
		rows[i].Number = numbers[i]
	}
	var columns []shotColumn
	for _, p := range places(names, shared) {
		cells, filled := p.cells(shots)
		if !filled {
			continue
		}
		columns = append(columns, p.shotColumn)
		for i := range rows {
			rows[i].Cells = append(rows[i].Cells, cells[i])
		}
	}
	return columns, rows
}

// cells writes a column; filled reports whether any shot has something in it.
func (p place) cells(shots []*record.Shot) (cells []shotCell, filled bool) {
	cells = make([]shotCell, len(shots))
	decimals := 0
	for _, s := range shots {
		if p.measure != nil {
			decimals = max(decimals, decimalsOf(p.measure, &s.Shot))
		}
	}
	for i, s := range shots {
		cells[i].Numeric = p.Numeric
		switch {
		case p.measure != nil:
			if value, known := p.measure.Get(&s.Shot); known {
				cells[i].Text = strconv.FormatFloat(value, 'f', decimals, 64)
			}
		case p.pins != nil:
			if standing := p.pins(s); standing != nil {
				drawn := deckOf(*standing)
				cells[i].Text, cells[i].Pins = standing.String(), &drawn
			}
		default:
			cells[i].Text = p.text(s)
		}
		filled = filled || cells[i].Text != ""
	}
	return cells, filled
}

// decimalsOf is how many decimals a value needs, so that a column's decimal points line up,
// but no more than the measure has.
func decimalsOf(m *shot.Measure, s *shot.Shot) int {
	scaled, known := m.Get(s)
	if !known {
		return 0
	}
	for n := range m.Decimals {
		if math.Abs(scaled-math.Round(scaled)) < 1e-6 {
			return n
		}
		scaled *= 10
	}
	return m.Decimals
}

// deck is the pins as a coach sees them from the foul line, on a canvas 28 by 22: a dot a pin.
type deck struct{ Down, Up string }

func deckOf(standing lane.PinSet) deck {
	var down, up strings.Builder
	for n := 1; n <= 10; n++ {
		x, ft := lane.PinPosition(n)
		to := &down
		if standing.Has(n) {
			to = &up
		}
		// The head pin is in front; a row is 10.4 in behind the one before. The lane's own
		// boards count from the right.
		fmt.Fprintf(to, "M%.1f %.1fh0", 14-(x-lane.CentreBoard)*0.66, 19-(ft-lane.LengthFt)*6.2)
	}
	return deck{down.String(), up.String()}
}
