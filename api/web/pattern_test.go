package web_test

import (
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/oil"
	"laneward/service/record"
)

// rowsOf writes loads as the form's rows, beginning with row first.
func rowsOf(first int, loads ...oil.Load) []string {
	var fields []string
	for i, l := range loads {
		number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
		for _, pair := range [][2]string{
			{"direction", string(l.Direction)},
			{"from_board", strconv.Itoa(l.FromBoard)},
			{"to_board", strconv.Itoa(l.ToBoard)},
			{"count", strconv.Itoa(l.Count)},
			{"ul_per_board", number(l.ULPerBoard)},
			{"start_ft", number(l.StartFt)},
			{"end_ft", number(l.EndFt)},
		} {
			fields = append(fields, "load-"+strconv.Itoa(first+i)+"-"+pair[0], pair[1])
		}
	}
	return fields
}

var inventedLoads = []oil.Load{
	{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 3, ULPerBoard: 42.5, StartFt: 0, EndFt: 30},
	{Direction: oil.Back, FromBoard: 9, ToBoard: 31, Count: 2, ULPerBoard: 50, StartFt: 41, EndFt: 6},
}

func (w *world) storedPattern(address string) *record.Pattern {
	w.t.Helper()
	id, err := uuid.Parse(address[strings.LastIndex(address, "/")+1:])
	must(w.t, err)
	found, err := w.svc.Get(w.t.Context(), w.coach, w.squad, record.KindPattern, id)
	must(w.t, err)
	return found.(*record.Pattern)
}

func TestPatternPage(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	film, err := w.svc.PatternFilm(t.Context(), w.coach, w.squad, w.pattern.ID, nil)
	must(t, err)
	report := film.Report
	page := v.get(w.at("/patterns/", w.pattern.ID.String()))
	page.wants(
		t,
		http.StatusOK,
		"44 ft",
		"8.96 mL",
		advice.RatioText(report.Ratios[0]),
		string(report.Class),
		"sport up to 4 to 1, challenge up to 8 to 1, house above",
		"11 to 29",
		"36 to 8",
		"Oil on each board",
		"Oil on each foot",
		// By hand: 3 x 45 + 2 x 45 + 2 x 45 on a board of all three loads; 37 x 135/30 + 25 x 90/44
		// + 19 x 90/28 on a foot of all three.
		"board 20: 315.0 µL",
		"8 to 9 ft: 278.7 µL",
	)
	for _, ratio := range report.Ratios {
		page.wants(t, http.StatusOK, ratio.Definition.Text, ratio.Definition.Source)
	}
	for _, class := range report.Classes {
		page.wants(t, http.StatusOK, class.Thresholds.Source)
	}
	worn := v.get(w.at("/patterns/", w.pattern.ID.String(), "?session=", w.session.ID.String(), "&shots=10"))
	worn.wants(
		t,
		http.StatusOK,
		"worn by 10 shots",
		"mL lifted",
		`The film is worn by the shots of the session "Practice 1"`,
	)
	v.get(w.at("/patterns/", w.pattern.ID.String(), "?session=", w.squad.String())).
		wants(t, http.StatusBadRequest, "is not one of the choices")
	bare := create(w, &record.Pattern{Name: "Hearsay 40", LengthFt: 40})
	v.get(w.at("/patterns/", bare.ID.String())).wants(t, http.StatusOK, "40 ft", "No oil data yet, only the length")
}

func TestAddAPattern(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.get(w.at("/patterns/new")).wants(t, http.StatusOK, "Add a pattern", "Load 6", "Paste as CSV instead")
	to := v.post(w.at("/patterns/new"), append(rowsOf(1, inventedLoads...), "name", "Invented Ford 41", "step", "store")...).
		location(t)
	made := w.storedPattern(to)
	if made.LengthFt != 41 || made.Name != "Invented Ford 41" {
		t.Errorf("%q of %g ft is stored", made.Name, made.LengthFt)
	}
	if diff := cmp.Diff(inventedLoads, made.Loads); diff != "" {
		t.Errorf("the load table (-sent +stored):\n%s", diff)
	}
	v.get(to).wants(t, http.StatusOK, "Invented Ford 41", "9 to 31")

	// A row in between that was left blank is no load.
	gap := append(rowsOf(1, inventedLoads[0]), "load-2-direction", "back")
	gap = append(append(gap, rowsOf(3, inventedLoads[1])...), "name", "With a gap", "step", "store")
	if diff := cmp.Diff(
		inventedLoads,
		w.storedPattern(v.post(w.at("/patterns/new"), gap...).location(t)).Loads,
	); diff != "" {
		t.Errorf("the load table with a gap (-sent +stored):\n%s", diff)
	}
	sided := rowsOf(1, inventedLoads[0])
	sided[slices.Index(sided, "load-1-from_board")+1] = "2L"
	sided[slices.Index(sided, "load-1-to_board")+1] = "2r"
	if diff := cmp.Diff(
		inventedLoads[:1],
		w.storedPattern(v.post(w.at("/patterns/new"), append(sided, "name", "Sides", "step", "store")...).location(t)).Loads,
	); diff != "" {
		t.Errorf("a load that names its sides (-sent +stored):\n%s", diff)
	}
	onlyLength := w.storedPattern(
		v.post(w.at("/patterns/new"), "load-1-direction", "out", "name", "Hearsay", "length_ft", "38.5", "step", "store").
			location(t),
	)
	if onlyLength.LengthFt != 38.5 || len(onlyLength.Loads) != 0 {
		t.Errorf("%+v is stored", onlyLength)
	}
}

func TestAddAPatternByCSV(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	const text = "direction;from_board;to_board;count;ul_per_board;start_ft;end_ft\n" +
		"Out;2L;2R;3;42.5;0;30\nBack;9L;9R;2;50;41;6\n"
	to := v.post(w.at("/patterns/new"), "load-1-direction", "out", "name", "Pasted", "csv", text, "step", "store").
		location(t)
	if diff := cmp.Diff(inventedLoads, w.storedPattern(to).Loads); diff != "" {
		t.Errorf("the load table (-sent +stored):\n%s", diff)
	}
	const wrong = "direction,from_board,to_board,count,ul_per_board,start_ft,end_ft\nout,2,x,3,42,0,30\nback,9,44,2,-5,41,6\n"
	v.post(w.at("/patterns/new"), "load-1-direction", "out", "name", "Pasted", "csv", wrong, "step", "store").
		wants(t, http.StatusBadRequest,
			"row 1, to_board", "row 2, to_board: there is no board 44", "row 2, ul_per_board: negative oil")
	v.post(w.at("/patterns/new"), append(rowsOf(1, inventedLoads...), "name", "Both", "csv", text, "step", "store")...).
		wants(t, http.StatusBadRequest, "use one of the two")
	v.post(w.at("/patterns/new"), "load-1-direction", "out", "name", "x", "csv", "hello", "step", "store").
		wants(t, http.StatusBadRequest, `column "hello" is unknown`)
}

// Every fault of a load table stands at the field of its own row.
func TestPatternFaultsStandAtTheirRows(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	wrong := []oil.Load{
		inventedLoads[0],
		{Direction: oil.Out, FromBoard: 0, ToBoard: 38, Count: 3, ULPerBoard: 40, StartFt: 20, EndFt: 4},
	}
	fields := append(rowsOf(1, wrong[0]), "load-2-direction", "out")
	fields = append(append(fields, rowsOf(3, wrong[1])...), "name", "Slips")
	fault := regexp.MustCompile(`id="(load-\d+-\w+)-fault"`)
	for _, step := range []string{"store", "look"} {
		got := v.post(w.at("/patterns/new"), append(fields, "step", step)...)
		got.wants(t, http.StatusBadRequest, "there is no board 0", "ends at 4 ft, before its start at 20 ft")
		var at []string
		for _, match := range fault.FindAllStringSubmatch(got.body, -1) {
			at = append(at, match[1])
		}
		if diff := cmp.Diff([]string{"load-3-from_board", "load-3-end_ft"}, at); diff != "" {
			t.Errorf("%s: faults (-want +got):\n%s", step, diff)
		}
	}
	half := v.post(
		w.at("/patterns/new"),
		"load-1-direction",
		"out",
		"load-1-from_board",
		"2",
		"load-1-to_board",
		"2.5",
		"name",
		"Half",
		"step",
		"store",
	)
	half.wants(t, http.StatusBadRequest, `"2.5" is not a board: write 1 to 39, or a board and its side`, "is required")
	v.post(w.at("/patterns/new"), append(rowsOf(1, inventedLoads...), "name", "Short", "length_ft", "30", "step", "store")...).
		wants(t, http.StatusBadRequest,
			"Length in feet", "the load table lays oil to 41 ft")
	v.post(w.at("/patterns/new"), "load-1-direction", "out", "name", "Nothing", "step", "store").
		wants(t, http.StatusBadRequest, "is required without a load table")
	dry := inventedLoads[0]
	dry.Count = 0
	v.post(w.at("/patterns/new"), append(rowsOf(1, dry), "name", "Dry", "step", "store")...).
		wants(t, http.StatusBadRequest, "No load lays any oil")
}

func TestLookAtAFilmBeforeItIsStored(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	before := patterns(w)
	look := v.post(w.at("/patterns/new"), append(rowsOf(1, inventedLoads...), "step", "look")...)
	look.wants(t, http.StatusOK, "Not stored yet", "41 ft", "to 1", "The film that this table lays")
	longer := v.post(w.at("/patterns/new"), append(rowsOf(1, inventedLoads...), "step", "row")...)
	longer.wants(t, http.StatusOK, "Load 3")
	if !strings.Contains(longer.body, `name="load-2-ul_per_board" type="number" inputmode="decimal" value="50"`) {
		t.Error("a new row forgets what the others hold")
	}
	if after := patterns(w); after != before {
		t.Errorf("looking stored something: %d patterns, then %d", before, after)
	}
}

func patterns(w *world) int {
	w.t.Helper()
	page, err := w.svc.List(w.t.Context(), w.coach, w.squad, record.KindPattern, 0, 1000)
	must(w.t, err)
	return len(page.Records)
}

func TestWhoMayAddPatterns(t *testing.T) {
	w := newWorld(t)
	w.member("ansel@example.org", record.RoleAthlete, &w.people[0].ID)
	w.member("analyst@example.org", record.RoleAnalyst, nil)
	for _, email := range []string{"ansel@example.org", "analyst@example.org"} {
		v := w.signedIn(email)
		v.get(w.at("/patterns/new")).wants(t, http.StatusForbidden, "Only coaches")
		v.post(w.at("/patterns/new"), append(rowsOf(1, inventedLoads...), "name", "x", "step", "store")...).
			wants(t, http.StatusForbidden, "Only coaches")
		v.get(w.at("/patterns/", w.pattern.ID.String())).wants(t, http.StatusOK, "Load table", "Plan a line on it")
	}
}
