package remote

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

// field is one thing to read about a record. Details are shown of one record, and left out of a
// list.
type field struct {
	name   string
	value  string
	detail bool
	right  bool // a number
}

// views write each kind of record for reading; every record of a kind has the same fields in the
// same order.
var views = map[client.Kind]func(context.Context, *book, client.Record) ([]field, error){
	client.Athlete:    viewAthlete,
	client.Ball:       viewBall,
	client.Pattern:    viewPattern,
	client.Session:    viewSession,
	client.Drill:      viewDrill,
	client.Assignment: viewAssignment,
	client.Shot:       viewShot,
}

func viewAthlete(_ context.Context, _ *book, record client.Record) ([]field, error) {
	a, err := client.Decode[openapi.Athlete](record)
	return []field{
		{name: "name", value: a.Name},
		{name: "side", value: string(a.Side)},
		{name: "speed", value: terminal.WithUnit(a.SpeedMPH, "mph"), right: true},
		{name: "rev rate", value: terminal.WithUnit(a.RevRateRPM, "rpm"), right: true},
		{name: "rotation", value: terminal.WithUnit(a.RotationDeg, "deg"), right: true},
		{name: "tilt", value: terminal.WithUnit(a.TiltDeg, "deg"), right: true},
		{name: "slide offset", value: terminal.WithUnit(a.SlideOffset, "boards"), right: true},
		{name: "born on", value: terminal.DayText(a.BornOn), detail: true},
		{name: "guardian", value: terminal.Word(a.GuardianName), detail: true},
		{name: "consent", value: terminal.DayText(a.GuardianConsent), detail: true},
		{name: "note", value: terminal.Word(a.Note), detail: true},
	}, err
}

func viewBall(ctx context.Context, names *book, record client.Record) ([]field, error) {
	b, err := client.Decode[openapi.Ball](record)
	if err != nil {
		return nil, err
	}
	athlete, err := names.name(ctx, client.Athlete, &b.AthleteID)
	retired := ""
	if b.Retired != nil && *b.Retired {
		retired = "yes"
	}
	return []field{
		{name: "athlete", value: athlete},
		{name: "name", value: b.Name},
		{name: "weight", value: terminal.WithUnit(&b.WeightLb, "lb"), right: true},
		{name: "rg", value: terminal.WithUnit(b.RgIn, "in"), right: true},
		{name: "differential", value: terminal.WithUnit(b.DifferentialIn, "in"), right: true},
		{name: "cover", value: terminal.Word(b.Cover)},
		{name: "grit", value: terminal.Count(b.SurfaceGrit), right: true},
		{name: "retired", value: retired},
		{name: "note", value: terminal.Word(b.Note), detail: true},
	}, err
}

func viewPattern(_ context.Context, _ *book, record client.Record) ([]field, error) {
	p, err := client.Decode[openapi.Pattern](record)
	oil := ""
	switch {
	case p.Loads != nil:
		oil = fmt.Sprintf("%d loads", len(*p.Loads))
	case p.Film != nil:
		oil = "film map"
	}
	return []field{
		{name: "name", value: p.Name},
		{name: "length", value: terminal.WithUnit(&p.LengthFt, "ft"), right: true},
		{name: "oil", value: oil},
		{name: "note", value: terminal.Word(p.Note), detail: true},
	}, err
}

func viewSession(ctx context.Context, names *book, record client.Record) ([]field, error) {
	s, err := client.Decode[openapi.Session](record)
	if err != nil {
		return nil, err
	}
	athlete, err := names.name(ctx, client.Athlete, s.AthleteID)
	if err != nil {
		return nil, err
	}
	if s.AthleteID == nil {
		athlete = "the squad"
	}
	pattern, err := names.name(ctx, client.Pattern, s.PatternID)
	lanes := ""
	if s.Lanes != nil {
		lanes = terminal.Joined(*s.Lanes, ", ")
	}
	return []field{
		{name: "date", value: s.Date.String()},
		{name: "name", value: s.Name},
		{name: "kind", value: string(s.Kind)},
		{name: "athlete", value: athlete},
		{name: "pattern", value: pattern},
		{name: "centre", value: terminal.Word(s.Centre)},
		{name: "lanes", value: lanes},
		{name: "note", value: terminal.Word(s.Note), detail: true},
	}, err
}

func viewDrill(ctx context.Context, names *book, record client.Record) ([]field, error) {
	d, err := client.Decode[openapi.Drill](record)
	if err != nil {
		return nil, err
	}
	pattern, err := names.name(ctx, client.Pattern, d.PatternID)
	return []field{
		{name: "name", value: d.Name},
		{name: "reps", value: strconv.Itoa(d.Reps), right: true},
		{name: "pass", value: terminal.Percent(d.PassShare), right: true},
		{name: "pattern", value: pattern},
		{name: "rules", value: strings.Join(sentencesOf(d), "; ")},
		{name: "computed by", value: terminal.Word(d.Model), detail: true},
		{name: "note", value: terminal.Word(d.Note), detail: true},
	}, err
}

func sentencesOf(d openapi.Drill) []string {
	if d.Sentences == nil {
		return nil
	}
	return *d.Sentences
}

func viewAssignment(ctx context.Context, names *book, record client.Record) ([]field, error) {
	a, err := client.Decode[openapi.Assignment](record)
	if err != nil {
		return nil, err
	}
	drill, err := names.name(ctx, client.Drill, &a.DrillID)
	if err != nil {
		return nil, err
	}
	athlete, err := names.name(ctx, client.Athlete, &a.AthleteID)
	return []field{
		{name: "drill", value: drill},
		{name: "athlete", value: athlete},
		{name: "from", value: a.AssignedOn.String()},
		{name: "due", value: terminal.DayText(a.DueOn)},
		{name: "note", value: terminal.Word(a.Note), detail: true},
	}, err
}
