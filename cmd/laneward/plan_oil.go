package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"laneward/service/advice"
	"laneward/service/oil"
	"laneward/service/picture"
)

// pictureFlags are the files that a picture is written to.
type pictureFlags struct {
	SVG     string `name:"svg" type:"path" placeholder:"FILE" help:"Write the picture to this file as SVG."`
	PNG     string `name:"png" type:"path" placeholder:"FILE" help:"Write the picture to this file as PNG."`
	WidthPx int    `name:"width-px" default:"390" placeholder:"PX" help:"How wide the picture is laid out, 320 to 1600 (${default}: a phone)."`
}

// pngScale is how many pixels of a PNG one px takes: pictures are read on sharp screens.
const pngScale = 2

// draw writes a picture to the files that were asked for.
func (f pictureFlags) draw(out console, description interface{ Scene() (picture.Scene, error) }) error {
	if f.SVG == "" && f.PNG == "" {
		return nil
	}
	scene, err := description.Scene()
	if err != nil {
		return fmt.Errorf("draw the picture: %w", err)
	}
	if f.SVG != "" {
		if err := out.writeFile(f.SVG, scene.SVG()); err != nil {
			return err
		}
	}
	if f.PNG != "" {
		var png bytes.Buffer
		if err := scene.WritePNG(&png, pngScale); err != nil {
			return fmt.Errorf("draw the picture: %w", err)
		}
		return out.writeFile(f.PNG, png.Bytes())
	}
	return nil
}

// writeFile writes a file for showing, and says so.
func (c console) writeFile(path string, text []byte) error {
	if err := os.WriteFile(path, text, 0o644); err != nil { //nolint:gosec // films and pictures are for showing
		return fmt.Errorf("write the file: %w", err)
	}
	c.say("Wrote %s.", path)
	return nil
}

type oilCommand struct {
	pictureFlags
	Loads   string `required:"" xor:"oil" placeholder:"FILE" help:"The load table as CSV, - for stdin: columns direction, from_board, to_board, count, ul_per_board, start_ft, end_ft."`
	Film    string `required:"" xor:"oil" placeholder:"FILE" help:"A film map instead: JSON in oil units, or CSV in microlitres."`
	Name    string `placeholder:"NAME" help:"What to call it; the file's name unless told otherwise."`
	Format  string `enum:"text,json,csv" default:"text" help:"text, json, or csv for the film map alone, in microlitres (${default})."`
	FilmOut string `type:"path" placeholder:"FILE" help:"Write the film map to this file, for laneward path: JSON in oil units, or CSV in microlitres when the name ends in .csv."`
	Quiet   bool   `short:"q" help:"Print no messages."`
}

func (oilCommand) Help() string {
	return `Lays a load table and tells what lies on the lane, with no server: volume in all, by board and by foot, the ratio of the middle to the outside by each definition in use, and the class by each set of thresholds in use. No federation text that gives the averaging rule could be found, so a ratio means nothing without its definition.

Boards count from the right gutter; 2R and 10L name the gutter. A load goes out or back, over the boards from-to, count times, so many microlitres on each board, from the start to the end in feet.

Examples:

    laneward oil --loads loads.csv
    laneward oil --loads loads.csv --film-out film.json --png film.png
    laneward oil --loads loads.csv --format json`
}

// Run lays the table and tells about it.
func (c *oilCommand) Run(env environment) error {
	film, err := c.film(env)
	if err != nil {
		return err
	}
	report := advice.ReportFilm(film)
	out := console{env: env, quiet: c.Quiet}
	if err := c.draw(out, advice.FilmLane(film, report, c.WidthPx)); err != nil {
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
		return errors.Join(err, out.printJSON(text))
	case "csv":
		return film.WriteCSV(env.stdout)
	}
	return out.printFilm(report)
}

func (c *oilCommand) film(env environment) (film *oil.Film, err error) {
	path := c.Loads + c.Film
	name := c.Name
	if name == "" && path != "-" {
		name = strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	}
	text, err := readInput(env, path)
	if err != nil {
		return nil, err
	}
	switch {
	case c.Loads != "":
		var table oil.Table
		if table, err = oil.ReadTableCSV(name, bytes.NewReader(text)); err == nil {
			film, err = table.Film()
		}
	case strings.EqualFold(filepath.Ext(path), ".csv"):
		film, err = oil.ReadFilmCSV(name, bytes.NewReader(text))
	default:
		film = new(oil.Film)
		if err = json.Unmarshal(text, film); err == nil && (c.Name != "" || film.Name == "") {
			film.Name = name
		}
	}
	if err != nil {
		return nil, inFile(path, err)
	}
	return film, nil
}

// inFile says in which file the faults are, a line each.
func inFile(path string, err error) error {
	var faults oil.Faults
	if errors.As(err, &faults) {
		return fmt.Errorf(
			"%s needs mending (row 1 is the first below the header):\n  %s",
			path,
			strings.ReplaceAll(faults.Error(), "\n", "\n  "),
		)
	}
	return fmt.Errorf("%s: %w", path, err)
}

func (c *oilCommand) writeFilm(out console, film *oil.Film) error {
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
	return out.writeFile(c.FilmOut, text.Bytes())
}

// printFilm tells a person about a film.
func (c console) printFilm(r advice.FilmReport) error {
	name := r.Name
	if name == "" {
		name = "Film"
	}
	var b strings.Builder
	fmt.Fprintf(
		&b,
		"%s: %g ft, oil to %g ft, %.3f mL, class %s (%s)\n\n",
		name,
		r.LengthFt,
		r.OiledFt,
		r.VolumeUL/1000,
		r.Class,
		advice.RatioText(r.Ratios[0]),
	)
	ratios := newTable("ratio", "value>", "right>", "left>", "inside uL>", "outside uL>", "taken as")
	for _, ratio := range r.Ratios {
		ratios.add(
			ratio.Definition.Key,
			advice.RatioText(ratio),
			decimals(ratio.RightValue, 2),
			decimals(ratio.LeftValue, 2),
			decimals(ratio.InsideUL, 1),
			decimals(
				ratio.OutsideUL,
				1,
			),
			fmt.Sprintf("%s; %s (%s)", ratio.Definition.Text, ratio.Definition.Source, ratio.Definition.Date),
		)
	}
	classes := newTable("class", "thresholds", "sport to>", "house from>", "date and source")
	for _, one := range r.Classes {
		house := ""
		if one.Thresholds.HouseMin > 0 {
			house = decimals(one.Thresholds.HouseMin, 0)
		}
		classes.add(
			string(one.Class),
			one.Thresholds.Key,
			decimals(one.Thresholds.SportMax, 0),
			house,
			one.Thresholds.Date+"; "+one.Thresholds.Source,
		)
	}
	for _, list := range []*table{ratios, classes, boardTable(r), footTable(r)} {
		b.WriteString(list.text(c.width(), c.colourful()) + "\n")
	}
	for _, assumption := range r.Assumptions {
		fmt.Fprintf(&b, "%s\n", assumption)
	}
	return c.print(b.String())
}

// boardTable has a board from the right gutter and its counterpart from the left one a row, with
// what lies on each.
func boardTable(r advice.FilmReport) *table {
	list := newTable("board>", "right uL>", "left uL>")
	boards := len(r.BoardUL)
	for i := range (boards + 1) / 2 {
		left := ""
		if i != boards-1-i {
			left = decimals(r.BoardUL[boards-1-i], 1)
		}
		list.add(strconv.Itoa(i+1), decimals(r.BoardUL[i], 1), left)
	}
	return list
}

// footTable has the volume of each ten feet, foot by foot.
func footTable(r advice.FilmReport) *table {
	const across = 10
	names := []string{"feet>"}
	for i := range across {
		names = append(names, fmt.Sprintf("+%d uL>", i))
	}
	list := newTable(names...)
	for from := 0; from < len(r.FootUL); from += across {
		row := []string{strconv.Itoa(from)}
		for _, ul := range r.FootUL[from : from+across] {
			row = append(row, decimals(ul, 1))
		}
		list.add(row...)
	}
	return list
}

func decimals(v float64, places int) string { return strconv.FormatFloat(v, 'f', places, 64) }
