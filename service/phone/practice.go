package phone

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"laneward/service/drill"
	"laneward/service/record"
	"laneward/service/shot"
)

// practiceRequest opens a practice: an athlete's shots as the device has them, and what they are
// judged by. The drill may be missing; sessions, assignments and balls may be those of others too.
type practiceRequest struct {
	Athlete     *record.Athlete      `json:"athlete"`
	Session     uuid.UUID            `json:"session"`
	Drill       *record.Drill        `json:"drill"`
	Sessions    []*record.Session    `json:"sessions"`
	Assignments []*record.Assignment `json:"assignments"`
	Balls       []*record.Ball       `json:"balls"`
	Shots       []shot.Shot          `json:"shots"`
}

// practice is an open one: its shots, and of a drill those that count, in order of delivery, as
// they were judged last.
type practice struct {
	session uuid.UUID
	days    map[uuid.UUID]time.Time // of the sessions
	names   drill.BallNames
	shots   []shot.Shot

	drill   *record.Drill
	asked   drill.Drill // as it reads for the athlete's side
	span    *drill.Span
	counted []shot.Shot
	judged  []drill.ShotJudgement
	verdict drill.DrillVerdict
}

// Standing is how an athlete's shots stand.
type Standing struct {
	// InSession are the shots of the session in order, and Numbers what each is called.
	InSession []uuid.UUID `json:"in_session"`
	Numbers   []string    `json:"numbers"`
	// Without a drill there is nothing below.
	Judged       map[uuid.UUID]JudgedShot `json:"judged,omitempty"`
	Score        *drill.ScoreReport       `json:"score,omitempty"`
	SessionScore *drill.ScoreReport       `json:"session_score,omitempty"`
	// Run is how many of the last shots were kept in a row.
	Run int `json:"run"`
}

// JudgedShot is what came of one shot.
type JudgedShot struct {
	Verdict         drill.Verdict           `json:"verdict"`
	ProbabilityKept float64                 `json:"probability_kept"`
	Doubt           string                  `json:"doubt,omitempty"`
	Rules           []drill.JudgementReport `json:"rules"`
}

// Corridor is the part of the lane's width, in boards as exact positions, that the rule with this
// index allows the next shot.
type Corridor struct {
	Rule int     `json:"rule"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Look is what a shot that is being logged would come to; Judged is nil where there is nothing to
// judge.
type Look struct {
	Judged    *JudgedShot `json:"judged"`
	Corridors []Corridor  `json:"corridors"`
}

type opened struct {
	Practice int `json:"practice"`
	Standing
}

func (e *Engine) open(request practiceRequest) (opened, error) {
	p := &practice{
		session: request.Session,
		days:    make(map[uuid.UUID]time.Time, len(request.Sessions)),
		names:   make(drill.BallNames, len(request.Balls)),
		shots:   request.Shots,
		drill:   request.Drill,
	}
	for _, session := range request.Sessions {
		p.days[session.ID] = session.Date.Time
	}
	for _, ball := range request.Balls {
		p.names[ball.ID] = ball.Name
	}
	if p.drill != nil {
		p.asked = p.drill.Drill()
		if request.Athlete != nil {
			p.asked = p.asked.For(request.Athlete.Side)
			p.span = spanOf(request.Assignments, p.drill.ID, request.Athlete.ID)
		}
	}
	e.opened++
	e.practices[e.opened] = p
	return opened{e.opened, p.stand()}, nil
}

// spanOf joins an athlete's assignments of a drill.
func spanOf(assignments []*record.Assignment, asked, athlete uuid.UUID) (span *drill.Span) {
	for _, one := range assignments {
		if one.DrillID != asked || one.AthleteID != athlete {
			continue
		}
		var due *time.Time
		if one.DueOn != nil {
			due = &one.DueOn.Time
		}
		span = drill.Join(span, one.AssignedOn.Time, due)
	}
	return span
}

type practiceNamed struct {
	Practice int `json:"practice"`
}

func (e *Engine) named(n practiceNamed) (*practice, error) {
	p, ok := e.practices[n.Practice]
	if !ok {
		return nil, fmt.Errorf("practice %d is not open", n.Practice)
	}
	return p, nil
}

func (e *Engine) close(request practiceNamed) (struct{}, error) {
	delete(e.practices, request.Practice)
	return struct{}{}, nil
}

type shotRequest struct {
	practiceNamed
	Shot shot.Shot `json:"shot"`
}

// replace puts a shot in the place of its older self, or adds it.
func (e *Engine) replace(request shotRequest) (Standing, error) {
	p, err := e.named(request.practiceNamed)
	if err != nil {
		return Standing{}, err
	}
	p.shots = append(p.without(request.Shot.ID), request.Shot)
	return p.stand(), nil
}

type removeRequest struct {
	practiceNamed
	ID uuid.UUID `json:"id"`
}

// remove takes a shot out.
func (e *Engine) remove(request removeRequest) (Standing, error) {
	p, err := e.named(request.practiceNamed)
	if err != nil {
		return Standing{}, err
	}
	p.shots = p.without(request.ID)
	return p.stand(), nil
}

func (p *practice) without(id uuid.UUID) []shot.Shot {
	return slices.DeleteFunc(p.shots, func(s shot.Shot) bool { return s.ID == id })
}

// stand judges all shots that count. A verdict that was reached before and no longer holds is told
// as withdrawn.
func (p *practice) stand() Standing {
	inSession := slices.DeleteFunc(slices.Clone(p.shots), func(s shot.Shot) bool { return s.SessionID != p.session })
	slices.SortFunc(inSession, p.compare)
	standing := Standing{
		InSession: ids(inSession),
		Numbers: shot.Numbers(inSession, func(s shot.Shot) (uuid.UUID, int, uuid.UUID) {
			return s.AthleteID, s.Order, s.ID
		}),
	}
	if p.drill == nil {
		return standing
	}
	p.counted = slices.DeleteFunc(slices.Clone(p.shots), func(s shot.Shot) bool { return !p.counts(s) })
	slices.SortFunc(p.counted, p.compare)
	p.judged = p.asked.Judge(p.counted)
	standing.Judged = make(map[uuid.UUID]JudgedShot, len(p.counted))
	var shots []shot.Shot // the session's
	var judged []drill.ShotJudgement
	for i, one := range p.counted {
		standing.Judged[one.ID] = judgedShot(p.judged[i])
		if one.SessionID == p.session {
			shots, judged = append(shots, one), append(judged, p.judged[i])
		}
		if standing.Run++; p.judged[i].Verdict != drill.Kept {
			standing.Run = 0
		}
	}
	sentences := p.sentences()
	score := p.asked.Score(p.counted, p.judged)
	score.Withdraw(p.verdict)
	p.verdict = score.Verdict
	report, inSessionReport := score.Report(sentences), p.asked.Score(shots, judged).Report(sentences)
	standing.Score, standing.SessionScore = &report, &inSessionReport
	return standing
}

func (p *practice) sentences() []string { return sentencesOf(p.drill.Rules, p.names) }

func sentencesOf(rules []drill.Rule, names drill.BallNames) []string {
	sentences := make([]string, len(rules))
	for i, rule := range rules {
		sentences[i] = rule.Sentence(names)
	}
	return sentences
}

func judgedShot(j drill.ShotJudgement) JudgedShot {
	return JudgedShot{j.Verdict, j.ProbabilityKept, j.Doubt(), j.Reports()}
}

func ids(shots []shot.Shot) []uuid.UUID {
	list := make([]uuid.UUID, len(shots))
	for i, one := range shots {
		list[i] = one.ID
	}
	return list
}

// counts reports whether a shot counts for the drill; one whose session the device does not have
// does not.
func (p *practice) counts(s shot.Shot) bool {
	day, known := p.days[s.SessionID]
	return known && drill.Counts(p.drill.ID, p.span, s.DrillID, day)
}

// compare sorts by delivery: by day, session, place and id.
func (p *practice) compare(a, b shot.Shot) int {
	return cmp.Or(
		p.days[a.SessionID].Compare(p.days[b.SessionID]),
		bytes.Compare(a.SessionID[:], b.SessionID[:]),
		cmp.Compare(a.Order, b.Order),
		bytes.Compare(a.ID[:], b.ID[:]),
	)
}

type lookRequest struct {
	shotRequest
	Empty bool `json:"empty"` // nothing is recorded yet
}

// look judges a shot that is being logged among those stored, in its place, or as the session's
// next when it has none.
func (e *Engine) look(request lookRequest) (look Look, err error) {
	p, err := e.named(request.practiceNamed)
	if err != nil || p.drill == nil {
		return Look{Corridors: []Corridor{}}, err
	}
	one := request.Shot
	if one.Order == 0 {
		one.ID, one.Order = uuid.Max, math.MaxInt
	}
	shots := slices.DeleteFunc(slices.Clone(p.counted), func(s shot.Shot) bool { return s.ID == one.ID })
	at, _ := slices.BinarySearchFunc(shots, one, p.compare)
	shots = slices.Insert(shots, at, one)
	if !request.Empty {
		judged := judgedShot(p.asked.Judge(shots)[at])
		look.Judged = &judged
	}
	var previous *shot.Shot
	if at > 0 && shots[at-1].SessionID == one.SessionID {
		previous = &shots[at-1]
	}
	look.Corridors = corridors(p.asked, previous)
	return look, nil
}

func corridors(asked drill.Drill, previous *shot.Shot) []Corridor {
	found := []Corridor{}
	for i, rule := range asked.Rules {
		if low, high, ok := rule.Corridor(previous); ok {
			found = append(found, Corridor{i, low, high})
		}
	}
	return found
}

// sentencesRequest asks for the rules of drills in words.
type sentencesRequest struct {
	Drills []*record.Drill `json:"drills"`
	Balls  []*record.Ball  `json:"balls"`
}

func sentences(request sentencesRequest) ([][]string, error) {
	names := make(drill.BallNames, len(request.Balls))
	for _, ball := range request.Balls {
		names[ball.ID] = ball.Name
	}
	written := make([][]string, len(request.Drills))
	for i, one := range request.Drills {
		written[i] = sentencesOf(one.Rules, names)
	}
	return written, nil
}
