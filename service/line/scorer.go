package line

import (
	"context"
	"runtime"
	"sync"

	"laneward/service/motion"
)

// scorer runs one athlete's deliveries over one prepared film.
type scorer struct {
	table   *motion.Table
	surface motion.Surface
	athlete Athlete
	ball    motion.Ball
	pocket  Pocket
}

func newScorer(request Request) (*scorer, error) {
	friction := request.Friction.OnSurface(request.Ball)
	table, err := motion.NewTable(request.Film, friction, request.Athlete.Side)
	if err != nil {
		return nil, err
	}
	return &scorer{
		table: table, surface: motion.FilmSurface(request.Film, friction, request.Athlete.Side),
		athlete: request.Athlete, ball: request.Ball, pocket: request.Pocket,
	}, nil
}

// run is the usual delivery along an aim.
func (s *scorer) run(aim Aim) motion.Outcome { return s.table.Run(s.ball, s.athlete.release(aim)) }

// shares are what becomes of the scattered deliveries along an aim: in the pocket, in a gutter.
func (s *scorer) shares(aim Aim, draws []miss) (pocket, gutter float64) {
	release := s.athlete.release(aim)
	hits, gutters := 0, 0
	for _, miss := range draws {
		outcome := s.table.Run(s.ball, miss.apply(release))
		if s.pocket.holds(outcome) {
			hits++
		}
		if outcome.Gutter {
			gutters++
		}
	}
	n := float64(len(draws))
	return float64(hits) / n, float64(gutters) / n
}

// spread does n pieces of work on all cores and returns the context's error when that ends before
// the work does. done counts the finished pieces and is never called twice at the same time.
func spread(ctx context.Context, n int, piece func(i int), done func(finished int)) error {
	var (
		wait           sync.WaitGroup
		mu             sync.Mutex
		next, finished int
	)
	take := func() (int, bool) {
		mu.Lock()
		defer mu.Unlock()
		if next >= n || ctx.Err() != nil {
			return 0, false
		}
		next++
		return next - 1, true
	}
	finish := func() {
		mu.Lock()
		defer mu.Unlock()
		finished++
		if done != nil {
			done(finished)
		}
	}
	for range min(n, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for {
				i, more := take()
				if !more {
					return
				}
				piece(i)
				finish()
			}
		})
	}
	wait.Wait()
	if finished < n {
		return ctx.Err()
	}
	return nil
}
