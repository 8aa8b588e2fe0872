package service

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/advice"
	"laneward/service/drill"
	"laneward/service/record"
	"laneward/service/shot"
	"laneward/service/tenpin"
)

// Score is how well one athlete keeps a drill.
type Score struct {
	Athlete   *record.Athlete
	From, To  *record.Day // the days whose sessions count; nil open, and both nil when one session was asked for
	Assigned  bool
	Adherence drill.Adherence
	Leaves    tenpin.LeaveReport
}

// DrillScores is a drill and how well its athletes keep it.
type DrillScores struct {
	Drill  *record.Drill
	Scores []Score
}

// DrillQuery asks for scores: of one drill, and if set of one athlete or of one session only.
type DrillQuery struct {
	Drill   uuid.UUID
	Athlete *uuid.UUID
	Session *uuid.UUID
}

// maxDrillShots and maxDrillPoints bound what one score looks at: shots, and points of their tracks.
// maxJudgedShots bounds the list of judged shots, and a picture of them.
const (
	maxDrillShots  = 50_000
	maxDrillPoints = 2_000_000
	maxJudgedShots = 10_000
)

// Adherence judges the shots of each athlete the drill is assigned to, in sessions held from the
// day of assignment to the day it is due. Shots thrown for another drill do not count; shots that
// name no drill do.
func (s *Service) Adherence(
	ctx context.Context,
	user, squad uuid.UUID,
	query DrillQuery,
) (result DrillScores, err error) {
	err = s.judge(ctx, user, func() error {
		tasks, err := s.readTasks(ctx, user, squad, query)
		if err != nil {
			return err
		}
		result.Drill = tasks.drill
		for _, task := range tasks.athletes {
			if query.Session != nil && query.Athlete == nil && len(task.shots) == 0 {
				continue // they were not in that session
			}
			score, _ := task.judge(tasks.drill.Drill())
			result.Scores = append(result.Scores, score)
		}
		return ctx.Err()
	})
	return result, err
}

// Judgements judges one athlete's shots for a drill one by one, in the order thrown.
func (s *Service) Judgements(
	ctx context.Context,
	user, squad uuid.UUID,
	query DrillQuery,
) (scores DrillScores, judged []advice.JudgedShot, err error) {
	err = s.judge(ctx, user, func() error {
		scores, judged, err = s.judgements(ctx, user, squad, query)
		return err
	})
	return scores, judged, err
}

func (s *Service) judgements(
	ctx context.Context,
	user, squad uuid.UUID,
	query DrillQuery,
) (scores DrillScores, judged []advice.JudgedShot, err error) {
	tasks, err := s.readTasks(ctx, user, squad, query)
	if err != nil {
		return scores, nil, err
	}
	if n := len(tasks.athletes[0].shots); n > maxJudgedShots {
		return scores, nil, fail(
			Invalid, "%d shots count for this drill, and at most %d are listed: ask for one session", n, maxJudgedShots,
		)
	}
	score, judged := tasks.athletes[0].judge(tasks.drill.Drill())
	return DrillScores{Drill: tasks.drill, Scores: []Score{score}}, judged, nil
}

// task is what one athlete was asked to do, the drill between two days, and the shots that count.
type task struct {
	athlete  *record.Athlete
	from, to *record.Day
	assigned bool
	shots    []*record.Shot
	// earlier is what shots that were changed since said before their last change, by id.
	earlier map[uuid.UUID]shot.Shot
}

// judge scores an athlete's shots against the drill they were asked to throw, as it reads for their
// side.
func (t task) judge(asked drill.Drill) (Score, []advice.JudgedShot) {
	asked = asked.For(t.athlete.Side)
	plain := make([]shot.Shot, len(t.shots))
	for i, one := range t.shots {
		plain[i] = one.Shot
	}
	judgements := asked.Judge(plain)
	judged := make([]advice.JudgedShot, len(plain))
	for i, judgement := range judgements {
		judged[i] = advice.JudgedShot{Shot: t.shots[i], Judgement: judgement}
	}
	score := Score{Athlete: t.athlete, From: t.from, To: t.to, Assigned: t.assigned}
	score.Adherence = asked.Score(plain, judgements)
	score.Leaves = leaveWeights.Report(leavesOf(t.athlete.Side, plain, judgements), true)
	if len(t.earlier) > 0 {
		before := slices.Clone(plain)
		for i := range before {
			if was, ok := t.earlier[before[i].ID]; ok {
				before[i] = was
			}
		}
		score.Adherence.Withdraw(asked.Score(before, asked.Judge(before)).Verdict)
	}
	return score, judged
}

type drillTasks struct {
	drill    *record.Drill
	athletes []task
}

// readTasks reads a query's tasks from one snapshot. They are judged afterwards, so that no
// connection is held meanwhile.
func (s *Service) readTasks(
	ctx context.Context,
	user, squad uuid.UUID,
	query DrillQuery,
) (tasks drillTasks, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		if tasks, err = w.drillTasks(ctx, query); err != nil {
			return err
		}
		for i, task := range tasks.athletes {
			if task.shots, err = w.shotsFor(ctx, query, task); err != nil {
				return err
			}
			if task.earlier, err = w.earlierShots(ctx, task.shots); err != nil {
				return err
			}
			tasks.athletes[i] = task
		}
		return nil
	})
	return tasks, err
}

// earlierShots reads the previous version of each shot that was changed.
func (w *work) earlierShots(ctx context.Context, shots []*record.Shot) (map[uuid.UUID]shot.Shot, error) {
	ids := make([]uuid.UUID, len(shots))
	for i, one := range shots {
		ids[i] = one.ID
	}
	replaced, err := w.ReplacedOf(ctx, db.ReplacedOfParams{SquadID: w.squad, Kind: string(record.KindShot), IDs: ids})
	if err != nil {
		return nil, err
	}
	earlier := make(map[uuid.UUID]shot.Shot, len(replaced))
	for _, was := range replaced {
		var one shot.Shot
		if err := json.Unmarshal(was.Body, &one); err != nil {
			return nil, fmt.Errorf("read the history of shot %s: %w", was.ID, err)
		}
		earlier[was.ID] = one
	}
	return earlier, nil
}

// drillTasks finds the drill and whom it is assigned to. An athlete asked for by id is included
// even without an assignment.
func (w *work) drillTasks(ctx context.Context, query DrillQuery) (tasks drillTasks, err error) {
	found, err := w.get(ctx, record.KindDrill, query.Drill)
	if err != nil {
		return tasks, err
	}
	tasks.drill = found.(*record.Drill)
	if query.Session != nil {
		if _, err := w.get(ctx, record.KindSession, *query.Session); err != nil {
			return tasks, err
		}
	}
	only := query.Athlete
	if w.athlete != nil {
		if only != nil && *only != *w.athlete {
			return tasks, fail(NotFound, "there is no athlete %s in the squad, or you may not see it", *only)
		}
		only = w.athlete
	}
	assignments, err := w.AssignmentsOfDrill(
		ctx,
		db.AssignmentsOfDrillParams{SquadID: w.squad, DrillID: query.Drill, Athlete: only},
	)
	if err != nil {
		return tasks, err
	}
	spans := spansOf(assignments)
	ids := make([]uuid.UUID, 0, len(spans)+1)
	for id := range spans {
		ids = append(ids, id)
	}
	if only != nil && len(ids) == 0 {
		ids = append(ids, *only)
	}
	records, err := stores[record.KindAthlete].byIDs(ctx, w.Tx, w.squad, ids, w.athlete)
	if err != nil {
		return tasks, err
	}
	if only != nil && len(records) == 0 {
		return tasks, fail(NotFound, "there is no athlete %s in the squad, or you may not see it", *only)
	}
	for _, rec := range records {
		one := task{athlete: rec.Record.(*record.Athlete)}
		if span, ok := spans[rec.Key()]; ok {
			one.assigned = true
			if query.Session == nil {
				one.from, one.to = dayPointer(&span.From), dayPointer(span.To)
			}
		}
		tasks.athletes = append(tasks.athletes, one)
	}
	slices.SortFunc(tasks.athletes, func(a, b task) int { return compareNames(a.athlete, b.athlete) })
	return tasks, nil
}

// spansOf joins the assignments of each athlete.
func spansOf(assignments []db.Assignment) map[uuid.UUID]*drill.Span {
	spans := make(map[uuid.UUID]*drill.Span)
	for _, a := range assignments {
		spans[a.AthleteID] = drill.Join(spans[a.AthleteID], a.AssignedOn, a.DueOn)
	}
	return spans
}

func compareNames(a, b *record.Athlete) int {
	switch {
	case a.Name < b.Name:
		return -1
	case a.Name > b.Name:
		return 1
	}
	return slices.Compare(a.ID[:], b.ID[:])
}

// shotsFor reads the shots that count for a task. An athlete the drill is not assigned to is judged
// only on the shots that name it.
func (w *work) shotsFor(ctx context.Context, query DrillQuery, task task) ([]*record.Shot, error) {
	params := db.ShotsForDrillParams{
		SquadID:   w.squad,
		AthleteID: task.athlete.ID,
		DrillID:   query.Drill,
		SessionID: query.Session,
		MaxRows:   maxDrillShots + 1,
		OnlyNamed: !task.assigned && query.Session == nil,
		FromDay:   timePointer(task.from),
		ToDay:     timePointer(task.to),
	}
	found, err := w.ShotsForDrill(ctx, params)
	if err != nil {
		return nil, err
	}
	if len(found) > maxDrillShots {
		return nil, fail(Invalid, "more than %d shots count for this drill: ask for one session", maxDrillShots)
	}
	shots, points := make([]*record.Shot, len(found)), 0
	for i, row := range found {
		rec, _, err := shotOf(row)
		if err != nil {
			return nil, err
		}
		shots[i] = rec.(*record.Shot)
		points += len(shots[i].Track)
	}
	if points > maxDrillPoints {
		return nil, fail(
			Invalid, "the shots for this drill have more than %d points of track: ask for one session", maxDrillPoints,
		)
	}
	return shots, nil
}

// ReadSentence reads rules from an English sentence, with the names of the squad's balls, and
// writes them back in words.
func (s *Service) ReadSentence(
	ctx context.Context,
	user, squad uuid.UUID,
	sentence string,
) (reading drill.Reading, written []string, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		names := make(drill.BallNames)
		err := w.each(ctx, record.KindBall, w.athlete, func(r record.Record) error {
			names[r.Key()] = r.(*record.Ball).Name
			return nil
		})
		if err != nil {
			return err
		}
		if reading, err = drill.Read(sentence, names); err != nil {
			return &Error{
				Code:   Invalid,
				Detail: err.Error(),
				Faults: []record.Fault{{Pointer: "/sentence", Code: "sentence", Detail: err.Error()}},
			}
		}
		written = reading.Sentences(names)
		return nil
	})
	return reading, written, err
}

// Shots lists a session's shots by athlete and order, after a place in that order.
func (s *Service) Shots(
	ctx context.Context,
	user, squad, session uuid.UUID,
	after ShotPlace,
	limit int,
) (list []*record.Shot, next *ShotPlace, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		if _, err := w.get(ctx, record.KindSession, session); err != nil {
			return err
		}
		found, err := w.ShotsOfSession(ctx, db.ShotsOfSessionParams{
			SquadID:      squad,
			SessionID:    session,
			Athlete:      w.athlete,
			AfterAthlete: after.Athlete,
			AfterOrder:   int32(after.Order), //nolint:gosec // at most shot.MaxOrder
			AfterID:      after.ID,
			MaxRows:      int32(limit + 1), //nolint:gosec // at most 1001
		})
		if err != nil {
			return err
		}
		list, next = nil, nil
		if len(found) > limit {
			found = found[:limit]
			last := found[limit-1]
			next = &ShotPlace{last.AthleteID, int(last.ShotOrder), last.ID}
		}
		for _, row := range found {
			rec, _, err := shotOf(row)
			if err != nil {
				return err
			}
			list = append(list, rec.(*record.Shot))
		}
		return nil
	})
	return list, next, err
}

// ShotPlace is a place in the order of a session's shots.
type ShotPlace struct {
	Athlete uuid.UUID `json:"a"`
	Order   int       `json:"o"`
	ID      uuid.UUID `json:"i"`
}
