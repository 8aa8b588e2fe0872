package client

import "laneward/openapi"

// Kind is a kind of record that a squad keeps.
type Kind string

// The kinds of record.
const (
	Athlete    = Kind(openapi.KindAthlete)
	Ball       = Kind(openapi.KindBall)
	Pattern    = Kind(openapi.KindPattern)
	Session    = Kind(openapi.KindSession)
	Drill      = Kind(openapi.KindDrill)
	Assignment = Kind(openapi.KindAssignment)
	Shot       = Kind(openapi.KindShot) // of a session: listed by [Client.Shots], stored by [Client.Upload]
)

// Kinds are the kinds a squad lists and adds to one by one, those that others refer to first.
var Kinds = []Kind{Athlete, Ball, Pattern, Session, Drill, Assignment}

// Plural is the kind's name in the plural.
func (k Kind) Plural() string { return string(k) + "s" }
