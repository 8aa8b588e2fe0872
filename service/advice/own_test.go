package advice

import (
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"

	"laneward/service/lane"
	"laneward/service/line"
	"laneward/service/oil"
	"laneward/service/record"
	"laneward/service/tenpin"
)

// ownPlanner plans for an athlete of whom nothing is stored, on an invented pattern.
func ownPlanner(t *testing.T, query Query) *Planner {
	t.Helper()
	if faults := query.Faults(); len(faults) > 0 {
		t.Fatal(record.Faults(faults))
	}
	pattern := &record.Pattern{Name: "Flat", LengthFt: 41, Loads: []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 9, ULPerBoard: 50, StartFt: 0, EndFt: 41},
	}}
	athlete := &record.Athlete{Name: "Rhea", Side: lane.Right}
	athlete.ID, pattern.ID = uuid.New(), uuid.New()
	query.Athlete, query.Pattern = athlete.ID, pattern.ID
	planner, err := NewPlanner(query, Records{Athlete: athlete, Pattern: pattern})
	if err != nil {
		t.Fatal(err)
	}
	return planner
}

func says(t *testing.T, s Subject, text string) {
	t.Helper()
	if all := strings.Join(s.Assumptions, "\n"); !strings.Contains(all, text) {
		t.Errorf("%q is not said:\n%s", text, all)
	}
}

func TestStatedScatter(t *testing.T) {
	assumed := ownPlanner(t, Query{}).Subject.Scatter
	boards := 2 * assumed.ArrowsBoards
	stated := ownPlanner(t, Query{ScatterBoards: &boards})
	want := assumed
	want.ArrowsBoards, want.LaunchAngleDeg, want.Stated = boards, 2*assumed.LaunchAngleDeg, true
	got := stated.Subject.Scatter
	if got.line() != want.line() || !got.Stated || assumed.Stated {
		t.Errorf("%+v, want %+v", got, want)
	}
	if stated.request.Athlete.Scatter != got.line() {
		t.Errorf("planned with %+v, told %+v", stated.request.Athlete.Scatter, got)
	}
	says(t, stated.Subject, "The scatter of Rhea at the arrows is 2 boards, as stated; that of the launch angle is taken in proportion, 0.60 degrees.")
}

// The value of a line uses the athlete's own rates, and the answer says which those are.
func TestOwnSpares(t *testing.T) {
	sure, never := 1.0, 0.0
	standard := ownPlanner(t, Query{})
	says(t, standard.Subject, "a practised league bowler's spares are assumed")
	own := ownPlanner(t, Query{Spares: OwnSpares{
		tenpin.SpareSingle: {Converted: 20, Tries: 20},
		tenpin.SpareSplit:  {Share: &never},
	}})
	says(t, own.Subject, "The spares of Rhea are as stated: single pins 92 % (20 of 20, drawn toward a practised league bowler's), splits 0 %; the other leaves are converted as by a practised league bowler (common practice, no source).")
	all := OwnSpares{}
	for _, class := range tenpin.SpareClasses() {
		all[class] = tenpin.Conversions{Share: &sure}
	}
	best := ownPlanner(t, Query{Spares: all})
	says(t, best.Subject, "most of the rack 100 %.")
	want := tenpin.DefaultSpares()
	want.Single, want.Split = 0.925, 0
	if own.Subject.Spares != want {
		t.Errorf("%+v, want %+v", own.Subject.Spares, want)
	}
	aim := line.Aim{LaydownBoard: 24, LaunchAngleDeg: 1.9}
	usual, err := standard.Study(context.Background(), aim)
	if err != nil {
		t.Fatal(err)
	}
	perfect, err := best.Study(context.Background(), aim)
	if err != nil {
		t.Fatal(err)
	}
	if !(perfect.Pins > usual.Pins+0.5) {
		t.Errorf("who converts everything makes %.2f pins a frame, a league bowler %.2f", perfect.Pins, usual.Pins)
	}
}

func TestOwnFaults(t *testing.T) {
	none := OwnSpares{tenpin.SpareHeadPin: {}}
	far := 11.0
	for at, faults := range map[string][]record.Fault{
		"/subject/spares/head_pin": Query{Spares: none}.Faults(),
		"/subject/scatter_boards":  Query{ScatterBoards: &far}.Faults(),
		"/against/spares/head_pin": Against{Spares: none}.Faults(),
		"/against/scatter_boards":  Against{ScatterBoards: &far}.Faults(),
	} {
		if len(faults) != 1 || faults[0].Pointer != at {
			t.Errorf("%s: %+v", at, faults)
		}
	}
}

// What is stated of one athlete is never taken for another.
func TestAgainstAnotherAthlete(t *testing.T) {
	boards, other := 2.0, uuid.New()
	of := Query{
		Athlete:       uuid.New(),
		ScatterBoards: &boards,
		Spares:        OwnSpares{tenpin.SpareSingle: {Converted: 1, Tries: 2}},
	}
	same, differs := Against{Fresh: true}.Apply(of)
	if same.ScatterBoards != of.ScatterBoards || same.Spares == nil || len(differs) != 0 {
		t.Errorf("%+v differs in %v", same, differs)
	}
	if got, _ := (Against{Athlete: &other}).Apply(of); got.ScatterBoards != nil || got.Spares != nil {
		t.Errorf("%+v", got)
	}
	tighter := 0.5
	if got, differs := (Against{ScatterBoards: &tighter}).Apply(of); *got.ScatterBoards != tighter ||
		len(differs) != 1 {
		t.Errorf("%+v differs in %v", got, differs)
	}
}
