package offline

import (
	"bufio"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/alecthomas/kong"

	"laneward/cmd/laneward/terminal"
	"laneward/service/lane"
	"laneward/service/motion"
	"laneward/service/oil"
)

// frictionFlags are the constants of [motion.Friction]. The nominal ones are fits to practice, not
// measurements.
type frictionFlags struct {
	MuDry      float64          `name:"mu-dry"      default:"${mu_dry}"      placeholder:"MU"    help:"Friction coefficient of the dry lane at a slip of 5 m/s (${default}: a fit to practice)."`
	MuOil      float64          `name:"mu-oil"      default:"${mu_oil}"      placeholder:"MU"    help:"The same under endless oil (${default}: a fit to practice)."`
	Q0         float64          `name:"q0"          default:"${q0}"          placeholder:"UNITS" help:"Film over which the friction falls by the factor e, in oil units of 0.0167 mL per square foot (${default}: a fit to practice)."`
	ShareThick float64          `name:"share-thick" default:"${share_thick}" placeholder:"SHARE" help:"Share of the friction that falls slower, over --q-thick, so that thick oil counts (${default}: a fit to practice)."`
	QThick     float64          `name:"q-thick"     default:"${q_thick}"     placeholder:"UNITS" help:"Film over which that share falls by the factor e, in oil units (${default}: a fit to practice)."`
	SlipMPS    motion.SlipScale `name:"slip-mps"    default:"${slip_mps}"    placeholder:"M/S"   help:"Slip speed over which friction falls, in metres a second; none: the same at any slip (${default}: a fit to practice)."`
}

// Defaults are the nominal values that the help of commands names.
func Defaults() kong.Vars {
	friction, ball := motion.NominalFriction(), motion.DefaultBall()
	return kong.Vars{
		"mu_dry":      terminal.Number(&friction.MuDry),
		"mu_oil":      terminal.Number(&friction.MuOil),
		"q0":          terminal.Number(&friction.Q0),
		"share_thick": terminal.Number(&friction.ShareThick),
		"q_thick":     terminal.Number(&friction.QThick),
		"slip_mps":    friction.SlipMPS.String(),
		"radius_in":   terminal.Number(&ball.RadiusIn),
		"gyration_in": terminal.Number(&ball.GyrationIn),
	}
}

func (f frictionFlags) friction() motion.Friction { return motion.Friction(f) }

type pathCommand struct {
	frictionFlags
	Film       string  `required:"" placeholder:"FILE" help:"The film map as JSON, film[board-1][foot] in oil units, 39 boards from the right gutter by 60 feet, or as CSV in microlitres; or a load table as CSV."`
	Releases   string  `required:"" placeholder:"FILE" help:"The releases as CSV, - for stdin: columns laydown_board, angle_deg, mph, rpm, rot_deg, tilt_deg."`
	Format     string  `                               help:"csv or json (${default})."                                                                                                                              enum:"csv,json"   default:"csv"`
	RadiusIn   float64 `            placeholder:"IN"   help:"The ball's radius in inches (${default})."                                                                                                                                default:"${radius_in}"   name:"radius-in"`
	GyrationIn float64 `            placeholder:"IN"   help:"The ball's radius of gyration in inches (${default})."                                                                                                                    default:"${gyration_in}" name:"gyration-in"`
	Fast       bool    `                               help:"Compute some fifty times faster, within 0.05 board at the pins instead of 0.0001 (0.3 on a film that changes from all to nothing from board to board)."`
	Side       string  `                               help:"The hand that bowls, right or left (${default}): boards and angles count from that side."                                                               enum:"right,left" default:"right"`
}

func (pathCommand) Help() string {
	return `Computes ball paths in bulk, with no server: one row a release, in their order, with the columns of the file and

    pin_board   board at the pins: the ball's centre crossing 60 ft
    entry_deg   angle of the path there, positive away from the gutter the athlete counts from
    t_roll_s    time and distance at which the ball stops slipping and rolls;
    x_roll_ft   nan when it still slips where its path ends
    t_pins_s    time at the pins
    gutter      true when the contact point left boards 0.5 to 39.5 on the way

A ball in the gutter, or one that stops short, has nan for what is measured at the pins. In JSON null stands for nan.

Friction on a film of q oil units, under a ball that slips at u m/s, is

    mu(q, u) = [mu_oil + (mu_dry - mu_oil) ((1 - s) exp(-q/q0) + s exp(-q/q_thick))] (slip_mps + 5) / (slip_mps + u)

with s the share_thick. The constants are fits to practice, not measurements.

The launch angle is in degrees from straight down the lane, positive toward the gutter the athlete counts from; axis rotation is measured from the ball's heading, tilt counts by its cosine. The film is read bilinearly between the centres of its cells. laneward oil --film-out makes a film file from a load table.

Examples:

    laneward path --film film.json --releases releases.csv --mu-dry 0.24 --mu-oil 0.004 --q0 1 --share-thick 0 --slip-mps none
    laneward path --film film.json --releases - --format json < releases.csv`
}

// Run computes the paths.
func (c *pathCommand) Run(ctx context.Context, env terminal.Environment) error {
	if err := c.friction().Validate(); err != nil {
		return terminal.Usage("invalid friction: %w", err)
	}
	ball := motion.Ball{RadiusIn: c.RadiusIn, GyrationIn: c.GyrationIn}
	if err := ball.Validate(); err != nil {
		return terminal.Usage("invalid ball: %w", err)
	}
	film, err := ReadFilm(env, c.Film, "")
	if err != nil {
		return err
	}
	text, err := env.ReadInput(c.Releases)
	if err != nil {
		return err
	}
	file, err := readReleases(text)
	if err != nil {
		return fmt.Errorf("%s: %w", c.Releases, err)
	}
	follow, err := c.model(film, ball)
	if err != nil {
		return err
	}
	paths, err := file.follow(ctx, follow)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(env.Stdout)
	if c.Format == "json" {
		err = file.writeJSON(out, paths)
	} else {
		err = file.writeCSV(out, paths)
	}
	return errors.Join(err, out.Flush())
}

// model is how one release is followed: accurately, or by the prepared table of many paths.
func (c *pathCommand) model(film *oil.Film, ball motion.Ball) (func(motion.Release) (motion.Outcome, error), error) {
	side := lane.Side(c.Side)
	if c.Fast {
		table, err := motion.NewTable(film, c.friction(), side)
		return func(r motion.Release) (motion.Outcome, error) { return table.Run(ball, r), nil }, err
	}
	surface := motion.FilmSurface(film, c.friction(), side)
	return func(r motion.Release) (motion.Outcome, error) {
		path, err := motion.Trace(surface, ball, r, nil)
		return path.Outcome, err
	}, nil
}

// follow computes the path of every release on all cores. It ends early when ctx does.
func (f releaseFile) follow(
	ctx context.Context,
	one func(motion.Release) (motion.Outcome, error),
) ([]motion.Outcome, error) {
	paths, failures := make([]motion.Outcome, len(f.releases)), make([]error, len(f.releases))
	var wait sync.WaitGroup
	var next atomic.Int64
	for range min(runtime.GOMAXPROCS(0), len(f.releases)) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(f.releases) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				paths[i], failures[i] = one(f.releases[i])
			}
		})
	}
	wait.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for i, err := range failures {
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", i+1, err)
		}
	}
	return paths, nil
}

// measured are the numbers of a path in the order of [pathColumns], gutter apart; NaN for what
// there is not.
func measured(o motion.Outcome) []float64 {
	nan := math.NaN()
	pinBoard, entryDeg, rollS, rollFt, pinsS := nan, nan, nan, nan, nan
	if o.Reaches() {
		pinBoard, entryDeg, pinsS = o.PinBoard, o.EntryAngleDeg, o.PinTimeS
	}
	if o.Rolls {
		rollS, rollFt = o.RollTimeS, o.RollFt
	}
	return []float64{pinBoard, entryDeg, rollS, rollFt, pinsS}
}

// pathNumber writes a computed number with nine significant digits: more than the model's own
// arithmetic is worth.
func pathNumber(v float64, none string) string {
	if math.IsNaN(v) {
		return none
	}
	return strconv.FormatFloat(v, 'g', 9, 64)
}

func (f releaseFile) writeCSV(w io.Writer, paths []motion.Outcome) error {
	out := csv.NewWriter(w)
	if err := out.Write(slices.Concat(f.columns, pathColumns)); err != nil {
		return err
	}
	for i, path := range paths {
		row := slices.Clone(f.rows[i])
		for _, v := range measured(path) {
			row = append(row, pathNumber(v, "nan"))
		}
		if err := out.Write(append(row, strconv.FormatBool(path.Gutter))); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// writeJSON writes an array with an object a release, its members in the order of the CSV's
// columns.
func (f releaseFile) writeJSON(w io.Writer, paths []motion.Outcome) error {
	before := "[\n"
	for i, path := range paths {
		members := make([]string, 0, len(f.columns)+len(pathColumns))
		for j, name := range f.columns {
			value, err := json.Marshal(f.value(i, j))
			if err != nil {
				return fmt.Errorf("row %d, column %s: %w", i+1, name, err)
			}
			members = append(members, fmt.Sprintf("%s:%s", quoted(name), value))
		}
		for j, v := range measured(path) {
			members = append(members, quoted(pathColumns[j])+":"+pathNumber(v, "null"))
		}
		members = append(members, fmt.Sprintf("%s:%t", quoted("gutter"), path.Gutter))
		if _, err := fmt.Fprintf(w, "%s{%s}", before, strings.Join(members, ",")); err != nil {
			return err
		}
		before = ",\n"
	}
	_, err := io.WriteString(w, "\n]\n")
	return err
}

func quoted(name string) string {
	text, _ := json.Marshal(name) //nolint:errchkjson // a string can always be written
	return string(text)
}

// value is a cell of the file for JSON: a number in the columns of a release, text in the others.
func (f releaseFile) value(row, column int) any {
	r := f.releases[row]
	switch f.columns[column] {
	case "laydown_board":
		return r.LaydownBoard
	case "angle_deg":
		return r.LaunchAngleDeg
	case "mph":
		return r.SpeedMPH
	case "rpm":
		return r.RevRPM
	case "rot_deg":
		return r.RotationDeg
	case "tilt_deg":
		return r.TiltDeg
	}
	return f.rows[row][column]
}
