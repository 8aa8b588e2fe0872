package shot

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
)

// ReadNDJSON reads a log of one JSON object a line, one row at a time. The sequence can be ranged
// over once; it ends after the first error, which is a [*LogError].
//
// The keys are those of [Shot]; an unknown or repeated one is a fault of the row,
// and null is the same as a missing key. A row without id gets one from [DeriveID]; session_id and
// athlete_id may come from the options. A line of more than 64 KiB, or one that is not JSON, is a
// fault of that row alone. Empty lines are skipped.
func ReadNDJSON(r io.Reader, options Options) iter.Seq2[Row, error] {
	return readRows(func() (func() (Row, error), error) {
		text, err := openLog(r, options)
		if err != nil {
			return nil, err
		}
		if head, err := text.Peek(1); err == nil && head[0] == '[' {
			return nil, &LogError{
				Code:   LogFormat,
				Line:   1,
				Detail: "the log is a JSON array and not NDJSON: send it as JSON, or write one shot a line",
			}
		}
		log := &ndjsonLog{intake: newIntake(options, jsonName), text: text}
		return log.next, nil
	})
}

// ReadJSON reads a log that is one JSON document, an array of shots or an object {"shots": [...]},
// one row at a time and as [ReadNDJSON] does. A broken document ends the reading with an error that
// says where; the rows before it were complete.
func ReadJSON(r io.Reader, options Options) iter.Seq2[Row, error] {
	return readRows(func() (func() (Row, error), error) {
		text, err := openLog(r, options)
		if err != nil {
			return nil, err
		}
		log := &jsonLog{intake: newIntake(options, jsonName), decoder: NewDecoder(text)}
		return log.next, log.readStart()
	})
}

// NewDecoder returns a decoder of a document from outside, whose work grows with the document's
// length and no faster: encoding/json's own looks at the white space before a value again with
// whatever little comes of it.
func NewDecoder(r io.Reader) *json.Decoder { return json.NewDecoder(filling{r}) }

// filling fills what is to be read into, unless the reader ends or fails.
type filling struct{ r io.Reader }

func (f filling) Read(p []byte) (n int, err error) {
	for n < len(p) && err == nil {
		var more int
		more, err = f.r.Read(p[n:])
		n += more
	}
	return n, err
}

func jsonName(field string) string { return field }

type ndjsonLog struct {
	*intake
	text *bufio.Reader
	line int
}

func (log *ndjsonLog) next() (Row, error) {
	for {
		line, err := log.text.ReadSlice('\n')
		long := errors.Is(err, bufio.ErrBufferFull)
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = log.text.ReadSlice('\n')
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return Row{}, readError(err)
		}
		log.line++
		line = bytes.TrimSpace(line)
		if len(line) == 0 && !long {
			if errors.Is(err, io.EOF) {
				return Row{}, err
			}
			continue
		}
		row, err := log.begin(log.line)
		if err != nil {
			return row, err
		}
		if long {
			row.fault(
				"",
				CodeLength,
				fmt.Sprintf("the line is longer than %d bytes: write one shot a line", maxRowBytes),
			)
		} else if detail := notJSON(line); detail != "" {
			row.fault("", CodeFormat, detail)
		} else {
			log.readShot(&row, line)
		}
		return row, nil
	}
}

// notJSON says why a line is not one JSON value, or nothing.
func notJSON(line []byte) string {
	if json.Valid(line) {
		return ""
	}
	var value json.RawMessage
	err := json.Unmarshal(line, &value)
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		return fmt.Sprintf(
			"the line is not JSON, at byte %d: %v: write each shot whole, as one JSON object on one line",
			syntax.Offset,
			err,
		)
	}
	return fmt.Sprintf("the line is not JSON: %v: write each shot whole, as one JSON object on one line", err)
}

type jsonLog struct {
	*intake
	decoder *json.Decoder
	wrapped bool // the array is in an object
	value   json.RawMessage
}

// documentShape describes the form of a JSON log.
const documentShape = `a JSON log is an array of shots, or an object {"shots": [...]}`

func (log *jsonLog) readStart() error {
	token, err := log.decoder.Token()
	if errors.Is(err, io.EOF) {
		return &LogError{Code: LogSyntax, Detail: "the log is empty: " + documentShape}
	}
	if err == nil && token == json.Delim('{') {
		log.wrapped = true
		if token, err = log.decoder.Token(); err == nil && token != "shots" {
			return &LogError{
				Code:   LogFormat,
				Detail: fmt.Sprintf("the document begins with %s: %s", quoted(fmt.Sprint(token)), documentShape),
			}
		}
		if err == nil {
			token, err = log.decoder.Token()
		}
	}
	if err != nil {
		return log.documentError(err)
	}
	if token != json.Delim('[') {
		return &LogError{Code: LogFormat, Detail: "the shots are not an array: " + documentShape}
	}
	return nil
}

func (log *jsonLog) next() (Row, error) {
	if !log.decoder.More() {
		return Row{}, log.readEnd()
	}
	if err := log.decoder.Decode(&log.value); err != nil {
		return Row{}, log.documentError(err)
	}
	row, err := log.begin(0)
	if err == nil {
		log.readShot(&row, log.value)
	}
	return row, err
}

// readEnd returns io.EOF when the document ends as it should.
func (log *jsonLog) readEnd() error {
	if _, err := log.decoder.Token(); err != nil {
		return log.documentError(err)
	}
	if log.wrapped {
		token, err := log.decoder.Token()
		if err != nil {
			return log.documentError(err)
		}
		if token != json.Delim('}') {
			return &LogError{
				Code: LogFormat,
				Detail: fmt.Sprintf(
					"the document goes on with %s after the shots: %s",
					quoted(fmt.Sprint(token)),
					documentShape,
				),
			}
		}
	}
	_, err := log.decoder.Token()
	if err == nil {
		return &LogError{Code: LogFormat, Detail: "the document goes on after its end: " + documentShape}
	}
	if !errors.Is(err, io.EOF) {
		return log.documentError(err)
	}
	return io.EOF
}

func (log *jsonLog) documentError(err error) error {
	var syntax *json.SyntaxError
	switch {
	case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
		return &LogError{
			Code:   LogSyntax,
			Detail: fmt.Sprintf("the document ends after shot %d without being closed: send it whole", log.rows),
		}
	case errors.As(err, &syntax):
		return &LogError{
			Code: LogSyntax,
			Detail: fmt.Sprintf(
				"the document is not JSON after shot %d, near byte %d: %v: mend it there and send it again",
				log.rows,
				log.decoder.InputOffset(),
				err,
			),
		}
	}
	return readError(err)
}
