package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/oil"
	"laneward/service/record"
)

// loadColumns are the fields of a load, as the service's faults name them, with the words of the
// form.
var loadColumns = []struct{ name, label string }{
	{"direction", "Direction"},
	{"from_board", "From board"},
	{"to_board", "To board"},
	{"count", "Passes"},
	{"ul_per_board", "µL per board"},
	{"start_ft", "Start, ft"},
	{"end_ft", "End, ft"},
}

// The rows of an empty form: as many as a short load table has, and as many as the longest may
// have.
const (
	emptyLoads = 6
	maxLoads   = oil.MaxLoads
)

// patternForm asks for a pattern with a number of rows for its load table.
func patternForm(r *roster, loads int) *form {
	f := &form{
		Action: r.Address() + "/patterns/new", Submit: "Add pattern", Hidden: map[string]string{"id": newID()},
		Inputs: []*input{
			{Name: "name", Label: "Name", Required: true, Max: "200", Autocomplete: "off"},
			{
				Name:  "length_ft",
				Label: "Length in feet",
				Hint:  "Leave empty to use the load table’s length.",
				Type:  "number",
				Step:  "any",
				Min:   "1",
				Max:   "60",
			},
			{Name: "note", Label: "Note", Type: "area", Max: "4000"},
			{
				Name:  "csv",
				Label: "Load table as CSV",
				Type:  "area",
				Max:   "100000",
				Hint: "Header row: direction,from_board,to_board,count,ul_per_board,start_ft,end_ft. Boards " +
					"may name their side, such as 2L and 2R.",
			},
		},
	}
	return f.withLoads(loads)
}

// withLoads is the form with n rows of a load table; existing rows keep their values.
func (f *form) withLoads(loads int) *form {
	laid := *f
	laid.Inputs = nil
	for _, in := range f.Inputs {
		if !strings.HasPrefix(in.Name, loadPrefix) {
			laid.Inputs = append(laid.Inputs, in)
		}
	}
	for row := range loads {
		for _, column := range loadColumns {
			name := loadInput(row, column.name)
			in := f.input(name)
			if in == nil {
				in = &input{
					Name:  name,
					Label: column.label,
					Row:   fmt.Sprintf("Load %d", row+1),
					Type:  "number",
					Step:  "any",
				}
				switch column.name {
				case "direction":
					in.Type, in.Options = "", []option{
						{string(oil.Out), directionName(oil.Out)}, {string(oil.Back), directionName(oil.Back)},
					}
				case "from_board", "to_board": // which may name their side
					in.Type, in.Step, in.Max = "", "", "4"
				}
			}
			laid.Inputs = append(laid.Inputs, in)
		}
	}
	return &laid
}

// loadRows are the rows of the form's load table.
func (f *form) loadRows() [][]*input {
	var cells []*input
	for _, in := range f.Inputs {
		if strings.HasPrefix(in.Name, loadPrefix) {
			cells = append(cells, in)
		}
	}
	return slices.Collect(slices.Chunk(cells, len(loadColumns)))
}

// loadPrefix begins the names of the inputs of a load table.
const loadPrefix = "load-"

func loadInput(row int, column string) string {
	return fmt.Sprintf("%s%d-%s", loadPrefix, row+1, column)
}

// loadsSent is how many rows a form was sent with.
func loadsSent(sent url.Values) int {
	n := 0
	for n < maxLoads && sent.Has(loadInput(n, "direction")) {
		n++
	}
	return max(n, 1)
}

// newPatternView is the data of the page for a new pattern.
type newPatternView struct {
	*roster
	Form *form
	Film *filmView // the table laid out, to look at before it is stored
}

// Loads are the rows of the load table.
func (view newPatternView) Loads() [][]*input { return view.Form.loadRows() }

func newPatternPage(v *visit) error {
	r, err := v.asCoach()
	if err != nil {
		return err
	}
	return v.showNewPattern(http.StatusOK, newPatternView{roster: r, Form: patternForm(r, emptyLoads)})
}

func (v *visit) showNewPattern(status int, view newPatternView) error {
	return v.show(
		status,
		"newpattern",
		frame{Title: "Add a pattern", Squad: view.Squad, Crumbs: v.crumbs(view.roster), Page: view},
	)
}

// newPattern stores a pattern. The form's other buttons add a row and lay the table out to look at.
func newPattern(v *visit) error {
	r, err := v.asCoach()
	if err != nil {
		return err
	}
	if err := v.form(); err != nil {
		return err
	}
	f := patternForm(r, loadsSent(v.PostForm))
	f.read(v.PostForm)
	if id, err := uuid.Parse(v.PostFormValue("id")); err == nil {
		f.Hidden["id"] = id.String()
	}
	show := func(status int, f *form) error { return v.showNewPattern(status, newPatternView{roster: r, Form: f}) }
	if v.PostFormValue("step") == "row" {
		return show(http.StatusOK, f.longer())
	}
	f = f.takeCSV()
	record := &record.Pattern{Head: record.Head{ID: uuid.MustParse(f.Hidden["id"])}}
	pointers := f.takePattern(record)
	looks := v.PostFormValue("step") == "look"
	if name := f.input("name"); looks && name.Value == "" {
		name.Fault = "" // it is not stored yet
	}
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	if looks {
		report, err := advice.LayOil(
			advice.OilQuery{Name: record.Name, LengthFt: record.LengthFt, Loads: record.Loads},
		)
		if err != nil {
			return v.retry(f, err, show, pointers...)
		}
		film, err := filmViewOf(report, "The film that this table lays")
		if err != nil {
			return err
		}
		return v.showNewPattern(http.StatusOK, newPatternView{roster: r, Form: f, Film: film})
	}
	made, _, err := v.site.svc.Create(v.Context(), v.me.ID, r.Own.ID, record)
	if err != nil {
		return v.retry(f, err, show, pointers...)
	}
	return v.goTo(patternAddress(r, made.Key()))
}

// longer is the form with one more row, without faults.
func (f *form) longer() *form {
	for _, in := range f.Inputs {
		in.Fault = ""
	}
	return f.withLoads(min(len(f.loadRows())+1, maxLoads))
}

// takeCSV writes a load table that was sent as text into the form's rows.
func (f *form) takeCSV() *form {
	text := f.value("csv")
	if text == "" {
		return f
	}
	if len(f.loads().loads) > 0 {
		f.blame("csv", "was given together with filled-in rows; use one of the two")
		return f
	}
	table, err := oil.ReadTableCSV(f.value("name"), strings.NewReader(text))
	var faults oil.Faults
	switch {
	case errors.As(err, &faults):
		f.blame("csv", "has mistakes:\n"+faults.Error())
		return f
	case err != nil:
		f.blame("csv", "cannot be read: "+err.Error())
		return f
	}
	filled := f.withLoads(len(table.Loads))
	filled.input("csv").Value = ""
	filled.fillLoads(table.Loads)
	return filled
}

// fillLoads writes a load table into the form's rows.
func (f *form) fillLoads(loads []oil.Load) {
	for i, load := range loads {
		for column, value := range map[string]string{
			"direction":    string(load.Direction),
			"from_board":   strconv.Itoa(load.FromBoard),
			"to_board":     strconv.Itoa(load.ToBoard),
			"count":        strconv.Itoa(load.Count),
			"ul_per_board": plain(load.ULPerBoard), "start_ft": plain(load.StartFt), "end_ft": plain(load.EndFt),
		} {
			f.input(loadInput(i, column)).Value = value
		}
	}
}

// loadTable is the rows of a form that are filled in, and the inputs that the service's pointers
// into them mean.
type loadTable struct {
	loads    []oil.Load
	pointers []string // pointer and input in turn
}

// loads reads the rows that are filled in, as a load table's file is read; a row with nothing but
// its direction does not count.
func (f *form) loads() loadTable {
	table := loadTable{pointers: []string{"loads", ""}}
	for row := range f.loadRows() {
		cells := make(map[string]string, len(loadColumns))
		blank := true
		for _, column := range loadColumns {
			cells[column.name] = f.value(loadInput(row, column.name))
			blank = blank && (cells[column.name] == "" || column.name == "direction")
		}
		if blank {
			continue
		}
		for _, column := range loadColumns {
			name := loadInput(row, column.name)
			f.blameBlank(name)
			table.pointers = append(table.pointers, fmt.Sprintf("loads/%d/%s", len(table.loads), column.name), name)
		}
		load, faults := oil.ReadLoad(row+1, cells)
		for _, fault := range faults {
			f.blame(loadInput(row, fault.Column), fault.Reason)
		}
		table.loads = append(table.loads, load)
	}
	return table
}

func (f *form) blameBlank(name string) {
	if f.value(name) == "" {
		f.blame(name, "is required")
	}
}
