package line

import (
	"fmt"

	"laneward/service/lane"
	"laneward/service/motion"
)

// Study is one aim computed: the typical delivery, what its misses do, and their paths.
type Study struct {
	Line
	// MissPaths are the paths of Misses, one each and in their order, with a station every foot.
	MissPaths []motion.Path `json:"miss_paths"`
}

// At computes one aim for a request, whether or not it is a good one. The error says what is wrong
// with the request or the aim.
func At(request Request, aim Aim) (*Study, error) {
	if err := request.prepare(); err != nil {
		return nil, err
	}
	if err := request.Athlete.checkAim(aim); err != nil {
		return nil, err
	}
	scorer, err := newScorer(request)
	if err != nil {
		return nil, err
	}
	study := &Study{}
	if study.Line, err = scorer.line(aim); err != nil {
		return nil, err
	}
	study.Rank = 1
	misses := request.Athlete.Scatter.draws(request.evenDraws(finalDraws))
	study.Value, study.PocketShareAsGiven = scorer.score(aim, misses).Value, scorer.asGiven(aim, misses)
	study.Reason = study.reason()
	for _, miss := range study.Misses {
		boards := float64(miss.Boards)
		if miss.Side == outside {
			boards = -boards
		}
		path, err := motion.Trace(
			scorer.surface,
			scorer.ball,
			request.Athlete.release(aim.missed(boards)),
			motion.EveryFoot(),
		)
		if err != nil {
			return nil, fmt.Errorf("a miss of %d boards %s: %w", miss.Boards, miss.Side, err)
		}
		study.MissPaths = append(study.MissPaths, path)
	}
	return study, nil
}

// Throws returns the paths of n deliveries along an aim as the athlete's scatter makes them, 1 to
// 4096, the same for the same request; one that would be laid down in a gutter is left out. The
// error says what is wrong with the request, the aim or n.
func Throws(request Request, aim Aim, n int) ([]motion.Path, error) {
	if err := request.prepare(); err != nil {
		return nil, err
	}
	if n < 1 || n > maxDraws {
		return nil, fmt.Errorf("%d shots are out of range: write 1 to %d", n, maxDraws)
	}
	if err := request.Athlete.checkAim(aim); err != nil {
		return nil, err
	}
	usual := request.Athlete.release(aim)
	surface := motion.FilmSurface(
		request.Film.WithEdges(),
		request.Friction.OnSurface(request.Ball),
		request.Athlete.Side,
	)
	grown := request.Athlete.Habit.growth(aim.LaunchAngleDeg)
	paths := make([]motion.Path, 0, n)
	for _, miss := range request.Athlete.Scatter.draws(n + n%2)[:n] {
		release := miss.scaled(grown).apply(usual)
		if release.Validate() != nil {
			continue
		}
		path, err := motion.Trace(surface, request.Ball, release, motion.EveryFoot())
		if err != nil {
			return nil, err
		}
		paths = append(paths, path)
	}
	return paths, nil
}

// LaydownSpread is the scatter of the laydown board and of the launch angle about an aim, as
// variances and a covariance in boards and degrees: what the scatter at the arrows and of the angle
// mean at the foul line, to first order.
func (s Scatter) LaydownSpread(aim Aim) (varBoards, covBoardsDeg, varDeg float64) {
	// Boards at the arrows a degree of angle is worth: the derivative of the laydown with the
	// crossing held.
	outer, inner := lane.BoardsPerFoot(aim.LaunchAngleDeg+0.5), lane.BoardsPerFoot(aim.LaunchAngleDeg-0.5)
	perDegree := lane.ArrowsFt * (outer - inner)
	a, t, r := s.ArrowsBoards, s.LaunchAngleDeg, s.ArrowsAngleCorrelation
	return a*a + perDegree*perDegree*t*t + 2*r*perDegree*a*t, r*a*t + perDegree*t*t, t * t
}
