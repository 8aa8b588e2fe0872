package record

import (
	"github.com/google/uuid"
)

// Session is a time at the lanes: one athlete's practice, or a block the squad shares.
type Session struct {
	Head
	Form      string     `json:"kind"` // practice or block
	Name      string     `json:"name"`
	Date      Day        `json:"date"`
	Centre    string     `json:"centre,omitempty"`
	Lanes     []int32    `json:"lanes,omitempty"`
	PatternID *uuid.UUID `json:"pattern_id,omitempty"`
	AthleteID *uuid.UUID `json:"athlete_id,omitempty"` // whose session it is; nil when the squad shares it
	Note      string     `json:"note,omitempty"`
}

// Kind is [KindSession].
func (*Session) Kind() Kind { return KindSession }

// Owner is the athlete whose session it is; nil when it is shared.
func (s *Session) Owner() *uuid.UUID { return s.AthleteID }

// Parents are the pattern and the athlete, if named.
func (s *Session) Parents() []Ref {
	return append(
		optionalRef(KindPattern, s.PatternID, "/pattern_id"),
		optionalRef(KindAthlete, s.AthleteID, "/athlete_id")...)
}

// Faults lists what is wrong with the record.
func (s *Session) Faults() []Fault {
	var f Faults
	f.name(s.Name)
	f.note(s.Note)
	f.Add(
		s.Form != "practice" && s.Form != "block",
		"/kind",
		"unknown",
		"%q is not a kind of session: write practice or block",
		s.Form,
	)
	f.Add(
		s.Date.Year() < 1900 || s.Date.Year() > 2199,
		"/date",
		"required",
		"give the day of the session, such as 2026-03-14",
	)
	f.line(s.Centre, "/centre")
	for _, lane := range s.Lanes {
		f.Add(lane < 1 || lane > 999, "/lanes", "range", "%d is not a lane: lanes are numbered 1 to 999", lane)
	}
	return f
}
