package record

import (
	"strconv"

	"github.com/google/uuid"

	"laneward/service/shot"
)

// Shot is one logged shot of the squad.
type Shot struct {
	shot.Shot
	Rev    int64  `json:"rev,omitempty"`
	Proven string `json:"-"`
}

// Kind is [KindShot].
func (*Shot) Kind() Kind { return KindShot }

// Key returns the shot's id.
func (s *Shot) Key() uuid.UUID { return s.ID }

// Revision returns the revision the shot was read at; 0 when it is new.
func (s *Shot) Revision() int64 { return s.Rev }

// Stamp sets the id and the revision.
func (s *Shot) Stamp(id uuid.UUID, rev int64) { s.ID, s.Rev = id, rev }

// Proof returns what proves the revision.
func (s *Shot) Proof() string { return s.Proven }

// Prove sets what proves the revision.
func (s *Shot) Prove(word string) { s.Proven = word }

// AppendRecord appends the record as encoding/json writes it.
func (s *Shot) AppendRecord(b []byte) []byte {
	b = s.AppendJSON(b)
	if s.Rev != 0 {
		b = strconv.AppendInt(append(b, `,"rev":`...), s.Rev, 10)
	}
	return append(b, '}')
}

// Owner is the athlete who threw it.
func (s *Shot) Owner() *uuid.UUID { return &s.AthleteID }

// Parents are the session and the athlete, and the ball and the drill if named.
func (s *Shot) Parents() []Ref {
	refs := make([]Ref, 2, 4)
	refs[0] = Ref{KindSession, s.SessionID, "/session_id"}
	refs[1] = Ref{KindAthlete, s.AthleteID, "/athlete_id"}
	if s.BallID != nil {
		refs = append(refs, Ref{KindBall, *s.BallID, "/ball_id"})
	}
	if s.DrillID != nil {
		refs = append(refs, Ref{KindDrill, *s.DrillID, "/drill_id"})
	}
	return refs
}

// Faults lists what is wrong with the shot. A missing id is not a fault.
func (s *Shot) Faults() []Fault {
	checked := s.Shot
	if checked.ID == uuid.Nil {
		checked.ID = uuid.Max // it gets one when it is stored
	}
	return ShotFaults(shot.Validate(checked))
}

// ShotFaults are the faults of a shot, in the words of a record.
func ShotFaults(found []shot.Fault) []Fault {
	var f Faults
	for _, fault := range found {
		pointer := ""
		if fault.Field != "" { // else it is the row as a whole
			pointer = "/" + fault.Field
		}
		f.Add(true, pointer, string(fault.Code), "%s", fault.Detail)
	}
	return f
}
