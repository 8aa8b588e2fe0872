package remote

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

type patternFlags struct {
	Length *float64 `placeholder:"FT" help:"Length of the pattern in feet."`
	Loads  string   `placeholder:"FILE" help:"The load table as CSV, - for stdin: columns direction, from_board, to_board, count, ul_per_board, start_ft, end_ft."`
	Note   string   `placeholder:"TEXT" help:"Anything else."`
}

func (f patternFlags) fill(env terminal.Environment, p *openapi.Pattern) error {
	if f.Length != nil {
		p.LengthFt = *f.Length
	}
	if f.Loads != "" {
		text, err := env.ReadInput(f.Loads)
		if err != nil {
			return err
		}
		loads, err := readLoads(text)
		if err != nil {
			return fmt.Errorf("%s: %w", f.Loads, err)
		}
		p.Loads, p.Film = &loads, nil
	}
	setWord(&p.Note, f.Note)
	return nil
}

// loadColumns are the columns of a load table, in the words of the contract.
var loadColumns = []string{"direction", "from_board", "to_board", "count", "ul_per_board", "start_ft", "end_ft"}

// readLoads reads a load table: CSV with a header row, the columns in any order, comma or semicolon
// between them.
func readLoads(text []byte) ([]openapi.Load, error) {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	reader := csv.NewReader(bytes.NewReader(text))
	header, _, _ := bytes.Cut(text, []byte("\n"))
	if bytes.Count(header, []byte(";")) > bytes.Count(header, []byte(",")) {
		reader.Comma = ';'
	}
	reader.TrimLeadingSpace = true
	rows, err := reader.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("the load table is no CSV: %w", err)
	}
	if len(rows) < 2 {
		return nil, fmt.Errorf(
			"the load table is empty: it has a header row (%s) and a row a load",
			strings.Join(loadColumns, ", "),
		)
	}
	place := make(map[string]int)
	for i, name := range rows[0] {
		name = strings.TrimSpace(name)
		if !slices.Contains(loadColumns, name) {
			return nil, fmt.Errorf("there is no column %q: the columns are %s", name, strings.Join(loadColumns, ", "))
		}
		place[name] = i
	}
	for _, name := range loadColumns {
		if _, there := place[name]; !there {
			return nil, fmt.Errorf("column %s is missing: the columns are %s", name, strings.Join(loadColumns, ", "))
		}
	}
	loads := make([]openapi.Load, len(rows)-1)
	for i, row := range rows[1:] {
		cells := loadCells{row: i + 1, place: place, cells: row}
		loads[i] = openapi.Load{
			Direction: openapi.LoadDirection(
				cells.text("direction"),
			),
			FromBoard: cells.whole("from_board"),
			ToBoard:   cells.whole("to_board"),
			Count: cells.whole(
				"count",
			),
			UlPerBoard: cells.number("ul_per_board"),
			StartFt:    cells.number("start_ft"),
			EndFt:      cells.number("end_ft"),
		}
		if cells.err != nil {
			return nil, cells.err
		}
	}
	return loads, nil
}

// loadCells reads the cells of one row and keeps the first fault.
type loadCells struct {
	row   int
	place map[string]int
	cells []string
	err   error
}

func (c *loadCells) text(column string) string { return strings.TrimSpace(c.cells[c.place[column]]) }

func (c *loadCells) number(column string) float64 {
	v, err := strconv.ParseFloat(c.text(column), 64)
	if err != nil && c.err == nil {
		c.err = fmt.Errorf(
			"row %d, column %s: %q is no number: write digits with a decimal point",
			c.row,
			column,
			c.text(column),
		)
	}
	return v
}

func (c *loadCells) whole(column string) int {
	v, err := strconv.Atoi(c.text(column))
	if err != nil && c.err == nil {
		c.err = fmt.Errorf("row %d, column %s: %q is no whole number", c.row, column, c.text(column))
	}
	return v
}

type addPatternCommand struct {
	newFlags
	patternFlags
}

func (addPatternCommand) Help() string {
	return `Examples:

    laneward add pattern "Long flat" --length 45
    laneward add pattern "Long flat" --length 45 --loads loads.csv
    laneward add pattern --file pattern.json`
}

// Run adds a pattern.
func (c *addPatternCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.File == "" && c.Length == nil {
		return terminal.Usage("say how long it is with --length FT")
	}
	return addRecord(ctx, env, c.newFlags, client.Pattern, func(_ *squadConnection, p *openapi.Pattern) error {
		named(&p.Name, c.Name)
		return c.fill(env, p)
	})
}

type editPatternCommand struct {
	changeFlags
	renameFlags
	patternFlags
}

func (editPatternCommand) Help() string {
	return `Only what you give is changed.

Example:

    laneward edit pattern "Long flat" --loads loads.csv`
}

// Run changes a pattern.
func (c *editPatternCommand) Run(ctx context.Context, env terminal.Environment) error {
	return editRecord(ctx, env, c.changeFlags, client.Pattern, func(_ *squadConnection, p *openapi.Pattern) error {
		named(&p.Name, c.Rename)
		return c.fill(env, p)
	})
}
