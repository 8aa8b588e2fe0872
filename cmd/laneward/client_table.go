package main

import (
	"slices"
	"strings"

	"github.com/rivo/uniseg"
)

// table is rows of cells under a header, for reading. A column in which no row has anything is left
// out.
type table struct {
	columns []tableColumn
	rows    [][]string
}

type tableColumn struct {
	name  string
	right bool                     // numbers
	style func(cell string) string // nil for none
}

// newTable takes the columns' names; one that ends in > holds numbers and stands to the right.
func newTable(names ...string) *table {
	t := &table{}
	for _, name := range names {
		name, right := strings.CutSuffix(name, ">")
		t.columns = append(t.columns, tableColumn{name: name, right: right})
	}
	return t
}

func (t *table) add(cells ...string) { t.rows = append(t.rows, cells) }

// style sets how a column's cells look where colours are used.
func (t *table) style(name string, style func(cell string) string) {
	i := slices.IndexFunc(t.columns, func(c tableColumn) bool { return c.name == name })
	t.columns[i].style = style
}

const tableGap = "  "

// text lays the table out, its last column wrapped so that all fits into width; a width of 0 is
// endless.
func (t *table) text(width int, colours bool) string {
	shown, widths := t.shown()
	if len(shown) == 0 {
		return ""
	}
	var b strings.Builder
	header := make([]string, len(t.columns))
	for i, column := range t.columns {
		header[i] = strings.ToUpper(column.name)
	}
	last := shown[len(shown)-1]
	room := 0
	if width > 0 {
		room = width
		for _, i := range shown[:len(shown)-1] {
			room -= widths[i] + len(tableGap)
		}
		if room < min(widths[last], leastRoom) {
			return t.blocks(shown, colours)
		}
	}
	for n, row := range append([][]string{header}, t.rows...) {
		lines := wrap(row[last], room)
		for m, line := range lines {
			cells := make([]string, len(shown))
			for j, i := range shown {
				cell := ""
				if i == last {
					cell = line
				} else if m == 0 {
					cell = row[i]
				}
				cells[j] = t.cell(i, cell, widths[i], n == 0, colours)
			}
			b.WriteString(strings.TrimRight(strings.Join(cells, tableGap), " ") + "\n")
		}
	}
	return b.String()
}

// blocks lays each row out by itself, a line a column, for a terminal that is too narrow for the
// table.
func (t *table) blocks(shown []int, colours bool) string {
	var b strings.Builder
	names := 0
	for _, i := range shown {
		names = max(names, uniseg.StringWidth(t.columns[i].name))
	}
	for n, row := range t.rows {
		if n > 0 {
			b.WriteByte('\n')
		}
		for _, i := range shown {
			if row[i] == "" {
				continue
			}
			name := t.columns[i].name + strings.Repeat(" ", names-uniseg.StringWidth(t.columns[i].name))
			value := row[i]
			if colours && t.columns[i].style != nil {
				value = styled(value, t.columns[i].style(value))
			}
			b.WriteString(name + tableGap + value + "\n")
		}
	}
	return b.String()
}

// cell lays one cell out in its column.
func (t *table) cell(i int, text string, width int, header, colours bool) string {
	blanks := strings.Repeat(" ", max(0, width-uniseg.StringWidth(text)))
	switch {
	case !colours || text == "":
	case header:
		text = styled(text, bold)
	case t.columns[i].style != nil:
		text = styled(text, t.columns[i].style(text))
	}
	if t.columns[i].right {
		return blanks + text
	}
	return text + blanks
}

// shown returns the columns that hold something, and all columns' widths.
func (t *table) shown() (shown, widths []int) {
	widths = make([]int, len(t.columns))
	for i, column := range t.columns {
		holds := false
		widths[i] = uniseg.StringWidth(column.name)
		for _, row := range t.rows {
			holds = holds || row[i] != ""
			widths[i] = max(widths[i], uniseg.StringWidth(row[i]))
		}
		if holds {
			shown = append(shown, i)
		}
	}
	return shown, widths
}

// leastRoom is the narrowest a column is wrapped to; with less, each row is laid out by itself.
const leastRoom = 20

// wrap breaks a text at blanks so that its lines fit.
func wrap(text string, room int) []string {
	if room < leastRoom || uniseg.StringWidth(text) <= room {
		return []string{text}
	}
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		if line != "" && uniseg.StringWidth(line)+1+uniseg.StringWidth(word) > room {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

// paragraph lays a text out in lines that fit, each after indent.
func (c console) paragraph(text, indent string) string {
	return indent + strings.Join(wrap(text, c.width()-len(indent)), "\n"+indent) + "\n"
}

func (c console) printTable(t *table) error {
	return c.print(t.text(c.width(), c.colourful()))
}
