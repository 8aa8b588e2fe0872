package advice

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"laneward/service/lane"
	"laneward/service/line"
	"laneward/service/oil"
	"laneward/service/record"
	"laneward/service/shot"
)

// WearReport says how a film was worn. The four numbers of Wear are assumptions: no one has
// published a measurement of them.
type WearReport struct {
	oil.Wear
	SessionID *uuid.UUID `json:"session_id,omitempty"`
	// Passes are the balls that wore the film; PassesLeftOut are shots of the session that were
	// seen in fewer than two places.
	Passes        int     `json:"passes"`
	PassesLeftOut int     `json:"passes_left_out"`
	OnBallsUL     float64 `json:"on_balls_ul"`
	LiftedUL      float64 `json:"lifted_ul"`
	LaidDownUL    float64 `json:"laid_down_ul"`
	// Where on the lane: index j is j to j+1 ft. What was laid down is the carry-down.
	LiftedFootUL   [oil.Rows]float64 `json:"lifted_foot_ul"`
	LaidDownFootUL [oil.Rows]float64 `json:"laid_down_foot_ul"`
}

// WornBy asks for a film as shots have left it. With a session it is its shots, in their order: the
// first Shots of them unless that is 0, and only those of the athlete and the ball given. Without a
// session it is so many shots of the plan's own athlete and ball as they scatter along the line
// given, or along the best one on the fresh film.
type WornBy struct {
	Session *uuid.UUID
	Athlete *uuid.UUID
	Ball    *uuid.UUID
	Shots   int
	// LaydownBoard and LaunchAngleDeg are the line, both or neither.
	LaydownBoard, LaunchAngleDeg *float64
}

// Faults lists what is wrong with the request.
func (b WornBy) Faults() []record.Fault {
	var f record.Faults
	f.Add(
		b.Session == nil && b.Shots < 1,
		"/subject/worn",
		"required",
		"name the session whose shots wear the film, or how many shots",
	)
	f.Add(b.Shots < 0 || b.Shots > MaxWornShots, "/subject/worn/shots", "range", "is outside 1 to %d", MaxWornShots)
	f.Add(
		(b.LaydownBoard == nil) != (b.LaunchAngleDeg == nil),
		"/subject/worn",
		"required",
		"give both laydown_board and launch_angle_deg, or neither",
	)
	f.Add(
		b.Session != nil && b.LaydownBoard != nil,
		"/subject/worn/laydown_board",
		"mismatch",
		"a session's shots have lines of their own: leave it out, or leave the session out",
	)
	f.Add(
		b.Session == nil && b.Athlete != nil,
		"/subject/worn/athlete_id",
		"mismatch",
		"without a session it is the plan's own athlete who wears the film: leave it out",
	)
	f.Add(
		b.Session == nil && b.Ball != nil,
		"/subject/worn/ball_id",
		"mismatch",
		"without a session it is the plan's own ball that wears the film: leave it out",
	)
	return f
}

// aim is the line the shots are thrown along; nil for the best one.
func (b WornBy) aim() *line.Aim {
	if b.LaydownBoard == nil || b.LaunchAngleDeg == nil {
		return nil
	}
	return &line.Aim{LaydownBoard: *b.LaydownBoard, LaunchAngleDeg: *b.LaunchAngleDeg}
}

// MaxWornShots bounds how many shots wear a film.
const MaxWornShots = 4096

// SessionShots are the shots of a session that may wear a film.
type SessionShots struct {
	Session *record.Session
	Shots   []*record.Shot // by athlete and order
	Sides   map[uuid.UUID]lane.Side
	Partial bool // the reader may not see the others' shots
}

// wear wears a film by the shots asked for. notes are sentences on what was assumed.
func (s SessionShots) wear(
	film *oil.Film,
	by WornBy,
	pattern uuid.UUID,
) (worn *oil.Film, report *WearReport, notes []string, err error) {
	shots := s.chosen(by)
	tracks := make([]oil.Track, 0, len(shots))
	for _, one := range shots {
		if track := seenTrack(&one.Shot, s.Sides[one.AthleteID]); track != nil {
			tracks = append(tracks, track)
		}
	}
	worn, report, err = wearDown(film, tracks)
	if err != nil {
		return nil, nil, nil, err
	}
	report.SessionID, report.PassesLeftOut = by.Session, len(shots)-len(tracks)
	notes = append(notes, wearNotes(report, fmt.Sprintf("the shots of the session %q", s.Session.Name))...)
	if s.Session.PatternID == nil || *s.Session.PatternID != pattern {
		notes = append(
			notes,
			fmt.Sprintf(
				"The session %q was not held on this pattern, as far as is known: its shots wear it as if it had been.",
				s.Session.Name,
			),
		)
	}
	notes = append(
		notes,
		"All shots are taken to have been thrown on one lane, the athletes taking turns, straight between the places where the ball was seen.",
	)
	if s.Partial {
		notes = append(
			notes,
			"Only your own shots of the session are known to you: those of the others wore nothing here.",
		)
	}
	return worn, report, notes, nil
}

// chosen are the shots asked for, in the order thrown: the athletes take turns, because device
// clocks order nothing.
func (s SessionShots) chosen(by WornBy) []*record.Shot {
	shots := slices.DeleteFunc(slices.Clone(s.Shots), func(s *record.Shot) bool {
		return by.Athlete != nil && s.AthleteID != *by.Athlete ||
			by.Ball != nil && (s.BallID == nil || *s.BallID != *by.Ball)
	})
	slices.SortStableFunc(shots, func(a, b *record.Shot) int { return cmp.Compare(a.Order, b.Order) })
	limit := MaxWornShots
	if by.Shots > 0 {
		limit = min(by.Shots, limit)
	}
	return shots[:min(len(shots), limit)]
}

// wearDown wears a film by the assumptions.
func wearDown(film *oil.Film, tracks []oil.Track) (*oil.Film, *WearReport, error) {
	wear := oil.AssumedWear()
	worn, err := wear.After(film, tracks)
	if err != nil {
		return nil, nil, fmt.Errorf("wear the film: %w", err)
	}
	return worn.Film, &WearReport{
		Wear:           wear,
		Passes:         worn.Passes,
		OnBallsUL:      worn.OnBallsUL,
		LiftedUL:       worn.LiftedUL,
		LaidDownUL:     worn.LaidDownUL,
		LiftedFootUL:   worn.LiftedFootUL,
		LaidDownFootUL: worn.LaidDownFootUL,
	}, nil
}

func wearNotes(report *WearReport, by string) []string {
	notes := []string{
		fmt.Sprintf(
			"The film is worn by %s (%s). How a ball wears oil is assumed, not measured: it touches %g boards, lifts %.0f %% of the film there, "+
				"keeps %.0f %% of that and lays the rest down over a mean of %g ft.",
			by,
			countOf(report.Passes, "pass", "passes"),
			report.StripBoards,
			100*report.LiftShare,
			100*report.KeepShare,
			report.CarryFt,
		),
	}
	if report.PassesLeftOut > 0 {
		notes = append(
			notes,
			countOf(report.PassesLeftOut, "shot was", "shots were")+" seen in fewer than two places and wore nothing.",
		)
	}
	return notes
}

// seenTrack is where a shot's ball was seen, in the lane's own boards; nil when in fewer than two
// places. Points seen twice count once, a track before single boards.
func seenTrack(s *shot.Shot, side lane.Side) oil.Track {
	var seen []shot.TrackPoint
	add := func(ft float64, board *float64) {
		if board != nil {
			seen = append(seen, shot.TrackPoint{Ft: ft, Board: *board})
		}
	}
	seen = append(seen, s.Track...)
	add(0, s.LaydownBoard)
	add(lane.ArrowsFt, s.ArrowsBoard)
	if s.BreakpointFt != nil {
		add(*s.BreakpointFt, s.BreakpointBoard)
	}
	add(lane.LengthFt, s.EntryBoard)
	slices.SortStableFunc(seen, func(a, b shot.TrackPoint) int { return cmp.Compare(a.Ft, b.Ft) })
	seen = slices.CompactFunc(seen, func(a, b shot.TrackPoint) bool { return a.Ft == b.Ft })
	if len(seen) < 2 {
		return nil
	}
	track := make(oil.Track, len(seen))
	for i, point := range seen {
		track[i] = oil.TrackPoint{Ft: point.Ft, X: side.X(point.Board)}
	}
	return track
}
