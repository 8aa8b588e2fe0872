package service

import (
	"context"

	"laneward/service/advice"
	"laneward/service/record"

	"github.com/google/uuid"
)

// PatternFilm reports the film of a stored pattern: fresh, or as shots have left it. A pattern of
// which only the length is known has none. Without a session, worn shots are those of the athlete
// and ball given, along their best line on the fresh film.
func (s *Service) PatternFilm(
	ctx context.Context,
	user, squad, pattern uuid.UUID,
	worn *advice.WornBy,
) (film *advice.PatternFilm, err error) {
	if worn != nil && worn.Session == nil {
		return s.filmWornByOwn(ctx, user, squad, pattern, *worn)
	}
	err = s.judge(ctx, user, func() error {
		var laid *record.Pattern
		var shots *advice.SessionShots
		err := s.readSquad(ctx, user, squad, func(w *work) error {
			found, err := w.get(ctx, record.KindPattern, pattern)
			if err != nil {
				return err
			}
			laid = found.(*record.Pattern)
			if worn != nil {
				shots, err = w.sessionShots(ctx, *worn)
			}
			return err
		})
		if err != nil {
			return err
		}
		if worn == nil {
			film, err = advice.FreshFilm(laid)
			return err
		}
		film, err = shots.Film(laid, *worn)
		return err
	})
	return film, err
}

// filmWornByOwn is the film after so many shots of one athlete.
func (s *Service) filmWornByOwn(
	ctx context.Context,
	user, squad, pattern uuid.UUID,
	worn advice.WornBy,
) (*advice.PatternFilm, error) {
	if worn.Athlete == nil || worn.Shots < 1 {
		return nil, fail(Invalid, "name the session whose shots wear the film, or an athlete and how many shots")
	}
	query := advice.Query{
		Athlete: *worn.Athlete,
		Ball:    worn.Ball,
		Pattern: pattern,
		Worn:    &advice.WornBy{Shots: worn.Shots},
	}
	return compute(
		ctx,
		s,
		user,
		squad,
		query,
		func(ctx context.Context, p *advice.Planner) (*advice.PatternFilm, error) {
			return p.Film(ctx)
		},
	)
}
