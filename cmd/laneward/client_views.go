package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

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
		{name: "speed", value: withUnit(a.SpeedMPH, "mph"), right: true},
		{name: "rev rate", value: withUnit(a.RevRateRPM, "rpm"), right: true},
		{name: "rotation", value: withUnit(a.RotationDeg, "deg"), right: true},
		{name: "tilt", value: withUnit(a.TiltDeg, "deg"), right: true},
		{name: "slide offset", value: withUnit(a.SlideOffset, "boards"), right: true},
		{name: "born on", value: dayText(a.BornOn), detail: true},
		{name: "guardian", value: word(a.GuardianName), detail: true},
		{name: "consent", value: dayText(a.GuardianConsent), detail: true},
		{name: "note", value: word(a.Note), detail: true},
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
		{name: "weight", value: withUnit(&b.WeightLb, "lb"), right: true},
		{name: "rg", value: withUnit(b.RgIn, "in"), right: true},
		{name: "differential", value: withUnit(b.DifferentialIn, "in"), right: true},
		{name: "cover", value: word(b.Cover)},
		{name: "grit", value: count(b.SurfaceGrit), right: true},
		{name: "retired", value: retired},
		{name: "note", value: word(b.Note), detail: true},
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
		{name: "length", value: withUnit(&p.LengthFt, "ft"), right: true},
		{name: "oil", value: oil},
		{name: "note", value: word(p.Note), detail: true},
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
		lanes = joined(*s.Lanes, ", ")
	}
	return []field{
		{name: "date", value: s.Date.String()},
		{name: "name", value: s.Name},
		{name: "kind", value: string(s.Kind)},
		{name: "athlete", value: athlete},
		{name: "pattern", value: pattern},
		{name: "centre", value: word(s.Centre)},
		{name: "lanes", value: lanes},
		{name: "note", value: word(s.Note), detail: true},
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
		{name: "pass", value: percent(d.PassShare), right: true},
		{name: "pattern", value: pattern},
		{name: "rules", value: strings.Join(sentencesOf(d), "; ")},
		{name: "note", value: word(d.Note), detail: true},
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
		{name: "due", value: dayText(a.DueOn)},
		{name: "note", value: word(a.Note), detail: true},
	}, err
}

func joined[T any](values []T, separator string) string {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = fmt.Sprint(v)
	}
	return strings.Join(texts, separator)
}
