package record

import (
	"errors"

	"github.com/google/uuid"

	"laneward/service/drill"
)

// Drill is what a coach asks for: rules, how many shots, and the share of them that should
// keep the rules.
type Drill struct {
	Head
	Name      string       `json:"name"`
	Rules     []drill.Rule `json:"rules"`
	Reps      int32        `json:"reps"`
	PassShare float64      `json:"pass_share"`
	PatternID *uuid.UUID   `json:"pattern_id,omitempty"`
	Note      string       `json:"note,omitempty"`
	// Model names what computed the drill, such as motion-2; "" for one that a person wrote.
	Model string `json:"model,omitempty"`
	// Sentences are the rules in words, one each: written for the reader of the drill, never
	// stored, ignored when sent.
	Sentences []string `json:"sentences,omitempty"`
}

// Kind is [KindDrill].
func (*Drill) Kind() Kind { return KindDrill }

// Owner is nil: it is the squad's.
func (*Drill) Owner() *uuid.UUID { return nil }

// Parents is the pattern, if named.
func (d *Drill) Parents() []Ref { return optionalRef(KindPattern, d.PatternID, "/pattern_id") }

// Drill is the record in the form that the scoring takes.
func (d *Drill) Drill() drill.Drill {
	return drill.Drill{Rules: d.Rules, Reps: int(d.Reps), PassShare: d.PassShare}
}

// Faults lists what is wrong with the record, each rule's faults among them.
func (d *Drill) Faults() []Fault {
	var f Faults
	f.name(d.Name)
	f.note(d.Note)
	f.line(d.Model, "/model")
	return append(f, ruleFaults(d.Drill().Validate())...)
}

// ruleFaults are the faults of a drill or a rule, in this package's words.
func ruleFaults(err error) []Fault {
	var found drill.Faults
	if !errors.As(err, &found) {
		return nil
	}
	list := make([]Fault, len(found))
	for i, fault := range found {
		list[i] = Fault{Pointer: fault.Pointer, Code: "rule", Detail: fault.Detail}
	}
	return list
}

// Assignment gives a drill to an athlete.
type Assignment struct {
	Head
	DrillID    uuid.UUID `json:"drill_id"`
	AthleteID  uuid.UUID `json:"athlete_id"`
	AssignedOn Day       `json:"assigned_on"`
	DueOn      *Day      `json:"due_on,omitempty"`
	Note       string    `json:"note,omitempty"`
}

// Kind is [KindAssignment].
func (*Assignment) Kind() Kind { return KindAssignment }

// Owner is the athlete.
func (a *Assignment) Owner() *uuid.UUID { return &a.AthleteID }

// Parents are the drill and the athlete.
func (a *Assignment) Parents() []Ref {
	return []Ref{{KindDrill, a.DrillID, "/drill_id"}, {KindAthlete, a.AthleteID, "/athlete_id"}}
}

// Faults lists what is wrong with the record.
func (a *Assignment) Faults() []Fault {
	var f Faults
	f.note(a.Note)
	f.Add(
		a.AssignedOn.Year() < 1900,
		"/assigned_on",
		"required",
		"give the day from which shots count, such as 2026-03-14",
	)
	f.Add(a.DueOn != nil && a.DueOn.Before(a.AssignedOn.Time), "/due_on", "range", "lies before the day of assignment")
	return f
}

// AssignmentID is the id of a drill's assignment to an athlete from a day on, so that assigning it
// again is recognised as the same.
func AssignmentID(drill, athlete uuid.UUID, from Day) uuid.UUID {
	return uuid.NewSHA1(drill, append(athlete[:], from.String()...))
}
