package service

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/picture"
)

// What the pages show and no single record holds: a drill with every athlete's lane, a session's
// lanes, a pattern's film.

// LaneScore is how one athlete stands against a drill, and their lane: what the drill's board rule
// allows and the judged shots over it. The lane has neither title nor caption, and no width.
type LaneScore struct {
	Score
	Lane picture.Lane
}

// DrillLanes is [Service.Adherence] with each athlete's lane, read at one moment.
func (s *Service) DrillLanes(
	ctx context.Context,
	user, squad uuid.UUID,
	query DrillQuery,
) (record *DrillRecord, lanes []LaneScore, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		lanes = nil
		tasks, err := w.drillTasks(ctx, query)
		if err != nil {
			return err
		}
		record = tasks.drill
		asked := record.Drill()
		for _, task := range tasks.athletes {
			shots, err := w.shotsFor(ctx, query, task)
			if err != nil {
				return err
			}
			plain := plainShots(shots)
			judgements := asked.Judge(plain)
			score := Score{
				Athlete:   task.athlete,
				From:      task.from,
				To:        task.to,
				Assigned:  task.assigned,
				Adherence: asked.Score(plain, judgements),
			}
			lanes = append(
				lanes,
				LaneScore{Score: score, Lane: drillLane(record, task.athlete.Side, together(shots, judgements))},
			)
		}
		return nil
	})
	return record, lanes, err
}

// SessionLane is what one athlete threw in a session: the lane with the breakpoint of each shot
// that has one, over the session's pattern when it is known. Like [LaneScore]'s it has no words.
type SessionLane struct {
	Athlete           *AthleteRecord
	Shots, Strikes    int
	StrikesKnown      int // of the shots, those whose standing pins were recorded
	WithoutBreakpoint int // of the shots, those without a measured breakpoint, which are not drawn
	Lane              picture.Lane
}

// SessionLanes draws each athlete's shots of a session, athletes in order of their names.
func (s *Service) SessionLanes(ctx context.Context, user, squad, session uuid.UUID) (lanes []SessionLane, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		lanes = nil
		found, err := w.get(ctx, KindSession, session)
		if err != nil {
			return err
		}
		film, err := w.filmOf(ctx, found.(*SessionRecord).PatternID)
		if err != nil {
			return err
		}
		shots, err := w.allShotsOf(ctx, session)
		if err != nil {
			return err
		}
		lanes, err = w.sessionLanes(ctx, shots, film)
		return err
	})
	return lanes, err
}

// allShotsOf reads a session's shots by athlete and order.
func (w *work) allShotsOf(ctx context.Context, session uuid.UUID) ([]*ShotRecord, error) {
	found, err := w.ShotsOfSession(
		ctx,
		db.ShotsOfSessionParams{SquadID: w.squad, SessionID: session, Athlete: w.athlete, MaxRows: maxDrillShots},
	)
	if err != nil {
		return nil, err
	}
	shots := make([]*ShotRecord, len(found))
	for i, row := range found {
		record, _, err := shotOf(row)
		if err != nil {
			return nil, err
		}
		shots[i] = record.(*ShotRecord)
	}
	return shots, nil
}

func (w *work) sessionLanes(ctx context.Context, shots []*ShotRecord, film *picture.Film) ([]SessionLane, error) {
	byAthlete := make(map[uuid.UUID][]*ShotRecord)
	var ids []uuid.UUID
	for _, s := range shots {
		if len(byAthlete[s.AthleteID]) == 0 {
			ids = append(ids, s.AthleteID)
		}
		byAthlete[s.AthleteID] = append(byAthlete[s.AthleteID], s)
	}
	athletes, err := stores[KindAthlete].byIDs(ctx, w.Tx, w.squad, ids, w.athlete)
	if err != nil {
		return nil, err
	}
	lanes := make([]SessionLane, len(athletes))
	for i, one := range athletes {
		lanes[i] = sessionLane(one.Record.(*AthleteRecord), byAthlete[one.Key()], film)
	}
	slices.SortFunc(lanes, func(a, b SessionLane) int { return compareNames(a.Athlete, b.Athlete) })
	return lanes, nil
}

func sessionLane(athlete *AthleteRecord, shots []*ShotRecord, film *picture.Film) SessionLane {
	one := SessionLane{Athlete: athlete, Shots: len(shots), Lane: picture.Lane{Side: athlete.Side, Film: film}}
	for _, s := range shots {
		if s.Standing != nil {
			one.StrikesKnown++
			if s.Standing.Strike() {
				one.Strikes++
			}
		}
		if s.BreakpointBoard == nil {
			one.WithoutBreakpoint++
			continue
		}
		mark := picture.Mark{Board: *s.BreakpointBoard, Ft: placeFt(drill.Rule{At: drill.Breakpoint}, &s.Shot)}
		mark.Label = fmt.Sprintf("shot %d: breakpoint on board %.4g", s.Order, mark.Board)
		one.Lane.Shots = append(one.Lane.Shots, mark)
	}
	return one
}

// Pattern returns a pattern with its film; the film is nil when neither a load table nor a film map
// is known.
func (s *Service) Pattern(
	ctx context.Context,
	user, squad, id uuid.UUID,
) (record *PatternRecord, film *oil.Film, err error) {
	found, err := s.Get(ctx, user, squad, KindPattern, id)
	if err != nil {
		return nil, nil, err
	}
	record = found.(*PatternRecord)
	film, err = record.oilFilm()
	return record, film, err
}

// oilFilm is the film a pattern lays; nil when nothing is known of it but its length.
func (p *PatternRecord) oilFilm() (*oil.Film, error) {
	switch {
	case len(p.Loads) > 0:
		film, err := oil.Table{Name: p.Name, Loads: p.Loads}.Film()
		if err != nil {
			return nil, fmt.Errorf("lay pattern %s: %w", p.ID, err)
		}
		return film, nil
	case len(p.Film) == lane.Boards:
		film := &oil.Film{Name: p.Name, LengthFt: p.LengthFt}
		for board := range p.Film {
			copy(film.UL[board][:], p.Film[board])
		}
		return film, nil
	}
	return nil, nil //nolint:nilnil // a pattern may be known by its length only
}

// filmOf is what lies on the lane under a session's shots; nil when the session names no pattern,
// or one without a film.
func (w *work) filmOf(ctx context.Context, pattern *uuid.UUID) (*picture.Film, error) {
	if pattern == nil {
		return nil, nil //nolint:nilnil // nothing is known to lie there
	}
	found, err := w.get(ctx, KindPattern, *pattern)
	if err != nil {
		return nil, err
	}
	film, err := found.(*PatternRecord).oilFilm()
	if err != nil || film == nil {
		return nil, err
	}
	return &picture.Film{UL: film.UL}, nil
}
