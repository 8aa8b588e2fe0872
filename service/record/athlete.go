package record

import (
	"github.com/google/uuid"

	"laneward/service/lane"
)

// Athlete is an athlete of the squad and how they typically throw. Nil numbers are not known.
type Athlete struct {
	Head
	Name            string    `json:"name"`
	Side            lane.Side `json:"side"`
	SpeedMPH        *float64  `json:"speed_mph,omitempty"`
	RevRateRPM      *float64  `json:"rev_rate_rpm,omitempty"`
	RotationDeg     *float64  `json:"rotation_deg,omitempty"`
	TiltDeg         *float64  `json:"tilt_deg,omitempty"`
	SlideOffset     *float64  `json:"slide_offset,omitempty"` // boards from the laydown to the slide foot, positive inside
	BornOn          *Day      `json:"born_on,omitempty"`
	GuardianName    *string   `json:"guardian_name,omitempty"`
	GuardianConsent *Day      `json:"guardian_consent,omitempty"`
	Note            string    `json:"note,omitempty"`
}

// Kind is [KindAthlete].
func (*Athlete) Kind() Kind { return KindAthlete }

// Owner is the athlete.
func (a *Athlete) Owner() *uuid.UUID { return &a.ID }

// Parents is none.
func (*Athlete) Parents() []Ref { return nil }

// Faults lists what is wrong with the record. The ranges catch typing mistakes (common practice, no
// source).
func (a *Athlete) Faults() []Fault {
	var f Faults
	f.name(a.Name)
	_, err := lane.ParseSide(string(a.Side))
	f.Add(err != nil, "/side", "unknown", "%v", err)
	f.within(a.SpeedMPH, 5, 30, "/speed_mph", "mph at launch")
	f.within(a.RevRateRPM, 0, 800, "/rev_rate_rpm", "rpm")
	f.within(a.RotationDeg, -30, 180, "/rotation_deg", "degrees of axis rotation")
	f.within(a.TiltDeg, -30, 90, "/tilt_deg", "degrees of axis tilt")
	f.within(a.SlideOffset, -20, 20, "/slide_offset", "boards")
	f.Add(a.BornOn != nil && a.BornOn.Year() < 1900, "/born_on", "range", "is before 1900: check the year")
	if a.GuardianName != nil {
		f.line(*a.GuardianName, "/guardian_name")
	}
	f.note(a.Note)
	return f
}
