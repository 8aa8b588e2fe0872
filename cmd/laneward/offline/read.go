package offline

import (
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/reading"
	"laneward/service/shot"
)

// laneFlags name a lane, the athlete on it and the shots.
type laneFlags struct {
	Film       string  `required:"" placeholder:"FILE" help:"The film that was laid: a film map as JSON in oil units or as CSV in microlitres, or a load table as CSV."`
	Shots      string  `required:"" placeholder:"FILE" help:"The shots on this lane as CSV with the columns of laneward columns, - for stdin."`
	Plan       string  `            placeholder:"FILE" help:"What the athlete meant to throw: CSV with the columns order (of the shot), laydown_board, angle_deg."`
	Side       string  `                               help:"The hand that bowls, right or left (${default})."                                                      enum:"right,left" default:"right"`
	MPH        float64 `required:"" placeholder:"MPH"  help:"The athlete's speed at launch."                                                                                                                     name:"mph"`
	RPM        float64 `required:"" placeholder:"RPM"  help:"Their rev rate."                                                                                                                                    name:"rpm"`
	RotDeg     float64 `required:"" placeholder:"DEG"  help:"Their axis rotation, from the ball's heading."`
	TiltDeg    float64 `required:"" placeholder:"DEG"  help:"Their axis tilt."`
	Played     bool    `                               help:"Others have played on the lane: its tracks are worn, nobody knows where."`
	GyrationIn float64 `            placeholder:"IN"   help:"The ball's radius of gyration in inches (${default})."                                                                 default:"${gyration_in}" name:"gyration-in"`
	Grit       float64 `            placeholder:"GRIT" help:"The grit of the ball's surface; 2000 when left out."`
}

type readCommand struct {
	terminal.FormatFlag
	laneFlags
	Aims string `placeholder:"FILE" help:"Forecast these aims: CSV with the columns laydown_board, angle_deg."`
	JSON bool   `                   help:"Print JSON."                                                         name:"json"`
}

func (readCommand) Help() string {
	return `What do the shots thrown on a lane show of it? Reads film, friction and the athlete's own release from them, and says where nothing comes back and what is not known yet. A reading that does not fit the others counts for little. Needs no server.

With --aims it forecasts where balls go that are thrown exactly so, at the stated speed. The columns of --format csv, a row an aim in the order of the file: those of the file, then entry_board, entry_se_board (its standard error), breakpoint_board and breakpoint_ft. Without --aims, a row a zone: board, from_ft, to_ft, stated_units, units, units_low, units_high, mu, mu_low, mu_high; low and high hold 80 %.

The errors of the readings are those that the log states in board_se, angle_se_deg and speed_se_mph, else what is common for its source. With --plan, the aim of each shot is also known to 0.9 board and 0.35 degree.

Examples:

    laneward read --film sport.csv --shots probes.csv --mph 17.5 --rpm 320 --rot-deg 45 --tilt-deg 12
    laneward read --film sport.csv --shots probes.csv --side left --mph 17.5 --rpm 320 --rot-deg 45 --tilt-deg 12 --plan ladder.csv
    laneward read --film sport.csv --shots probes.csv --mph 17.5 --rpm 320 --rot-deg 45 --tilt-deg 12 --aims aims.csv --format csv`
}

// Run reads the lane and prints the forecasts, or the read.
func (c *readCommand) Run(env terminal.Environment) error {
	out := terminal.Console{Env: env, JSON: c.JSON}
	if err := c.Check(&out); err != nil {
		return err
	}
	setting, err := c.setting(env)
	if err != nil {
		return err
	}
	throws, err := c.throws(out)
	if err != nil {
		return err
	}
	read, err := reading.New(setting, throws)
	if err != nil {
		return err
	}
	if c.Aims != "" {
		text, err := env.ReadInput(c.Aims)
		if err != nil {
			return err
		}
		aims, err := readNumbers(text, aimColumns)
		if err != nil {
			return fmt.Errorf("%s: %w", c.Aims, err)
		}
		return printForecasts(out, c.FormatFlag, read, aims)
	}
	report := read.Report(throws)
	if c.CSV() {
		return out.PrintCSV(zoneRows(report.Zones))
	}
	return PrintRead(out, report)
}

// setting is the lane and the athlete of the flags.
func (c *laneFlags) setting(env terminal.Environment) (reading.Setting, error) {
	thrower := reading.Thrower{
		Release: motion.Release{SpeedMPH: c.MPH, RevRPM: c.RPM, RotationDeg: c.RotDeg, TiltDeg: c.TiltDeg},
		Ball:    motion.DefaultBall(),
	}
	thrower.Ball.GyrationIn, thrower.Ball.SurfaceGrit = c.GyrationIn, c.Grit
	release := thrower.Release
	release.LaydownBoard = lane.CentreBoard
	if err := errors.Join(release.Validate(), thrower.Ball.Validate()); err != nil {
		return reading.Setting{}, terminal.Usage("%s", inReadFlags.Replace(err.Error()))
	}
	film, err := ReadFilm(env, c.Film, "")
	if err != nil {
		return reading.Setting{}, err
	}
	setting := reading.Setting{
		Film:     film,
		Friction: motion.NominalFriction(),
		Side:     lane.Side(c.Side),
		Throwers: []reading.Thrower{thrower},
		Played:   c.Played,
	}
	return setting, nil
}

// inReadFlags turns the names of a delivery and a ball into the flags that set them.
var inReadFlags = strings.NewReplacer(
	"speed_mph", "--mph", "rev_rpm", "--rpm", "rotation_deg", "--rot-deg", "tilt_deg", "--tilt-deg",
	"gyration_in", "--gyration-in", "surface_grit", "--grit", "\n", "; ",
)

// throws are the shots of the log, with what was planned of each.
func (c *laneFlags) throws(out terminal.Console) ([]reading.Throw, error) {
	text, err := out.Env.ReadInput(c.Shots)
	if err != nil {
		return nil, err
	}
	shots, err := readLog(text, make(drill.BallNames), func(row *shot.Row, fault shot.Fault) bool {
		if !leaveOut(&row.Shot, fault.Field) {
			return false
		}
		out.Warn("%s: row %d, %v: this reading is left out", c.Shots, row.Number, fault)
		return true
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", c.Shots, err)
	}
	planned := make(map[int]reading.Aim)
	if c.Plan != "" {
		text, err := out.Env.ReadInput(c.Plan)
		if err != nil {
			return nil, err
		}
		plan, err := readNumbers(text, append([]string{"order"}, aimColumns...))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.Plan, err)
		}
		for _, row := range plan.values {
			planned[int(row[0])] = reading.Aim{LaydownBoard: row[1], LaunchAngleDeg: row[2]}
		}
	}
	throws := make([]reading.Throw, len(shots))
	for i, one := range shots {
		throws[i].Shot = one
		if aim, ok := planned[one.Order]; ok {
			throws[i].Aim = &aim
		}
	}
	return throws, nil
}

// leaveOut takes a measured number out of a shot; it reports false for anything else.
func leaveOut(s *shot.Shot, column string) bool {
	for _, m := range shot.Measures() {
		if m.Column == column && !m.IsError() {
			m.Set(s, nil)
			return true
		}
	}
	return false
}

var aimColumns = []string{"laydown_board", "angle_deg"}

// forecastColumns are the columns that forecasting adds.
var forecastColumns = []string{"entry_board", "entry_se_board", "breakpoint_board", "breakpoint_ft"}

// printForecasts prints where the aims go.
func printForecasts(out terminal.Console, format terminal.FormatFlag, read *reading.Read, aims numberFile) error {
	list := make([]reading.Aim, len(aims.values))
	for i, row := range aims.values {
		list[i] = reading.Aim{LaydownBoard: row[0], LaunchAngleDeg: row[1]}
	}
	forecasts := read.ExactlyAll(0, list, 0)
	switch {
	case format.CSV():
		rows := [][]string{append(append([]string(nil), aims.columns...), forecastColumns...)}
		for i, f := range forecasts {
			cells := append([]string(nil), aims.rows[i]...)
			for _, v := range []float64{f.EntryBoard, f.EntrySE, f.BreakpointBoard, f.BreakpointFt} {
				cells = append(cells, strconv.FormatFloat(v, 'g', 9, 64))
			}
			rows = append(rows, cells)
		}
		return out.PrintCSV(rows)
	case out.JSON:
		type item struct {
			reading.Aim
			reading.Forecast
		}
		items := make([]item, len(forecasts))
		for i := range items {
			items[i] = item{list[i], forecasts[i]}
		}
		text, err := json.Marshal(items)
		if err != nil {
			return fmt.Errorf("write the forecasts: %w", err)
		}
		return out.PrintJSON(text)
	}
	table := terminal.NewTable("laydown>", "launch>", "breakpoint>", "at ft>", "entry>", "+->", "entry angle>")
	for i, f := range forecasts {
		table.Add(
			terminal.Decimals(list[i].LaydownBoard, 1), terminal.Decimals(list[i].LaunchAngleDeg, 2),
			terminal.Decimals(f.BreakpointBoard, 1), terminal.Decimals(f.BreakpointFt, 0),
			terminal.Decimals(f.EntryBoard, 1), terminal.Decimals(f.EntrySE, 1), terminal.Decimals(f.EntryAngleDeg, 1),
		)
	}
	return out.PrintTable(table)
}

// PrintRead prints a read, as words and tables or as JSON.
func PrintRead(out terminal.Console, report reading.Report) error {
	if out.JSON {
		text, err := json.Marshal(report)
		if err != nil {
			return fmt.Errorf("write the read: %w", err)
		}
		return out.PrintJSON(text)
	}
	if err := out.Print(out.Paragraph(report.Sentence, "")); err != nil || report.Refused {
		return err
	}
	lines := terminal.NewTable("laydown>", "launch>", "breakpoint>", "at ft>", "entry>", "+->", "entry angle>", "known")
	for _, line := range report.Lines {
		lines.Add(
			terminal.Decimals(line.LaydownBoard, 0), terminal.Decimals(line.LaunchAngleDeg, 2)+" deg",
			terminal.Decimals(line.BreakpointBoard, 1), terminal.Decimals(line.BreakpointFt, 0),
			terminal.Decimals(line.EntryBoard, 1), terminal.Decimals(line.EntrySE, 1),
			terminal.Decimals(line.EntryAngleDeg, 1), knownWords[line.Known],
		)
	}
	zones := terminal.NewTable("board>", "ft>", "stated oil>", "oil>", "80 %>", "friction>", "80 %>")
	for _, zone := range report.Zones {
		zones.Add(
			terminal.Decimals(zone.Board, 0), fmt.Sprintf("%g-%g", zone.FromFt, zone.ToFt),
			terminal.Decimals(zone.Stated, 1), terminal.Decimals(zone.Units.Value, 1), interval(zone.Units, 1),
			terminal.Decimals(zone.Mu.Value, 3), interval(zone.Mu, 3),
		)
	}
	for _, part := range []struct {
		head string
		list *terminal.Table
	}{{"Lines to the pocket:", lines}, {"Oil in units and friction at a slip of 5 m/s, by zone:", zones}} {
		if err := out.Print("\n" + part.head + "\n"); err != nil {
			return err
		}
		if err := out.PrintTable(part.list); err != nil {
			return err
		}
	}
	return nil
}

var knownWords = map[reading.Knowledge]string{
	reading.TooFew: "too few shots", reading.Roughly: "roughly", reading.Well: "well",
}

func interval(r reading.Range, places int) string {
	return terminal.Decimals(r.Low, places) + " to " + terminal.Decimals(r.High, places)
}

// zoneRows has a row a zone.
func zoneRows(zones []reading.Zone) [][]string {
	rows := [][]string{{
		"board", "from_ft", "to_ft", "stated_units", "units", "units_low", "units_high", "mu", "mu_low", "mu_high",
	}}
	for _, z := range zones {
		var row []string
		for _, v := range []float64{
			z.Board, z.FromFt, z.ToFt, z.Stated, z.Units.Value, z.Units.Low, z.Units.High,
			z.Mu.Value, z.Mu.Low, z.Mu.High,
		} {
			row = append(row, strconv.FormatFloat(v, 'g', 9, 64))
		}
		rows = append(rows, row)
	}
	return rows
}
