package shot

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"
)

// ReadCSV reads a log of comma-separated values (RFC 4180), one row at a time. The sequence can be
// ranged over once; it ends after the first error, which is a [*LogError].
//
// The first line names the columns, see [Columns], in any order, separated by commas or semicolons,
// whichever the header has more of. The text is UTF-8 with or without a byte order mark, lines end
// with LF or CRLF, and a line break within quotes is read as a line feed. An empty cell was not
// measured; an empty row is skipped. Spaces around a cell do not count, except in a note.
//
// A log without the column order takes each row's number for it, also where a row between has
// faults, so that fixing a row moves no other. A log with several athletes then has gaps in each
// one's order. A row inserted or removed moves those after it to other shots: a log that grows in
// the middle, or a session in several logs, needs the column.
//
// The last line needs no line end, so a log that was cut off within its last cell looks complete: r
// must fail when the log is not.
//
// A quote that is out of place on one line costs that row. One that runs on over the following
// lines ends the log, because no one can tell which rows it swallowed.
func ReadCSV(r io.Reader, options Options) iter.Seq2[Row, error] {
	return readRows(func() (func() (Row, error), error) {
		text, err := openLog(r, options)
		if err != nil {
			return nil, err
		}
		// More than a header needs; a shorter log gives what there is.
		head, err := text.Peek(maxHeaderBytes)
		if len(head) == 0 && err != nil && !errors.Is(err, io.EOF) {
			return nil, readError(err)
		}
		comma, err := separator(head)
		if err != nil {
			return nil, err
		}
		log := &csvLog{intake: newIntake(options, columnOf), csv: csv.NewReader(text)}
		log.csv.Comma = comma
		log.csv.ReuseRecord = true
		log.csv.FieldsPerRecord = -1
		return log.next, log.readHeader()
	})
}

const (
	maxHeaderBytes  = 8 << 10 // where the header row must have ended
	maxHeaderFaults = 10      // faults of the header that are reported at once
)

type csvLog struct {
	*intake
	csv      *csv.Reader
	columns  []*column // by place in the row
	hasOrder bool
}

// separator finds what separates the cells of the header row.
func separator(head []byte) (rune, error) {
	head = bytes.TrimLeft(head, "\r\n")
	line, _, whole := bytes.Cut(head, []byte("\n"))
	line = bytes.TrimSuffix(line, []byte("\r"))
	switch {
	case len(line) == 0:
		return 0, &LogError{Code: LogHeader, Detail: "the log is empty: begin with a header row that names the columns"}
	case !whole && len(head) >= maxHeaderBytes:
		return 0, &LogError{
			Code:   LogHeader,
			Line:   1,
			Detail: "the header row does not end: begin with one line that names the columns",
		}
	case bytes.HasPrefix(line, []byte("sep=")):
		return 0, &LogError{
			Code:   LogHeader,
			Line:   1,
			Detail: "the log begins with sep=: take this line out, the separator is found by itself",
		}
	case bytes.ContainsRune(line, '\r'):
		return 0, &LogError{
			Code:   LogHeader,
			Line:   1,
			Detail: "the lines end with a carriage return alone: save the log with LF or CRLF as line ends",
		}
	case line[0] == '{' || line[0] == '[':
		return 0, &LogError{Code: LogFormat, Line: 1, Detail: "the log is JSON and not CSV: send it as JSON or NDJSON"}
	}
	commas, semicolons := bytes.Count(line, []byte(",")), bytes.Count(line, []byte(";"))
	if tabs := bytes.Count(line, []byte("\t")); tabs > commas && tabs > semicolons {
		return 0, &LogError{
			Code:   LogHeader,
			Line:   1,
			Detail: "tabs part the columns: save the log with commas or semicolons",
		}
	}
	if semicolons > commas {
		return ';', nil
	}
	return ',', nil
}

// readHeader finds the columns and reports everything that is wrong with them at once.
func (log *csvLog) readHeader() error {
	header, err := log.csv.Read()
	if err != nil {
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return &LogError{
				Code:   LogHeader,
				Line:   parse.StartLine,
				Detail: "a quote in the header row is out of place: write the column names without quotes",
			}
		}
		return readError(err)
	}
	line, _ := log.csv.FieldPos(0)
	var wrong []string
	showAll := false
	for i, name := range header {
		name = strings.TrimSpace(name)
		index, known := columnIndex[name]
		switch {
		case name == "":
			wrong = append(wrong, fmt.Sprintf("column %d has no name: name it, or take it out", i+1))
		case !known:
			detail := fmt.Sprintf("column %s is unknown", quoted(name))
			if best := nearest(name, columnNames()); best != "" {
				detail += ": did you mean " + best + "?"
			} else {
				showAll = true
			}
			wrong = append(wrong, detail)
		case slices.Contains(log.columns, &columns[index]):
			wrong = append(wrong, fmt.Sprintf("column %s is there twice: keep one", name))
		default:
			log.columns = append(log.columns, &columns[index])
		}
	}
	has := func(name string) bool { return slices.Contains(log.columns, &columns[columnIndex[name]]) }
	for _, c := range columns {
		needed := c.Required || (c.Field == "athlete_id" && log.options.AthleteID == uuid.Nil) ||
			(c.Field == "session_id" && log.options.SessionID == uuid.Nil)
		if needed && !has(c.Name) {
			wrong = append(wrong, c.missing())
		}
	}
	log.hasOrder = has("order")
	if len(wrong) > maxHeaderFaults {
		wrong = append(wrong[:maxHeaderFaults], "and more")
	}
	if showAll {
		wrong = append(wrong, "the known columns are "+strings.Join(columnNames(), ", "))
	}
	if len(wrong) > 0 {
		return &LogError{Code: LogHeader, Line: line, Detail: strings.Join(wrong, "; ")}
	}
	return nil
}

func (log *csvLog) next() (Row, error) {
	cells, err := log.csv.Read()
	for err == nil && blank(cells) {
		cells, err = log.csv.Read()
	}
	if err != nil {
		return log.quoteFault(err)
	}
	line, _ := log.csv.FieldPos(0)
	row, err := log.begin(line)
	if err != nil {
		return row, err
	}
	if len(cells) != len(log.columns) {
		row.fault("", CodeFormat, cellCount(len(cells), len(log.columns), log.csv.Comma))
		return row, nil
	}
	if !slices.ContainsFunc(cells, notUTF8) {
		log.readCells(&row, cells)
		return row, nil
	}
	for i, cell := range cells {
		if notUTF8(cell) {
			row.fault(
				log.columns[i].Name,
				CodeFormat,
				fmt.Sprintf("%s is not UTF-8: save the log in UTF-8", quoted(cell)),
			)
		}
	}
	return row, nil
}

func (log *csvLog) readCells(row *Row, cells []string) {
	if !log.hasOrder {
		row.Shot.Order = row.Number
	}
	for i, cell := range cells {
		c := log.columns[i]
		if c.Field == "note" {
			cell = unguard(cell)
		} else if cell = strings.TrimSpace(cell); c.Field == "source" {
			cell = unguard(cell)
		}
		if cell != "" {
			c.read(log.intake, row, cell)
		}
	}
	log.finish(row)
}

// quoteFault distinguishes a quote that costs one row from an error that ends the log.
func (log *csvLog) quoteFault(err error) (Row, error) {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		if errors.Is(err, io.EOF) {
			return Row{}, err
		}
		return Row{}, readError(err)
	}
	if parse.Line != parse.StartLine {
		return Row{}, &LogError{
			Code: LogQuote, Line: parse.StartLine,
			Detail: fmt.Sprintf("a quote opens in the row that begins here and is not closed properly up to line %d: "+
				"close it, and write a quote inside a cell twice", parse.Line),
		}
	}
	row, err := log.begin(parse.StartLine)
	if err != nil {
		return row, err
	}
	row.fault("", CodeFormat, fmt.Sprintf("a quote is out of place, or not closed, at byte %d of the line: "+
		`put the whole cell in quotes and write a quote inside it twice, such as "a 15"" ball"`, parse.Column))
	return row, nil
}

func blank(cells []string) bool {
	return !slices.ContainsFunc(cells, func(cell string) bool { return strings.TrimSpace(cell) != "" })
}

func notUTF8(cell string) bool { return !utf8.ValidString(cell) }

func cellCount(cells, columns int, comma rune) string {
	detail := fmt.Sprintf("the header names %d columns, but the row has %d: ", columns, cells)
	switch {
	case cells < columns:
		return detail + "write every cell, a blank one too, and send the log whole"
	case comma == ',':
		return detail + "write decimals with a point (10.5), and put a text that holds a comma in quotes"
	}
	return detail + "put a text that holds a semicolon in quotes"
}

// A spreadsheet takes a cell that begins with one of these for a formula, and would run what an
// athlete noted.
const formulaStart = "=+-@\t"

// guard puts an apostrophe before a text that a spreadsheet would take for a formula, even when it
// has such apostrophes already, so that [unguard] returns exactly the same text.
func guard(text string) string {
	if rest := strings.TrimLeft(text, "'"); rest != "" && strings.IndexByte(formulaStart, rest[0]) >= 0 {
		return "'" + text
	}
	return text
}

func unguard(text string) string {
	if rest := strings.TrimLeft(
		text,
		"'",
	); len(rest) < len(text) && rest != "" &&
		strings.IndexByte(formulaStart, rest[0]) >= 0 {
		return text[1:]
	}
	return text
}

// WriteCSV writes the shots as a CSV log with every column of [Columns], with commas and CRLF as in
// RFC 4180, and athletes and balls by id. [ReadCSV] reads the same shots from it, in canonical
// form. A note or source that begins like a spreadsheet's formula is written with an apostrophe
// before it, which ReadCSV removes. A shot that [Validate] refuses ends the writing with an error,
// since it could not be read again.
func WriteCSV(w io.Writer, shots iter.Seq[Shot]) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(columnNames()); err != nil {
		return fmt.Errorf("write log: %w", err)
	}
	cells := make([]string, len(columns))
	for s := range shots {
		s = s.Canonical()
		if faults := validate(&s); len(faults) > 0 {
			return fmt.Errorf("write log: shot %s: %w", s.ID, faults[0])
		}
		for i := range columns {
			cells[i] = columns[i].write(&s)
			if field := columns[i].Field; field == "note" || field == "source" {
				cells[i] = guard(cells[i])
			}
		}
		if err := out.Write(cells); err != nil {
			return fmt.Errorf("write log: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write log: %w", err)
	}
	return nil
}
