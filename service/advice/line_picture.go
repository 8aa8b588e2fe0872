package advice

import (
	"fmt"
	"math"

	"laneward/service/lane"
	"laneward/service/line"
	"laneward/service/motion"
	"laneward/service/picture"
)

// drawn lays out a description.
func drawn(description interface{ Scene() (picture.Scene, error) }) (picture.Scene, error) {
	scene, err := description.Scene()
	if err != nil {
		return scene, &Error{Detail: err.Error(), cause: err}
	}
	return scene, nil
}

// linesDrawn is how many lines one picture shows: more cannot be distinguished on a phone.
const linesDrawn = 3

// LineLetter is the letter of the line at a place among so many, the same in every picture and
// table of them; a line that is alone or is not drawn has none.
func LineLetter(place, lines int) string {
	if lines < 2 || place >= linesDrawn {
		return ""
	}
	return string(rune('A' + place)) //nolint:gosec // a letter for each of a few lines
}

// lane is the film as the subject's athlete sees it.
func (s Subject) lane(request line.Request, caption string, widthPx int) picture.Lane {
	return picture.Lane{
		Side: s.Athlete.Side, Title: s.Athlete.Heading() + " on " + s.filmName(), Caption: caption, WidthPx: widthPx,
		Film: &picture.Film{UL: request.Film.UL, Unit: picture.Microlitres},
	}
}

func (b SubjectBall) text() string {
	if b.ID == nil {
		return ""
	}
	return "Ball: " + b.Name + ". "
}

func (s Subject) filmName() string {
	if s.Wear != nil {
		return fmt.Sprintf("%s after %s", s.Pattern.Name, countOf(s.Wear.Passes, "shot", "shots"))
	}
	return s.Pattern.Name
}

// Picture draws the best lines over the film, with the corridor and the breakpoint of the best one.
func (p *Plan) Picture(widthPx int) (picture.Scene, error) {
	if len(p.Lines) == 0 {
		return drawn(p.Subject.lane(p.request, p.Note, widthPx))
	}
	best := p.Lines[0]
	caption := p.Subject.Ball.text() + best.Reason
	described := p.Subject.lane(p.request, caption, widthPx)
	for i, one := range p.Lines[:min(len(p.Lines), linesDrawn)] {
		described.Paths = append(described.Paths, pathOf(one.Path, LineLetter(i, len(p.Lines)), one.label(), i == 0))
	}
	mark(&described, best)
	return drawn(described)
}

// label describes a line in the words a player takes to the lane.
func (l PlannedLine) label() string {
	return fmt.Sprintf(
		"feet %.1f, target %.1f: %.1f pins a frame, %.0f %% in the pocket",
		l.FeetBoard,
		l.TargetBoard,
		l.Pins,
		100*l.PocketShare,
	)
}

func pathOf(path motion.Path, letter, label string, emphasis bool) picture.Path {
	drawn := picture.Path{Label: label, Letter: letter, Emphasis: emphasis}
	for _, station := range path.Stations {
		drawn.Points = append(drawn.Points, picture.Point{Board: station.Board, Ft: station.Ft})
	}
	return drawn
}

// corridorHalfFt is how far before and beyond a line's own breakpoint its corridor is drawn: there
// its shots turn.
const corridorHalfFt = 4.0

// mark adds the line's breakpoint and its corridor.
func mark(l *picture.Lane, one PlannedLine) {
	if at := one.Breakpoint; at != nil {
		l.Breakpoints = []picture.Breakpoint{{Board: at.Board, Ft: at.Ft}}
	}
	if one.Drill == nil {
		return
	}
	low, high := one.Drill.Rules[0].Edges()
	corridor := picture.Corridor{
		FromBoard: math.Max(
			low,
			lane.MinBoard,
		),
		ToBoard:  math.Min(high, lane.MaxBoard),
		FromFt:   lane.ArrowsFt,
		ToFt:     lane.ArrowsFt,
		Sentence: one.Drill.Sentences[0],
	}
	if one.Corridor.At == line.AtBreakpoint {
		corridor.FromFt = math.Max(one.Path.BreakpointFt-corridorHalfFt, 0)
		corridor.ToFt = math.Min(one.Path.BreakpointFt+corridorHalfFt, lane.LengthFt)
	}
	l.Corridors = []picture.Corridor{corridor}
}

// missesDrawn are the misses, in boards, that a picture of one line shows on either side.
var missesDrawn = map[int]bool{2: true, 4: true}

// Picture draws the line and its misses of two and four boards on either side.
func (l *Study) Picture(widthPx int) (picture.Scene, error) {
	caption := fmt.Sprintf(
		"%sFeet %.1f, target %.1f, %.2f degrees. %s",
		l.Subject.Ball.text(),
		l.FeetBoard,
		l.TargetBoard,
		l.LaunchAngleDeg,
		l.Reason,
	)
	described := l.Subject.lane(l.request, caption, widthPx)
	described.Paths = []picture.Path{pathOf(l.Path, "", "the typical delivery", true)}
	for i, miss := range l.Misses {
		if path := l.MissPaths[i]; missesDrawn[miss.Boards] && len(path.Stations) > 1 {
			label := fmt.Sprintf("%d boards %s at the arrows: %s", miss.Boards, miss.Toward, miss.Hit.Words())
			described.Paths = append(described.Paths, pathOf(path, "", label, false))
		}
	}
	mark(&described, PlannedLine{Line: l.Line, Drill: l.Drill})
	return drawn(described)
}

// Picture draws the share of the athlete's shots in the pocket over laydown and launch angle, with
// the best lines and the scatter about the first.
func (m *MissMap) Picture(widthPx int) (picture.Scene, error) {
	described := picture.MissMap{
		Side:    m.Subject.Athlete.Side,
		Title:   "Where " + m.Subject.Athlete.Name + " can aim on " + m.Subject.filmName(),
		WidthPx: widthPx,
		Caption: fmt.Sprintf(
			"%sEach square is one aim; its colour is the share of this athlete's shots that would reach %s.",
			m.Subject.Ball.text(),
			pocketText(m.Pocket),
		),
		LaydownBoards: m.Grid.LaydownBoards,
		AnglesDeg:     m.Grid.LaunchAnglesDeg,
		Share:         make([][]float64, len(m.Cells)),
	}
	most := 0.0
	for i, column := range m.Cells {
		described.Share[i] = make([]float64, len(column))
		for j, cell := range column {
			described.Share[i][j] = cell.PocketShare
			most = math.Max(most, cell.PocketShare)
		}
	}
	if half := math.Round(most*10) / 20; half >= 0.05 {
		described.Contours = []float64{half}
	}
	for i, one := range m.Lines[:min(len(m.Lines), linesDrawn)] {
		if !m.holds(one.Aim) {
			continue
		}
		described.Aims = append(
			described.Aims,
			picture.Aim{
				LaydownBoard: one.LaydownBoard,
				AngleDeg:     one.LaunchAngleDeg,
				Label:        one.label(),
				Letter:       LineLetter(i, len(m.Lines)),
				Emphasis:     i == 0,
			},
		)
		if i == 0 {
			varX, covXY, varY := m.Subject.Scatter.line().LaydownSpread(one.Aim)
			described.Spreads = []picture.Spread{
				{
					MeanX: one.LaydownBoard,
					MeanY: one.LaunchAngleDeg,
					VarX:  varX,
					CovXY: covXY,
					VarY:  varY,
					Label: "own scatter about the best line",
				},
			}
		}
	}
	return drawn(described)
}

func (m *MissMap) holds(aim line.Aim) bool {
	laydowns, angles := m.Grid.LaydownBoards, m.Grid.LaunchAnglesDeg
	return aim.LaydownBoard >= laydowns[0] && aim.LaydownBoard <= laydowns[len(laydowns)-1] &&
		aim.LaunchAngleDeg >= angles[0] && aim.LaunchAngleDeg <= angles[len(angles)-1]
}

func (s SubjectScatter) line() line.Scatter {
	return line.Scatter{
		ArrowsBoards: s.ArrowsBoards, LaunchAngleDeg: s.LaunchAngleDeg, SpeedMPH: s.SpeedMPH, RevRPM: s.RevRateRPM,
		ArrowsAngleCorrelation: s.ArrowsAngleCorrelation,
	}
}

func pocketText(p line.Pocket) string {
	return fmt.Sprintf("board %g to %g at %g to %g degrees", p.BoardLow, p.BoardHigh, p.AngleLowDeg, p.AngleHighDeg)
}

// Picture draws both sides on one colour scale, beside each other where there is room: each with
// its own best line, and with what the other's best line does there.
func (c *Comparison) Picture(widthPx int) (picture.Scene, error) {
	if widthPx == 0 {
		widthPx = picture.DefaultWidthPx
	}
	beside := widthPx >= 2*picture.MinWidthPx
	if beside {
		widthPx = min(widthPx/2, picture.WideWidthPx-1) // each keeps its legend below
	}
	topUL := math.Max(mostOil(c.A.request), mostOil(c.B.request))
	a, err := c.side(c.A, widthPx, topUL)
	if err != nil {
		return a, err
	}
	b, err := c.side(c.B, widthPx, topUL)
	if err != nil {
		return b, err
	}
	return picture.Join("Lines compared: "+c.Summary, beside, a, b), nil
}

// side draws one side of a comparison: the best lines of both as they run here, under the letters
// of their sides.
func (c *Comparison) side(here *Plan, widthPx int, topUL float64) (picture.Scene, error) {
	caption := here.Subject.Ball.text() + here.Note
	if len(here.Lines) > 0 {
		caption = here.Subject.Ball.text() + here.Lines[0].Reason
	}
	described := here.Subject.lane(here.request, caption, widthPx)
	described.Film.MaxUL = topUL
	for _, from := range []struct {
		name string
		plan *Plan
	}{{"A", c.A}, {"B", c.B}} {
		own := from.plan == here
		if own {
			described.Title = from.name + ": " + described.Title
		}
		if len(from.plan.Lines) == 0 {
			continue
		}
		best := from.plan.Lines[0]
		label := fmt.Sprintf("line of %s: %s", from.name, best.label())
		path := best.Path
		if own {
			mark(&described, best)
		} else {
			carried, err := line.At(here.request, best.Aim)
			if err != nil {
				return picture.Scene{}, err
			}
			path = carried.Path
			label = fmt.Sprintf(
				"line of %s, laid down at %.1f: here %.1f pins a frame, %.0f %% in the pocket",
				from.name,
				best.LaydownBoard,
				carried.Pins,
				100*carried.PocketShare,
			)
		}
		if len(path.Stations) > 1 {
			described.Paths = append(described.Paths, pathOf(path, from.name, label, own))
		}
	}
	return drawn(described)
}

func mostOil(request line.Request) float64 {
	most := 0.0
	for b := range request.Film.UL {
		for _, ul := range request.Film.UL[b] {
			most = math.Max(most, ul)
		}
	}
	return most
}
