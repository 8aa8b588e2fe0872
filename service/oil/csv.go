package oil

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"laneward/service/lane"
)

// loadColumns are the columns of a load table file, in the order in which they are written.
var loadColumns = []string{"direction", "from_board", "to_board", "count", "ul_per_board", "start_ft", "end_ft"}

// maxCSVRecords bounds what is read of a file, before anything is believed.
const maxCSVRecords = 1000

// WriteCSV writes the loads as RFC 4180 text: a header, then one record a load, lines ending in
// CRLF.
func (t Table) WriteCSV(w io.Writer) error {
	records := [][]string{loadColumns}
	for _, l := range t.Loads {
		records = append(records, []string{
			string(l.Direction), strconv.Itoa(l.FromBoard), strconv.Itoa(l.ToBoard), strconv.Itoa(l.Count),
			number(l.ULPerBoard), number(l.StartFt), number(l.EndFt),
		})
	}
	return writeRecords(w, records)
}

// ReadTableCSV reads what [Table.WriteCSV] writes. The header is required; its columns may come in
// any order. A board may also be written with its side, 2R or 10L, and counts from that gutter. The
// error is [Faults] with every fault of every row (row 1 is the first load, the line after the
// header), or says where the text is not RFC 4180.
func ReadTableCSV(name string, r io.Reader) (Table, error) {
	records, err := readRecords(r, loadColumns)
	if err != nil {
		return Table{}, fmt.Errorf("load table: %w", err)
	}
	table := Table{Name: name}
	var faults Faults
	for i, record := range records {
		p := recordParser{row: i + 1, record: record}
		load := Load{
			Direction: Direction(
				strings.ToLower(record["direction"]),
			),
			FromBoard: p.board("from_board"),
			ToBoard:   p.board("to_board"),
			Count: p.whole(
				"count",
			),
			ULPerBoard: p.decimal("ul_per_board"),
			StartFt:    p.decimal("start_ft"),
			EndFt:      p.decimal("end_ft"),
		}
		faults = append(faults, p.faults...)
		for _, fault := range load.faults(i + 1) {
			if !slices.ContainsFunc(p.faults, func(unread Fault) bool { return unread.Column == fault.Column }) {
				faults = append(faults, fault)
			}
		}
		table.Loads = append(table.Loads, load)
	}
	if len(faults) > 0 {
		return Table{}, faults
	}
	if err := table.Validate(); err != nil {
		return Table{}, err
	}
	return table, nil
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
	records, err := readRecords(r, columns)
	if err != nil {
		return nil, fmt.Errorf("film table: %w", err)
	}
	film := &Film{Name: name}
	var faults Faults
	var seen [lane.Boards]bool
	for i, record := range records {
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
// it.
func readRecords(r io.Reader, columns []string) ([]map[string]string, error) {
	in := csv.NewReader(r)
	in.TrimLeadingSpace = true
	header, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("the file is empty: begin with the header %s", strings.Join(columns, ","))
	} else if err != nil {
		return nil, err
	}
	header[0] = strings.TrimPrefix(header[0], "\ufeff") // spreadsheets begin a file with a byte order mark
	if err := checkHeader(header, columns); err != nil {
		return nil, err
	}
	var records []map[string]string
	for {
		fields, err := in.Read()
		if errors.Is(err, io.EOF) {
			return records, nil
		} else if err != nil {
			return nil, err
		}
		if len(records) == maxCSVRecords {
			return nil, fmt.Errorf("more than %d rows", maxCSVRecords)
		}
		record := make(map[string]string, len(header))
		for i, field := range fields {
			record[columnName(header[i])] = strings.TrimSpace(field)
		}
		records = append(records, record)
	}
}

func columnName(text string) string { return strings.ToLower(strings.TrimSpace(text)) }

func checkHeader(header, columns []string) error {
	found := make(map[string]bool, len(header))
	for _, field := range header {
		name := columnName(field)
		if !slices.Contains(columns, name) {
			return fmt.Errorf("column %q is unknown: the header is %s", field, strings.Join(columns, ","))
		}
		if found[name] {
			return fmt.Errorf("column %q is given twice", field)
		}
		found[name] = true
	}
	for _, name := range columns {
		if !found[name] {
			return fmt.Errorf("column %q is missing: the header is %s", name, strings.Join(columns, ","))
		}
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
