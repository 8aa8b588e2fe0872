package offline

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
	"laneward/service/oil"
)

type oilCommand struct {
	PictureFlags
	Loads   string `required:"" xor:"oil" placeholder:"FILE" help:"The load table as CSV, - for stdin: columns direction, from_board, to_board, count, ul_per_board, start_ft, end_ft."`
	Film    string `required:"" xor:"oil" placeholder:"FILE" help:"A film map instead: JSON in oil units, or CSV in microlitres."`
	Name    string `placeholder:"NAME" help:"What to call it; the file's name by default."`
	Format  string `enum:"text,json,csv" default:"text" help:"text, json, or csv for the film map alone, in microlitres (${default})."`
	FilmOut string `type:"path" placeholder:"FILE" help:"Write the film map to this file, for laneward path: JSON in oil units, or CSV in microlitres when the name ends in .csv."`
	Quiet   bool   `short:"q" help:"Print no messages."`
}

func (oilCommand) Help() string {
	return `Lays a load table and shows the oil on the lane, with no server: total volume, volume, by board and by foot, the ratio of the middle to the outside by each definition in use, and the class by each set of thresholds in use. No federation text that gives the averaging rule could be found, so a ratio means nothing without its definition.

Boards count from the right gutter; 2R and 10L name the gutter. A load goes out or back, over the boards from-to, count times, so many microlitres on each board, from the start to the end in feet. Oil spreads sideways as it is laid: in the film each board keeps half of its oil and gives a quarter to either neighbour (common practice, no source), so that the volume is kept.

Examples:

    laneward oil --loads loads.csv
    laneward oil --loads loads.csv --film-out film.json --png film.png
    laneward oil --loads loads.csv --format json`
}

// Run lays the table and prints its film.
func (c *oilCommand) Run(env terminal.Environment) error {
	film, err := c.film(env)
	if err != nil {
		return err
	}
	report := advice.ReportFilm(film)
	out := terminal.Console{Env: env, Quiet: c.Quiet}
	if err := c.Draw(out, advice.FilmLane(film, report, c.WidthPx).Scene); err != nil {
		return err
	}
	if c.FilmOut != "" {
		if err := c.writeFilm(out, film); err != nil {
			return err
		}
	}
	switch c.Format {
	case "json":
		text, err := json.Marshal(report)
		return errors.Join(err, out.PrintJSON(text))
	case "csv":
		return film.WriteCSV(env.Stdout)
	}
	return PrintFilm(out, report)
}

func (c *oilCommand) film(env terminal.Environment) (*oil.Film, error) {
	if c.Loads != "" {
		return readFilm(env, c.Loads, c.Name, readLoads)
	}
	return ReadFilm(env, c.Film, c.Name)
}

func (c *oilCommand) writeFilm(out terminal.Console, film *oil.Film) error {
	var text bytes.Buffer
	var err error
	if strings.EqualFold(filepath.Ext(c.FilmOut), ".csv") {
		err = film.WriteCSV(&text)
	} else {
		err = json.NewEncoder(&text).Encode(film)
	}
	if err != nil {
		return fmt.Errorf("write the film: %w", err)
	}
	return out.WriteFile(c.FilmOut, text.Bytes())
}
