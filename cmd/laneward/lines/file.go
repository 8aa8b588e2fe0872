package lines

import (
	"cmp"
	"encoding/json"
	"errors"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/record"
)

// Subject is a film from a file and who plays it. It needs no server: its records are made of what
// it says, with ids that follow from that.
type Subject struct {
	Film *oil.Film
	Delivery
	// Query is what is asked; the records that it names and the athlete's own are filled in.
	Query advice.Query
}

// Planner makes the planner of a subject. Flags are called by their names.
func (s Subject) Planner() (*advice.Planner, error) {
	if err := s.check(""); err != nil {
		return nil, err
	}
	return s.planner(s.query())
}

// Planners makes the planners of the two sides of a comparison, and says in what the second
// differs; its flags are those of the first after against-.
func (s Subject) Planners(other Subject) (a, b *advice.Planner, differs []string, err error) {
	if err := errors.Join(s.check(""), other.check(againstPrefix)); err != nil {
		return nil, nil, nil, err
	}
	first, second := s.query(), other.query()
	against := advice.Against{Pattern: &second.Pattern, Ball: second.Ball, Fresh: second.Worn == nil}
	if second.Athlete != first.Athlete {
		against.Athlete, against.ScatterBoards, against.Spares = &second.Athlete, second.ScatterBoards, second.Spares
	}
	second, differs = against.Apply(first)
	if len(differs) == 0 {
		return nil, nil, nil, terminal.Usage(
			"say what differs: another film with --against-film, another athlete such as with --against-mph, or --against-fresh",
		)
	}
	if a, err = s.planner(first); err != nil {
		return nil, nil, nil, err
	}
	b, err = other.planner(second)
	return a, b, differs, err
}

// againstPrefix begins the flags of the second side of a comparison.
const againstPrefix = "against-"

func (s Subject) query() advice.Query {
	query := s.Query
	query.Athlete, query.Pattern = s.athlete().ID, s.pattern().ID
	if ball := s.ball(); ball != nil {
		query.Ball = &ball.ID
	}
	query.ScatterBoards, query.Spares = s.ScatterBoards, s.Spares.Own()
	return query
}

func (s Subject) planner(query advice.Query) (*advice.Planner, error) {
	if faults := query.Faults(); len(faults) > 0 {
		return nil, record.Faults(faults)
	}
	return advice.NewPlanner(query, advice.Records{Athlete: s.athlete(), Ball: s.ball(), Pattern: s.pattern()})
}

// idOf is an id that follows from what something is.
func idOf(kind string, what ...any) uuid.UUID {
	text, _ := json.Marshal(what) //nolint:errchkjson // numbers, texts and maps of them can always be written
	return uuid.NewSHA1(uuid.NameSpaceURL, append([]byte(kind), text...))
}

func (s Subject) athlete() *record.Athlete {
	side := lane.Right
	if s.Side != nil {
		side = lane.Side(*s.Side)
	}
	athlete := &record.Athlete{
		Name:        cmp.Or(s.Name, advice.Unnamed),
		Side:        side,
		SpeedMPH:    s.MPH,
		RevRateRPM:  s.RPM,
		RotationDeg: s.RotDeg,
		TiltDeg:     s.TiltDeg,
		SlideOffset: s.SlideBoard,
	}
	own := []any{s.ScatterBoards, s.Spares.Own()}
	athlete.ID = idOf("athlete", s.Name, side, s.MPH, s.RPM, s.RotDeg, s.TiltDeg, s.SlideBoard, own)
	return athlete
}

// ball is the ball; nil for a typical one.
func (s Subject) ball() *record.Ball {
	if s.Ball == "" && s.GyrationIn == nil && s.Grit == nil {
		return nil
	}
	ball := &record.Ball{
		AthleteID:   s.athlete().ID,
		Name:        cmp.Or(s.Ball, "the ball"),
		RGIn:        s.GyrationIn,
		SurfaceGrit: s.Grit,
	}
	ball.ID = idOf("ball", s.Ball, s.GyrationIn, s.Grit)
	return ball
}

// pattern is the film as the pattern that lays it.
func (s Subject) pattern() *record.Pattern {
	pattern := &record.Pattern{Name: s.Film.Name, LengthFt: s.Film.LengthFt}
	for board := range s.Film.UL {
		pattern.Film = append(pattern.Film, s.Film.UL[board][:])
	}
	pattern.ID = idOf("pattern", s.Film.Name, s.Film.UL)
	return pattern
}
