package shot

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"

	"github.com/google/uuid"
)

// Options say how a log is read.
type Options struct {
	// SessionID is the session that the log is sent to: rows that name none belong to it, and rows
	// that name another are refused. The nil UUID: every row names its session.
	SessionID uuid.UUID
	// AthleteID bowled the rows that name no athlete. The nil UUID: every row names its athlete.
	AthleteID uuid.UUID
	// DrillID is the drill that the rows which name none were thrown for. The nil UUID: for no
	// drill.
	DrillID uuid.UUID
	// Athlete returns the athlete whom a CSV log names. Its error becomes the fault's detail, so it
	// says how to fix it. It is called once for each name. Nil: the log holds ids.
	Athlete func(name string) (uuid.UUID, error)
	// Ball does the same for a ball of this athlete, Drill for a drill.
	Ball  func(athleteID uuid.UUID, name string) (uuid.UUID, error)
	Drill func(name string) (uuid.UUID, error)
	// MaxBytes and MaxRows limit the log, as it is when unpacked. 0 sets no limit, which is not
	// safe for logs from outside.
	MaxBytes int64
	MaxRows  int
}

// Row is one row of a log.
type Row struct {
	Number int // 1 for the first row of data; empty rows are not counted
	Line   int // line of the log on which the row begins, 1 and up; 0 in a JSON document
	Shot   Shot
	// Faults is why the row is refused, up to MaxFaults. When there is none, Shot is valid and
	// canonical; otherwise it holds what could be read.
	Faults []Fault
}

// MaxFaults limits the faults that one row reports, so that the answer to a hostile row is not many
// times its size.
const MaxFaults = 32

// LogError ends the reading of a log: from there on, its rows cannot be separated. The rows before
// it were whole.
type LogError struct {
	Code   LogCode
	Line   int    // line of the log, 1 and up; 0 when it is not known
	Detail string // a sentence that says what is wrong and how to fix it
	Cause  error  // what the reader returned, for LogRead
}

// Error writes the line and the detail.
func (e *LogError) Error() string {
	if e.Line == 0 {
		return e.Detail
	}
	return fmt.Sprintf("line %d: %s", e.Line, e.Detail)
}

// Unwrap returns the cause.
func (e *LogError) Unwrap() error { return e.Cause }

// LogCode is the stable name of a kind of [LogError].
type LogCode string

// Kinds of log error.
const (
	LogRead     LogCode = "read"          // the reader failed: see Cause
	LogTooLarge LogCode = "too_large"     // more than Options.MaxBytes
	LogTooLong  LogCode = "too_many_rows" // more than Options.MaxRows
	LogFormat   LogCode = "format"        // not the format it was read as
	LogHeader   LogCode = "header"        // a CSV header row that is missing or names what is not known
	LogQuote    LogCode = "quote"         // a CSV quote that swallowed the rows after it
	LogSyntax   LogCode = "syntax"        // a JSON document that is broken
)

// maxRowBytes limits one line of NDJSON, and what is looked at to find a CSV header.
const maxRowBytes = 64 << 10

// readRows turns a row source into the sequence that the readers promise: rows with a nil error,
// then at most one error. open returns what reads the next row, which returns io.EOF after the
// last.
func readRows(open func() (next func() (Row, error), err error)) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		next, err := open()
		for err == nil {
			var row Row
			if row, err = next(); err == nil && !yield(row, nil) {
				return
			}
		}
		if !errors.Is(err, io.EOF) {
			yield(Row{}, err)
		}
	}
}

// openLog limits the log, removes a byte order mark and refuses what is certainly not text.
func openLog(r io.Reader, options Options) (*bufio.Reader, error) {
	limit := options.MaxBytes
	if limit <= 0 {
		limit = math.MaxInt64 - 1
	}
	buffered := bufio.NewReaderSize(&limitedReader{r: r, left: limit, limit: limit}, maxRowBytes)
	// An error beyond these bytes is returned again when they have been read.
	head, err := buffered.Peek(4)
	if len(head) == 0 && err != nil && !errors.Is(err, io.EOF) {
		return nil, readError(err)
	}
	for _, other := range []struct{ mark, detail string }{
		{"PK\x03\x04", "the log is a spreadsheet's workbook or another packed file: save it as CSV in UTF-8 and send that"},
		{"\x1f\x8b", "the log is packed with gzip: unpack it, or say so with Content-Encoding: gzip"},
		{"\xff\xfe", "the log is UTF-16: save it as CSV in UTF-8"},
		{"\xfe\xff", "the log is UTF-16: save it as CSV in UTF-8"},
	} {
		if bytes.HasPrefix(head, []byte(other.mark)) {
			return nil, &LogError{Code: LogFormat, Detail: other.detail}
		}
	}
	if bytes.HasPrefix(head, []byte("\ufeff")) {
		if _, err := buffered.Discard(len("\ufeff")); err != nil {
			return nil, readError(err)
		}
	}
	return buffered, nil
}

// limitedReader fails with a [LogError] when the log goes on beyond its limit; io.LimitReader would
// cut the log silently. Its first error is kept, so that peeking does not lose it.
type limitedReader struct {
	r           io.Reader
	left, limit int64
	err         error
}

func (l *limitedReader) Read(p []byte) (int, error) {
	if l.err != nil {
		return 0, l.err
	}
	if int64(len(p)) > l.left+1 {
		p = p[:l.left+1]
	}
	n, err := l.r.Read(p)
	if l.err = err; int64(n) > l.left {
		n = int(l.left)
		l.err = &LogError{
			Code:   LogTooLarge,
			Detail: fmt.Sprintf("the log is larger than %d bytes: send it in parts", l.limit),
		}
	}
	l.left -= int64(n)
	return n, l.err
}

// readError makes a [LogError] of what a reader returned.
func readError(err error) error {
	var own *LogError
	if errors.As(err, &own) {
		return own
	}
	return &LogError{
		Code:   LogRead,
		Detail: "the log could not be read to its end: send it again: " + err.Error(),
		Cause:  err,
	}
}

// intake completes the rows that the formats read.
type intake struct {
	options Options
	// fieldName names a field of [Shot] as the format does.
	fieldName func(jsonName string) string
	rows      int
	values    []float64 // the measured values of this row, in one piece
	ballText  string    // the ball that this row names
	athletes  names
	drills    names
	balls     map[uuid.UUID]*names // by athlete
	numbers   map[uuid.UUID]int    // number of the row that holds a shot
}

func newIntake(options Options, fieldName func(string) string) *intake {
	if options.MaxRows <= 0 {
		options.MaxRows = math.MaxInt
	}
	return &intake{
		options: options, fieldName: fieldName,
		athletes: names{what: "athlete", byName: options.Athlete},
		drills:   names{what: "drill", byName: options.Drill},
		balls:    map[uuid.UUID]*names{},
		numbers:  map[uuid.UUID]int{},
	}
}

// begin starts the next row.
func (in *intake) begin(line int) (Row, error) {
	if in.rows == in.options.MaxRows {
		return Row{}, &LogError{
			Code:   LogTooLong,
			Line:   line,
			Detail: fmt.Sprintf("the log has more than %d rows: send it in parts", in.options.MaxRows),
		}
	}
	in.rows++
	in.values, in.ballText = nil, ""
	return Row{Number: in.rows, Line: line}, nil
}

// accept reports whether a value could be read; if not, the error becomes a fault of the row.
func (in *intake) accept(row *Row, field string, err error) bool {
	if err != nil {
		row.fault(field, CodeFormat, err.Error())
	}
	return err == nil
}

func (row *Row) fault(field string, code Code, detail string) {
	if len(row.Faults) == MaxFaults {
		return
	}
	row.Faults = append(row.Faults, Fault{Field: field, Code: code, Detail: detail})
}

func (row *Row) faulty(field string) bool {
	return slices.ContainsFunc(row.Faults, func(f Fault) bool { return f.Field == field })
}

// measured sets measured value i.
func (in *intake) measured(row *Row, i int, v float64) {
	if in.values == nil {
		in.values = make([]float64, len(measures))
	}
	in.values[i] = v
	measures[i].Set(&row.Shot, &in.values[i])
}

// lookUp finds what a cell names by id or name; the nil UUID, and a fault, when there is no such
// thing.
func (in *intake) lookUp(row *Row, field string, among *names, text string) uuid.UUID {
	id, err := among.find(text)
	if err != nil {
		row.fault(field, CodeUnknown, err.Error())
		return uuid.Nil
	}
	return id
}

// ball finds the ball that the row names. It waits for an athlete who is known: balls are an
// athlete's own.
func (in *intake) ball(row *Row) {
	athleteID := row.Shot.AthleteID
	if in.ballText == "" || athleteID == uuid.Nil {
		return
	}
	arsenal := in.balls[athleteID]
	if arsenal == nil {
		arsenal = &names{what: "ball"}
		if in.options.Ball != nil {
			arsenal.byName = func(name string) (uuid.UUID, error) { return in.options.Ball(athleteID, name) }
		}
		in.balls[athleteID] = arsenal
	}
	if id := in.lookUp(row, in.fieldName("ball_id"), arsenal, in.ballText); id != uuid.Nil {
		row.Shot.BallID = &id
	}
}

// finish completes a row that has been read: what the log does not repeat in each row, the id, and
// every fault of the whole.
func (in *intake) finish(row *Row) {
	s := &row.Shot
	if s.SessionID == uuid.Nil {
		s.SessionID = in.options.SessionID
	} else if in.options.SessionID != uuid.Nil && s.SessionID != in.options.SessionID {
		row.fault(
			in.fieldName("session_id"),
			CodeMismatch,
			fmt.Sprintf("the row belongs to session %s, but the log is sent to %s: "+
				"send it there, or leave the session out", s.SessionID, in.options.SessionID),
		)
	}
	// A ball is not looked for in the arsenal of another than the row's athlete.
	if s.AthleteID == uuid.Nil && !row.faulty(in.fieldName("athlete_id")) {
		s.AthleteID = in.options.AthleteID
	}
	if s.DrillID == nil && in.options.DrillID != uuid.Nil {
		s.DrillID = new(in.options.DrillID)
	}
	in.ball(row)
	*s = s.Canonical()
	if s.ID == uuid.Nil && s.SessionID != uuid.Nil && s.AthleteID != uuid.Nil && s.Order > 0 {
		s.ID = DeriveID(s.SessionID, s.AthleteID, s.Order)
	}
	read := len(row.Faults)
	for _, f := range validate(s) {
		// A missing id follows from session, athlete or order, which have faults of their own.
		if f.Field == "id" {
			continue
		}
		f.Field = in.fieldName(f.Field)
		if !slices.ContainsFunc(row.Faults[:read], func(earlier Fault) bool { return earlier.Field == f.Field }) {
			row.fault(f.Field, f.Code, f.Detail)
		}
	}
	if len(row.Faults) > 0 {
		return
	}
	if earlier, ok := in.numbers[s.ID]; ok {
		row.fault(
			"",
			CodeRepeated,
			fmt.Sprintf("this shot is in row %d already, with the same id, or the same athlete and order: "+
				"give each shot its own order, or take one of the rows out", earlier),
		)
		return
	}
	in.numbers[s.ID] = row.Number
}
