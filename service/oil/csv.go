package oil

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"laneward/service/lane"
)

// LoadColumns are the columns of a load table, in the standard order.
var LoadColumns = []string{"direction", "from_board", "to_board", "count", "ul_per_board", "start_ft", "end_ft"}

// maxCSVRecords bounds what is read of a file before it is checked.
const maxCSVRecords = 1000

// ReadTableCSV reads a load table: a header with [LoadColumns] in any order, then one record a
// load, commas or semicolons between the cells. A cell is written as [ReadLoad] takes it. The error
// is [Faults] with every fault of every row (row 1 is the first load, the line after the header),
// or says where the text is not RFC 4180.
func ReadTableCSV(name string, r io.Reader) (Table, error) {
	records, faults, err := readRecords(r, LoadColumns)
	if err != nil {
		return Table{}, fmt.Errorf("load table: %w", err)
	}
	table := Table{Name: name}
	for i, record := range records {
		if record == nil {
			continue
		}
		load, wrong := ReadLoad(i+1, record)
		faults = append(faults, wrong...)
		table.Loads = append(table.Loads, load)
	}
	if len(faults) > 0 {
		slices.SortStableFunc(faults, func(a, b Fault) int { return a.Row - b.Row })
		return Table{}, faults
	}
	if err := table.Validate(); err != nil {
		return Table{}, err
	}
	return table, nil
}

// ReadLoad reads one load from its cells by [LoadColumns], without the spaces around them; row is
// its place in the table, for the faults. The direction is written in any case. A board may name
// its side, 2R or 10L, and counts from that gutter; boards that name their side may come in the
// sheet's order from left to right, 2L and 2R, and are put into ours. All faults are returned.
func ReadLoad(row int, cells map[string]string) (Load, Faults) {
	p := recordParser{row: row, record: cells}
	from, to := p.board("from_board"), p.board("to_board")
	if len(p.faults) == 0 && to < from && (namesSide(cells["from_board"]) || namesSide(cells["to_board"])) {
		from, to = to, from
	}
	load := Load{
		Direction:  Direction(strings.ToLower(cells["direction"])),
		FromBoard:  from,
		ToBoard:    to,
		Count:      p.whole("count"),
		ULPerBoard: p.decimal("ul_per_board"),
		StartFt:    p.decimal("start_ft"),
		EndFt:      p.decimal("end_ft"),
	}
	unread := p.faults
	for _, fault := range load.faults(row) {
		if !slices.ContainsFunc(unread, func(f Fault) bool { return f.Column == fault.Column }) {
			p.faults = append(p.faults, fault)
		}
	}
	return load, p.faults
}

// WriteCSV writes the film in microlitres as RFC 4180 text: a header board, ft_0 to ft_59, then one
// record a board.
func (f *Film) WriteCSV(w io.Writer) error {
	records := [][]string{filmColumns()}
	for b := range f.UL {
		record := []string{strconv.Itoa(b + 1)}
		for _, amount := range f.UL[b] {
			record = append(record, number(amount))
		}
		records = append(records, record)
	}
	return writeRecords(w, records)
}

// ReadFilmCSV reads what [Film.WriteCSV] writes; the boards may come in any order, each once. The
// length is where the film ends. The error is [Faults], or says where the text is not RFC 4180.
func ReadFilmCSV(name string, r io.Reader) (*Film, error) {
	columns := filmColumns()
	records, faults, err := readRecords(r, columns)
	if err != nil {
		return nil, fmt.Errorf("film table: %w", err)
	}
	film := &Film{Name: name}
	var seen [lane.Boards]bool
	for i, record := range records {
		if record == nil {
			continue
		}
		p := recordParser{row: i + 1, record: record}
		board := p.board("board")
		switch {
		case len(p.faults) > 0:
		case board < 1 || board > lane.Boards:
			p.fault("board", "there is no board %d: boards are 1 to %d", board, lane.Boards)
		case seen[board-1]:
			p.fault("board", "board %d is given twice", board)
		default:
			seen[board-1] = true
			for j := range Rows {
				film.UL[board-1][j] = p.decimal(columns[j+1])
			}
		}
		faults = append(faults, p.faults...)
	}
	for b, given := range seen {
		if !given {
			faults = append(
				faults,
				Fault{
					Column: "board",
					Reason: fmt.Sprintf("board %d is missing: a film has boards 1 to %d", b+1, lane.Boards),
				},
			)
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	film.LengthFt = film.OiledFt(0)
	if err := film.Validate(); err != nil {
		return nil, err
	}
	return film, nil
}

func filmColumns() []string {
	columns := []string{"board"}
	for j := range Rows {
		columns = append(columns, fmt.Sprintf("ft_%d", j))
	}
	return columns
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func writeRecords(w io.Writer, records [][]string) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	return out.WriteAll(records)
}

// readRecords reads a header that names exactly the columns, in any order, and the records below
// it. A record with too few or too many cells is nil, and a fault.
func readRecords(r io.Reader, columns []string) ([]map[string]string, Faults, error) {
	text := bufio.NewReader(r)
	in := csv.NewReader(text)
	in.TrimLeadingSpace, in.FieldsPerRecord = true, -1
	line, err := text.Peek(maxHeaderBytes)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, nil, err
	}
	line, _, _ = bytes.Cut(line, []byte("\n"))
	if bytes.Count(line, []byte(";")) > bytes.Count(line, []byte(",")) {
		in.Comma = ';'
	}
	header, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, nil, fmt.Errorf("the file is empty: begin with the header %s", strings.Join(columns, ","))
	} else if err != nil {
		return nil, nil, err
	}
	if err := checkHeader(header, columns); err != nil {
		return nil, nil, err
	}
	var records []map[string]string
	var faults Faults
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			return records, faults, nil
		} else if err != nil {
			return nil, nil, err
		}
		if len(records) == maxCSVRecords {
			return nil, nil, fmt.Errorf("more than %d rows", maxCSVRecords)
		}
		if len(cells) != len(header) {
			reason := fmt.Sprintf("the header names %d columns, but the row has %d", len(header), len(cells))
			faults = append(faults, Fault{Row: len(records) + 1, Column: "cells", Reason: reason})
			records = append(records, nil)
			continue
		}
		record := make(map[string]string, len(header))
		for i, cell := range cells {
			record[header[i]] = strings.TrimSpace(cell)
		}
		records = append(records, record)
	}
}

// maxHeaderBytes is more than the header of a film needs, the longest there is.
const maxHeaderBytes = 4 << 10

// checkHeader turns the names of a header into those of the columns. The error says everything that
// is wrong with them.
func checkHeader(header, columns []string) error {
	header[0] = strings.TrimPrefix(header[0], "\ufeff") // spreadsheets begin a file with a byte order mark
	var wrong []string
	found := make(map[string]bool, len(header))
	for i, cell := range header {
		name := strings.ToLower(strings.TrimSpace(cell))
		switch {
		case !slices.Contains(columns, name):
			wrong = append(wrong, fmt.Sprintf("column %q is unknown", cell))
		case found[name]:
			wrong = append(wrong, fmt.Sprintf("column %q is given twice", cell))
		}
		header[i], found[name] = name, true
	}
	for _, name := range columns {
		if !found[name] {
			wrong = append(wrong, fmt.Sprintf("column %q is missing", name))
		}
	}
	if wrong != nil {
		return fmt.Errorf("%s: the header is %s", strings.Join(wrong, "; "), strings.Join(columns, ","))
	}
	return nil
}

// recordParser reads the fields of one record and keeps every fault.
type recordParser struct {
	row    int
	record map[string]string
	faults Faults
}

func (p *recordParser) fault(column, format string, values ...any) {
	p.faults = append(p.faults, Fault{Row: p.row, Column: column, Reason: fmt.Sprintf(format, values...)})
}

func (p *recordParser) whole(column string) int {
	v, err := strconv.Atoi(p.record[column])
	if err != nil {
		p.fault(column, "%q is not a whole number", p.record[column])
	}
	return v
}

func (p *recordParser) decimal(column string) float64 {
	v, err := strconv.ParseFloat(p.record[column], 64)
	if err != nil || !finite(v) {
		p.fault(column, "%q is not a number: write digits with a point, such as 12.5", p.record[column])
		return 0
	}
	return v
}

// namesSide reports whether a board is written with the side it counts from.
func namesSide(text string) bool { return strings.ContainsAny(text, "LRlr") }

// board reads 12, 12R (from the right gutter) or 12L (from the left one).
func (p *recordParser) board(column string) int {
	text := strings.ToUpper(p.record[column])
	fromLeft := strings.HasSuffix(text, "L")
	v, err := strconv.Atoi(strings.TrimRight(text, "LR"))
	if err != nil || strings.Count(text, "L")+strings.Count(text, "R") > 1 {
		p.fault(
			column,
			"%q is not a board: write 1 to %d, or a board and its side, such as 10L",
			p.record[column],
			lane.Boards,
		)
		return 0
	}
	if fromLeft {
		return lane.Boards + 1 - v
	}
	return v
}
