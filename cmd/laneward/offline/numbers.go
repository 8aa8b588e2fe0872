package offline

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// numberFile is a file of numbers: its own columns and rows as they were written, and of each row
// the numbers in the needed columns, in their order.
type numberFile struct {
	columns []string
	rows    [][]string
	values  [][]float64
}

// readNumbers reads CSV with a header row, comma or semicolon between the columns, that has at least
// the needed ones. The error names every bad row.
func readNumbers(text []byte, needed []string) (numberFile, error) {
	reader, header, err := openColumns(text, needed)
	if err != nil {
		return numberFile{}, err
	}
	places := make([]int, len(needed))
	for i, name := range needed {
		if places[i] = slices.Index(header, name); places[i] < 0 {
			return numberFile{}, fmt.Errorf(
				"column %s is missing: the file has the columns %s", name, strings.Join(needed, ","),
			)
		}
	}
	file := numberFile{columns: header}
	var faults releaseFaults
	for row := 1; ; row++ {
		cells, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return numberFile{}, fmt.Errorf("row %d is not CSV: %w", row, err)
		}
		if len(cells) != len(header) {
			faults.add(row, "%d cells are there and the header has %d", len(cells), len(header))
			continue
		}
		file.add(row, cells, places, needed, &faults)
	}
	switch {
	case len(faults.told) > 0:
		return numberFile{}, &faults
	case len(file.values) == 0:
		return numberFile{}, errors.New("the file has a header and no rows")
	}
	return file, nil
}

func (f *numberFile) add(row int, cells []string, places []int, needed []string, faults *releaseFaults) {
	values := make([]float64, len(places))
	for i, place := range places {
		cell := strings.TrimSpace(cells[place])
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			faults.add(row, "column %s: %q is not a number: write digits with a decimal point, such as 17.5", needed[i], cell)
			return
		}
		values[i] = v
	}
	f.rows, f.values = append(f.rows, cells), append(f.values, values)
}

// openColumns reads the header of a CSV file, comma or semicolon between the columns, in lower case;
// the rows are still to be read.
func openColumns(text []byte, needed []string) (reader *csv.Reader, header []string, err error) {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	reader = csv.NewReader(bytes.NewReader(text))
	reader.FieldsPerRecord, reader.TrimLeadingSpace = -1, true
	if first, _, _ := bytes.Cut(text, []byte("\n")); bytes.Count(first, []byte(";")) > bytes.Count(first, []byte(",")) {
		reader.Comma = ';'
	}
	header, err = reader.Read()
	if errors.Is(err, io.EOF) {
		return nil, nil, fmt.Errorf("the file is empty: begin it with the header %s", strings.Join(needed, ","))
	}
	if err != nil {
		return nil, nil, fmt.Errorf("the header is not CSV: %w", err)
	}
	for i := range header {
		header[i] = strings.ToLower(strings.TrimSpace(header[i]))
	}
	return reader, header, nil
}
