package advice

import (
	"context"
	"errors"
	"fmt"

	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/record"
)

// FilmReport is what is known of an oil film: how much lies where, its ratios, each with its
// definition, and its class by them. Boards count from the right gutter. Amounts are
// microlitres, ratios plain numbers.
type FilmReport struct {
	Name     string  `json:"name"`
	LengthFt float64 `json:"length_ft"` // the pattern's stated length
	OiledFt  float64 `json:"oiled_ft"`  // where the film ends
	VolumeUL float64 `json:"volume_ul"`
	// Ratios has one a definition, the default first; the same over single feet where tapes were
	// drawn, by the default definition.
	Ratios     []oil.Ratio `json:"ratios"`
	TapeRatios []oil.Ratio `json:"tape_ratios"`
	// Class is that of the first ratio by the first thresholds, Classes by all of them.
	Class   oil.Class            `json:"class"`
	Classes []ThresholdClass     `json:"classes"`
	BoardUL [lane.Boards]float64 `json:"board_ul"` // index board-1
	FootUL  [oil.Rows]float64    `json:"foot_ul"`  // index j: j to j+1 ft
	FilmUL  [][]float64          `json:"film_ul"`  // [board-1][foot]
	// Wear says how the film was worn; nil for a fresh one.
	Wear *WearReport `json:"wear,omitempty"`
	// Assumptions are sentences: what was assumed.
	Assumptions []string `json:"assumptions"`
}

// ThresholdClass is the class of a film by one set of thresholds.
type ThresholdClass struct {
	Class      oil.Class      `json:"class"`
	Thresholds oil.Thresholds `json:"thresholds"`
}

// ReportFilm measures a film.
func ReportFilm(film *oil.Film) FilmReport {
	report := FilmReport{
		Name:       film.Name,
		LengthFt:   film.LengthFt,
		OiledFt:    film.OiledFt(0),
		VolumeUL:   film.VolumeUL(),
		BoardUL:    film.BoardUL(),
		FootUL:     film.FootUL(),
		TapeRatios: []oil.Ratio{},
		Assumptions: []string{
			"No federation text that gives the averaging rule of the ratio could be found: each ratio stands beside the definition it follows, taken over the whole lane.",
			"Oil spreads sideways as it is laid: in the film of a load table each board keeps half of its oil and gives a quarter to either neighbour (common practice, no source). A film map is taken as it stands.",
			"The thresholds of the classes drifted over the years: each set stands beside its date and its source.",
		},
	}
	for _, definition := range oil.Definitions() {
		report.Ratios = append(report.Ratios, film.Ratio(definition))
	}
	report.TapeRatios = append(report.TapeRatios, film.TapeRatios(report.Ratios[0].Definition)...)
	for _, thresholds := range oil.ThresholdSets() {
		report.Classes = append(report.Classes, ThresholdClass{thresholds.Class(report.Ratios[0]), thresholds})
	}
	report.Class = report.Classes[0].Class
	for b := range film.UL {
		report.FilmUL = append(report.FilmUL, film.UL[b][:])
	}
	return report
}

// OilQuery is how the oil lies, before it is stored: a load table or a film map, never both.
type OilQuery struct {
	Name     string     `json:"name"`
	LengthFt float64    `json:"length_ft"` // for a film map; 0 takes the film's end
	Loads    []oil.Load `json:"loads"`
	// Film is microlitres, 39 boards from the right gutter by 60 feet.
	Film [][]float64 `json:"film"`
}

// LayOil lays oil that is not stored and reports the film. It fails with every fault of the table,
// each with its place.
func LayOil(given OilQuery) (FilmReport, error) {
	film, faults := given.lay()
	if len(faults) > 0 {
		return FilmReport{}, record.Faults(faults)
	}
	return ReportFilm(film), nil
}

func (g OilQuery) lay() (*oil.Film, []record.Fault) {
	// A pattern's own checks, but for the name: a pattern without one may still be laid.
	pattern := record.Pattern{Name: g.Name, LengthFt: g.LengthFt, Loads: g.Loads, Film: g.Film}
	if pattern.Name == "" {
		pattern.Name = "unnamed"
	}
	if len(g.Loads) == 0 && len(g.Film) == 0 {
		return nil, []record.Fault{
			{
				Pointer: "",
				Code:    "required",
				Detail:  "give loads, a load table, or film, a film map of 39 boards by 60 feet",
			},
		}
	}
	if len(g.Loads) > 0 && g.LengthFt == 0 {
		pattern.LengthFt = max(oil.Table{Loads: g.Loads}.LengthFt(), 1)
	}
	if len(g.Film) > 0 && g.LengthFt == 0 {
		pattern.LengthFt = lane.LengthFt // its end is not known before its shape is
	}
	if found := pattern.Faults(); len(found) > 0 {
		return nil, found
	}
	film, err := FilmOf(&pattern)
	if err != nil {
		return nil, oilFaults(err)
	}
	if len(g.Film) > 0 && g.LengthFt == 0 {
		film.LengthFt = film.OiledFt(0)
	}
	if err := film.Validate(); err != nil {
		return nil, oilFaults(err)
	}
	film.Name = g.Name
	return film, nil
}

// oilFaults are the faults of a load table or a film in this package's words.
func oilFaults(err error) []record.Fault {
	var found oil.Faults
	if !errors.As(err, &found) {
		return []record.Fault{{Detail: err.Error()}}
	}
	list := make([]record.Fault, len(found))
	for i, fault := range found {
		list[i] = record.Fault{Code: "film", Detail: fault.String()}
	}
	return list
}

// filmOfPattern is the film that a pattern lays; it fails when only the pattern's length is known.
func filmOfPattern(p *record.Pattern) (*oil.Film, error) {
	film, err := FilmOf(p)
	if err != nil {
		return nil, err
	}
	if film == nil {
		return nil, conflict("the pattern %q has only a length: give it a load table or a film map first", p.Name)
	}
	return film, nil
}

// FilmOf is the film a pattern lays; nil when only its length is known.
func FilmOf(p *record.Pattern) (*oil.Film, error) {
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

// PatternFilm is the film of a pattern, fresh or worn, and what is known of it.
type PatternFilm struct {
	Film   *oil.Film
	Report FilmReport
}

// FreshFilm is a pattern's film before anyone has bowled on it.
func FreshFilm(p *record.Pattern) (*PatternFilm, error) {
	film, err := filmOfPattern(p)
	if err != nil {
		return nil, err
	}
	return &PatternFilm{Film: film, Report: ReportFilm(film)}, nil
}

func wornFilm(film *oil.Film, wear *WearReport, notes []string) *PatternFilm {
	report := ReportFilm(film)
	report.Wear, report.Assumptions = wear, append(notes, report.Assumptions...)
	return &PatternFilm{Film: film, Report: report}
}

// Film is the pattern's film after the session's shots.
func (s SessionShots) Film(p *record.Pattern, by WornBy) (*PatternFilm, error) {
	fresh, err := filmOfPattern(p)
	if err != nil {
		return nil, err
	}
	film, wear, notes, err := s.wear(fresh, by, p.ID)
	if err != nil {
		return nil, err
	}
	return wornFilm(film, wear, notes), nil
}

// Film is the film that the planner plans on, after the athlete's own shots if those wear it.
func (p *Planner) Film(ctx context.Context) (*PatternFilm, error) {
	if err := p.wearByOwn(ctx); err != nil {
		return nil, err
	}
	return wornFilm(p.request.Film, p.Subject.Wear, p.Subject.Assumptions), nil
}
