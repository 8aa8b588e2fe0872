package advice

import (
	"fmt"
	"strings"

	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/picture"
)

// PNGScale is how many pixels one px of a picture takes as PNG: pictures are read on sharp screens.
const PNGScale = 2

// FilmLane is the lane with a film on it, as a right-hander sees it, with the film's name, size and
// class as words.
func FilmLane(film *oil.Film, report FilmReport, widthPx int) picture.Lane {
	title := film.Name
	if title == "" {
		title = "Oil film"
	}
	return picture.Lane{
		Side:    lane.Right,
		Title:   title,
		Caption: report.Summary(),
		WidthPx: widthPx,
		Film:    &picture.Film{UL: film.UL, Unit: picture.Microlitres},
	}
}

// Summary describes a film in one sentence: length, volume, ratio and class.
func (r FilmReport) Summary() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%g ft, %.2f mL, %s, %s", r.LengthFt, r.VolumeUL/1000, RatioText(r.Ratios[0]), r.Class)
	if r.Wear != nil {
		fmt.Fprintf(&b, "; worn by %s", countOf(r.Wear.Passes, "pass", "passes"))
	}
	b.WriteByte('.')
	return b.String()
}

// RatioText writes a ratio as is usual in the sport, "4.3 to 1".
func RatioText(r oil.Ratio) string {
	switch {
	case r.OutsideDry && r.InsideUL == 0:
		return "no oil"
	case r.OutsideDry:
		return "no oil outside"
	}
	return fmt.Sprintf("%.1f to 1", r.Value)
}

func countOf(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// Picture draws the film with its size and class as words.
func (f *PatternFilm) Picture(widthPx int) (picture.Scene, error) {
	return drawn(FilmLane(f.Film, f.Report, widthPx))
}
