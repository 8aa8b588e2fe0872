package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/service/oil"
	"laneward/service/picture"
)

// PatternFilm reports the film of a stored pattern: fresh, or as shots have left it. A pattern of
// which only the length is known has none. Without a session, worn shots are those of the athlete
// and ball given, along their best line on the fresh film.
func (s *Service) PatternFilm(ctx context.Context, user, squad, pattern uuid.UUID, worn *WornBy) (FilmReport, error) {
	report, _, err := s.patternFilm(ctx, user, squad, pattern, worn)
	return report, err
}

// PatternFilmPicture draws what [Service.PatternFilm] reports.
func (s *Service) PatternFilmPicture(
	ctx context.Context,
	user, squad, pattern uuid.UUID,
	worn *WornBy,
	widthPx int,
) (picture.Scene, error) {
	report, film, err := s.patternFilm(ctx, user, squad, pattern, worn)
	if err != nil {
		return picture.Scene{}, err
	}
	return drawn(FilmLane(film, report, widthPx))
}

func (s *Service) patternFilm(
	ctx context.Context,
	user, squad, pattern uuid.UUID,
	worn *WornBy,
) (FilmReport, *oil.Film, error) {
	if worn != nil && worn.Session == nil {
		return s.filmWornByOwn(ctx, user, squad, pattern, *worn)
	}
	var film *oil.Film
	var wear *WearReport
	var notes []string
	err := s.readSquad(ctx, user, squad, func(w *work) error {
		found, err := w.get(ctx, KindPattern, pattern)
		if err != nil {
			return err
		}
		if film, err = filmOfPattern(found.(*PatternRecord)); err != nil || worn == nil {
			return err
		}
		film, wear, notes, err = w.wornBySession(ctx, film, *worn, pattern)
		return err
	})
	if err != nil {
		return FilmReport{}, nil, err
	}
	report := ReportFilm(film)
	report.Wear, report.Assumptions = wear, append(notes, report.Assumptions...)
	return report, film, nil
}

// filmWornByOwn is the film after so many shots of one athlete.
func (s *Service) filmWornByOwn(
	ctx context.Context,
	user, squad, pattern uuid.UUID,
	worn WornBy,
) (FilmReport, *oil.Film, error) {
	if worn.Athlete == nil || worn.Shots < 1 {
		return FilmReport{}, nil, fail(
			Invalid,
			"name the session whose shots wear the film, or an athlete and how many shots",
		)
	}
	query := LineQuery{Athlete: *worn.Athlete, Ball: worn.Ball, Pattern: pattern, Worn: &WornBy{Shots: worn.Shots}}
	found, err := s.lineSubject(ctx, user, squad, query)
	if err != nil {
		return FilmReport{}, nil, err
	}
	if err := s.slots.run(ctx, found.wearByOwn); err != nil {
		return FilmReport{}, nil, err
	}
	report := ReportFilm(found.request.Film)
	report.Wear, report.Assumptions = found.told.Wear, append(found.told.Assumptions, report.Assumptions...)
	return report, found.request.Film, nil
}
