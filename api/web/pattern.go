package web

import (
	"fmt"
	"html/template"
	"net/http"
	"strconv"

	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/lane"
	"laneward/service/oil"
	"laneward/service/picture"
	"laneward/service/record"
)

// patternView is the data of a pattern's page.
type patternView struct {
	*roster
	Pattern *record.Pattern
	Film    *filmView // nil when only the length is known
	Wear    *form     // asks which shots wear the film
	Laid    bool
}

// filmView is a film as the pages show it.
type filmView struct {
	advice.FilmReport
	Picture         template.HTML
	ByBoard, ByFoot barChart
}

func filmViewOf(report advice.FilmReport, title string) (*filmView, error) {
	view := &filmView{FilmReport: report}
	drawn := picture.Lane{Side: lane.Right, WidthPx: lanePx, Film: &picture.Film{Unit: picture.Microlitres}}
	for board, cells := range report.FilmUL {
		copy(drawn.Film.UL[board][:], cells)
	}
	scene, err := drawn.Scene()
	if view.Picture, err = pictureOf(scene, err, title); err != nil {
		return nil, err
	}
	view.ByBoard = barsOfBoards(report.BoardUL)
	view.ByFoot = barsOfFeet(report.FootUL)
	return view, nil
}

// wearForm asks by which shots a film is worn. It is sent as a query.
func wearForm(r *roster, pattern uuid.UUID) *form {
	return &form{
		Action: patternAddress(r, pattern), Submit: "Show",
		Inputs: []*input{
			{Name: "session", Label: "Worn by shots from", Options: sessionOptions(r)},
			{
				Name:  "shots",
				Label: "How many shots",
				Type:  "number",
				Step:  "1",
				Min:   "1",
				Max:   strconv.Itoa(advice.MaxWornShots),
				Hint:  "Its first shots; all if left empty.",
			},
		},
	}
}

func patternAddress(r *roster, id uuid.UUID) string { return r.Address() + "/patterns/" + id.String() }

func patternPage(v *visit) error {
	own, id, err := v.squadAnd("pattern")
	if err != nil {
		return err
	}
	found, err := v.site.svc.Get(v.Context(), v.me.ID, own.ID, record.KindPattern, id)
	if err != nil {
		return err
	}
	r, err := v.roster(own, record.KindAthlete, record.KindSession)
	if err != nil {
		return err
	}
	view := patternView{roster: r, Pattern: found.(*record.Pattern), Wear: wearForm(r, id)}
	show := func(status int, f *form) error {
		view.Wear = f
		return v.show(
			status,
			"pattern",
			frame{Title: view.Pattern.Name, Squad: r.Squad, Crumbs: v.crumbs(r), Page: view},
		)
	}
	if view.Laid = laid(view.Pattern); !view.Laid {
		return show(http.StatusOK, view.Wear)
	}
	view.Wear.read(v.URL.Query())
	var worn *advice.WornBy
	if session := view.Wear.id("session"); session != nil {
		worn = &advice.WornBy{Session: session, Shots: int(view.Wear.whole("shots"))}
	}
	if view.Wear.faulty() {
		return show(http.StatusBadRequest, view.Wear)
	}
	film, err := v.site.svc.PatternFilm(v.Context(), v.me.ID, own.ID, id, worn)
	if err != nil {
		return v.retry(view.Wear, err, show)
	}
	if view.Film, err = filmViewOf(film.Report, view.Pattern.Name+": the film on the lane"); err != nil {
		return err
	}
	return show(http.StatusOK, view.Wear)
}

// barChart is a chart of bars, in px.
type barChart struct {
	Title, Across  string // what it shows, and along what
	Width, Height  float64
	Left, Top      float64
	Right, Bottom  float64
	Bars           []chartBar
	XTicks, YTicks []chartTick
}

type chartBar struct {
	X, Y, Width, Height float64
	Tip                 string
}

type chartTick struct {
	At    float64
	Label string
}

// chartOf lays out a chart of amounts in microlitres: tip names each bar, and the bars run leftward
// when they are boards from the right gutter.
func chartOf(amounts []float64, leftward bool, everyTick int, first int, tip func(i int) string) barChart {
	c := barChart{Width: 390, Height: 190, Left: 44, Top: 14, Right: 378, Bottom: 150}
	most := 0.0
	for _, ul := range amounts {
		most = max(most, ul)
	}
	step := tickStep(most)
	top := step
	for top < most {
		top += step
	}
	for value := 0.0; value <= top+step/2; value += step {
		c.YTicks = append(c.YTicks, chartTick{c.Bottom - (c.Bottom-c.Top)*value/top, plain(value)})
	}
	width := (c.Right - c.Left) / float64(len(amounts))
	for i, ul := range amounts {
		x := c.Left + width*float64(i)
		if leftward {
			x = c.Right - width*float64(i+1)
		}
		height := (c.Bottom - c.Top) * ul / top
		c.Bars = append(c.Bars, chartBar{x, c.Bottom - height, width, height, fmt.Sprintf("%s: %.1f µL", tip(i), ul)})
		if number := i + first; number%everyTick == 0 {
			at := x
			if first > 0 {
				at += width / 2 // a board has a middle, a foot a beginning
			}
			c.XTicks = append(c.XTicks, chartTick{at, strconv.Itoa(number)})
		}
	}
	if first == 0 {
		c.XTicks = append(c.XTicks, chartTick{c.Right, strconv.Itoa(len(amounts))})
	}
	return c
}

// tickStep is a round number that makes three to six ticks.
func tickStep(most float64) float64 {
	step := 1.0
	for _, next := range []float64{2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000} {
		if most/step <= 5 {
			break
		}
		step = next
	}
	return step
}

func barsOfBoards(amounts [lane.Boards]float64) barChart {
	c := chartOf(amounts[:], true, 5, 1, func(i int) string { return fmt.Sprintf("board %d", i+1) })
	c.Title, c.Across = "Oil on each board, µL", "board, from the right gutter"
	return c
}

func barsOfFeet(amounts [oil.Rows]float64) barChart {
	c := chartOf(amounts[:], false, 10, 0, func(i int) string { return fmt.Sprintf("%d to %d ft", i, i+1) })
	c.Title, c.Across = "Oil on each foot, µL", "feet from the foul line"
	return c
}

// thresholds says at which ratios a pattern changes class.
func thresholds(t oil.Thresholds) string {
	text := fmt.Sprintf("sport up to %s to 1", plain(t.SportMax))
	switch {
	case t.HouseMin == 0:
		return text + ", unnamed above that"
	case t.NamesChallenge:
		return fmt.Sprintf("%s, challenge up to %s to 1, house above", text, plain(t.HouseMin))
	}
	return fmt.Sprintf("%s, house from %s to 1", text, plain(t.HouseMin))
}
