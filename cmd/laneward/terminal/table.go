package terminal

import (
	"slices"
	"strings"

	"github.com/rivo/uniseg"
)

// Table is rows of cells under a header, for reading. A column in which no row has anything is left
// out.
type Table struct {
	columns []tableColumn
	Rows    [][]string
}

type tableColumn struct {
	name  string
	right bool                     // numbers
	style func(cell string) string // nil for none
}

// NewTable takes the columns' names; one that ends in > holds numbers and is aligned right.
func NewTable(names ...string) *Table {
	t := &Table{}
	for _, name := range names {
		name, right := strings.CutSuffix(name, ">")
		t.columns = append(t.columns, tableColumn{name: name, right: right})
	}
	return t
}

// Add adds a row, a cell a column.
func (t *Table) Add(cells ...string) { t.Rows = append(t.Rows, cells) }

// Style sets how a column's cells look where colours are used.
func (t *Table) Style(name string, style func(cell string) string) {
	i := slices.IndexFunc(t.columns, func(c tableColumn) bool { return c.name == name })
	t.columns[i].style = style
}

const tableGap = "  "

// Text lays the table out, its last column wrapped so that all fits into width; a width of 0 is
// endless.
func (t *Table) Text(width int, colours bool) string {
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
	for n, row := range append([][]string{header}, t.Rows...) {
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
func (t *Table) blocks(shown []int, colours bool) string {
	var b strings.Builder
	names := 0
	for _, i := range shown {
		names = max(names, uniseg.StringWidth(t.columns[i].name))
	}
	for n, row := range t.Rows {
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
				value = Styled(value, t.columns[i].style(value))
			}
			b.WriteString(name + tableGap + value + "\n")
		}
	}
	return b.String()
}

// cell lays one cell out in its column.
func (t *Table) cell(i int, text string, width int, header, colours bool) string {
	blanks := strings.Repeat(" ", max(0, width-uniseg.StringWidth(text)))
	switch {
	case !colours || text == "":
	case header:
		text = Styled(text, bold)
	case t.columns[i].style != nil:
		text = Styled(text, t.columns[i].style(text))
	}
	if t.columns[i].right {
		return blanks + text
	}
	return text + blanks
}

// shown returns the columns that hold something, and all columns' widths.
func (t *Table) shown() (shown, widths []int) {
	widths = make([]int, len(t.columns))
	for i, column := range t.columns {
		holds := false
		widths[i] = uniseg.StringWidth(column.name)
		for _, row := range t.Rows {
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

// wrap breaks a text at spaces so that its lines fit.
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

// Paragraph lays a text out in lines that fit, each after indent.
func (c Console) Paragraph(text, indent string) string {
	return indent + strings.Join(wrap(text, c.Width()-len(indent)), "\n"+indent) + "\n"
}

// PrintTable prints a table as wide as the terminal.
func (c Console) PrintTable(t *Table) error {
	return c.Print(t.Text(c.Width(), c.Colourful()))
}
