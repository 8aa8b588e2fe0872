package record

import (
	"time"

	"github.com/google/uuid"
)

// Squad is the squad itself: the tenant everything else belongs to.
type Squad struct {
	Head
	Name     string    `json:"name"`
	TimeZone string    `json:"time_zone,omitempty"` // by its IANA name; "" is UTC
	Invented bool      `json:"invented,omitempty"`  // a made-up example, not real people
	Created  time.Time `json:"-"`
}

// Kind is [KindSquad].
func (*Squad) Kind() Kind { return KindSquad }

// Owner is nil: it is the squad's.
func (*Squad) Owner() *uuid.UUID { return nil }

// Parents is none.
func (*Squad) Parents() []Ref { return nil }

// Faults lists what is wrong with the record.
func (s *Squad) Faults() []Fault {
	var f Faults
	f.name(s.Name)
	_, err := time.LoadLocation(s.TimeZone)
	f.Add(
		err != nil || s.TimeZone == "Local",
		"/time_zone",
		"unknown",
		"%q is not a time zone: write its IANA name, such as Europe/Berlin, or UTC",
		s.TimeZone,
	)
	return f
}

// Location is the squad's time zone.
func (s *Squad) Location() (*time.Location, error) { return time.LoadLocation(s.TimeZone) }

// Role is what a member may do in a squad.
type Role string

// The roles: a coach runs the squad, an athlete keeps their own records, an analyst reads
// everything.
const (
	RoleCoach   Role = "coach"
	RoleAthlete Role = "athlete"
	RoleAnalyst Role = "analyst"
)

// Member is a person's place in the squad.
type Member struct {
	Head
	UserID    uuid.UUID  `json:"user_id"`
	Name      string     `json:"name"`
	Role      Role       `json:"role"`
	AthleteID *uuid.UUID `json:"athlete_id,omitempty"` // the athlete this person is, for the role athlete only
}

// Kind is [KindMember].
func (*Member) Kind() Kind { return KindMember }

// Owner is the athlete the member is, if any.
func (m *Member) Owner() *uuid.UUID { return m.AthleteID }

// Parents is the athlete the member is, if any.
func (m *Member) Parents() []Ref { return optionalRef(KindAthlete, m.AthleteID, "/athlete_id") }

// Faults lists what is wrong with the record.
func (m *Member) Faults() []Fault {
	var f Faults
	f.name(m.Name)
	f.Add(
		m.Role != RoleCoach && m.Role != RoleAthlete && m.Role != RoleAnalyst,
		"/role",
		"unknown",
		"%q is not a role: write coach, athlete or analyst",
		m.Role,
	)
	f.Add(m.Role == RoleAthlete && m.AthleteID == nil, "/athlete_id", "required", "name the athlete this person is")
	f.Add(
		m.Role != RoleAthlete && m.AthleteID != nil,
		"/athlete_id",
		"mismatch",
		"belongs to the role athlete only: leave it out",
	)
	return f
}
