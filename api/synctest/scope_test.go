package synctest

import (
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// troupe is a squad with a coach and two athletes who use it themselves, each with a ball, a
// session and a shot.
type troupe struct {
	server   *server
	coach    *person
	squad    string
	people   [2]*person
	athletes [2]string
	members  [2]fields
	balls    [2]string
	sessions [2]string
	shots    [2]string
	shared   string // a session of the whole squad
	pattern  string
	drills   [2]string // assigned to nobody yet
}

func newTroupe(t *testing.T, by func(*server) *client) *troupe {
	t.Helper()
	s := newServer(t, 6)
	way := by(s)
	tr := &troupe{
		server:  s,
		coach:   signUp(t, way, "Coach"),
		shared:  newID(),
		pattern: newID(),
		drills:  [2]string{newID(), newID()},
	}
	var err error
	if tr.squad, err = tr.coach.newSquad(t.Context(), "Invented squad"); err != nil {
		t.Fatal(err)
	}
	items := []item{
		{Kind: "pattern", Record: fields{"id": tr.pattern, "name": "Long", "length_ft": 44}},
		{
			Kind: "session",
			Record: fields{
				"id":         tr.shared,
				"kind":       "block",
				"name":       "Block",
				"date":       "2026-03-14",
				"pattern_id": tr.pattern,
			},
		},
		{Kind: "drill", Record: drillFields(tr.drills[0])},
		{Kind: "drill", Record: drillFields(tr.drills[1])},
	}
	for i := range tr.people {
		tr.people[i] = signUp(t, way, fmt.Sprintf("Athlete %d", i))
		tr.athletes[i], tr.balls[i], tr.sessions[i], tr.shots[i] = newID(), newID(), newID(), newID()
		items = append(
			items,
			item{Kind: "athlete", Record: fields{"id": tr.athletes[i], "name": tr.people[i].name, "side": "right"}},
			item{
				Kind:   "ball",
				Record: fields{"id": tr.balls[i], "athlete_id": tr.athletes[i], "name": "Ball", "weight_lb": 15},
			},
			item{
				Kind: "session",
				Record: fields{
					"id":         tr.sessions[i],
					"kind":       "practice",
					"name":       "Practice",
					"date":       "2026-03-14",
					"athlete_id": tr.athletes[i],
				},
			},
			item{Kind: "shot", Record: fields{
				"id":         tr.shots[i],
				"session_id": tr.sessions[i],
				"athlete_id": tr.athletes[i],
				"ball_id":    tr.balls[i],
				"order":      1,
				"time":       "2026-03-14T17:00:00Z",
			}},
		)
	}
	tr.coach.mustPush(t, tr.squad, items, "stored")
	for i, who := range tr.people {
		if tr.members[i], err = tr.coach.joins(t.Context(), tr.squad, who, "athlete", tr.athletes[i]); err != nil {
			t.Fatal(err)
		}
	}
	return tr
}

// overNothing reaches a server without a network.
func overNothing(s *server) *client { return directClient(s.handler) }

// follower is a device that reads only.
type follower struct {
	t     *testing.T
	who   *person
	squad string
	state
}

func (tr *troupe) follower(t *testing.T, who *person) *follower {
	return &follower{t: t, who: who, squad: tr.squad, state: state{held: map[key]held{}}}
}

// begin takes a snapshot, page by page.
func (f *follower) begin() *follower {
	f.t.Helper()
	f.held = map[key]held{}
	for at := ""; ; {
		got, err := f.who.snapshot(f.t.Context(), f.squad, at, 2)
		if err != nil {
			f.t.Fatal(err)
		}
		f.takeIn(got.Items)
		if at = got.Page; at == "" {
			f.cursor = got.Cursor
			return f
		}
	}
}

func (f *follower) takeIn(items []item) {
	f.t.Helper()
	for _, it := range items {
		for _, p := range parents(it.content()) {
			if _, there := f.held[p]; !there {
				f.t.Errorf("%s %s comes before its parent %s %s", it.Kind, it.ID, p.kind, p.id)
			}
		}
		f.take(it)
	}
}

// read reads on to the end, two items a page, and returns what came, as "kind" with "added",
// "removed" or "deleted" behind it.
func (f *follower) read() (came []string) {
	f.t.Helper()
	for {
		got, err := f.who.feed(f.t.Context(), f.squad, f.cursor, 2)
		if err != nil {
			f.t.Fatal(err)
		}
		f.takeIn(got.Items)
		for _, it := range got.Items {
			came = append(came, caption(it))
		}
		if f.cursor = got.Cursor; !got.More {
			return came
		}
	}
}

func caption(it item) string {
	how := it.Scope
	if it.Deleted {
		how = "deleted"
	}
	return strings.TrimSpace(it.Kind + " " + how)
}

// holds checks what the device has, and that the server counts the same.
func (f *follower) holds(want ...key) {
	f.t.Helper()
	order := func(keys []key) []string {
		list := make([]string, len(keys))
		for i, k := range keys {
			list[i] = k.kind + " " + k.id
		}
		slices.Sort(list)
		return list
	}
	if diff := cmp.Diff(order(want), order(slices.Collect(maps.Keys(f.held)))); diff != "" {
		f.t.Errorf("the device of %s holds (-want +got):\n%s", f.who.name, diff)
	}
	kinds, _, err := f.who.digests(f.t.Context(), f.squad)
	if err != nil {
		f.t.Fatal(err)
	}
	if diff := cmp.Diff(kinds, (&device{state: f.state}).digests()); diff != "" {
		f.t.Errorf("digests (-server +device):\n%s", diff)
	}
}

// gone wants that the device cannot go on from its cursor and is told where to begin again.
func (f *follower) gone() {
	f.t.Helper()
	_, err := f.who.feed(f.t.Context(), f.squad, f.cursor, 10)
	f.goneBy(err)
	_, _, err = f.who.live(f.t.Context(), f.squad, f.cursor)
	f.goneBy(err)
}

func (f *follower) goneBy(err error) {
	f.t.Helper()
	if statusOf(err) != http.StatusGone ||
		err.(*problem).Snapshot != "/v1/squads/"+f.squad+"/snapshot" {
		f.t.Errorf("going on from the old cursor: %v, want 410 with the snapshot's address", err)
	}
}

// own is what one of the athletes may see as long as no drill is assigned.
func (tr *troupe) own(i int) []key {
	return []key{
		{"squad", tr.squad},
		{"pattern", tr.pattern},
		{"session", tr.shared},
		{"athlete", tr.athletes[i]},
		{"member", tr.members[i]["id"].(string)},
		{"ball", tr.balls[i]},
		{"session", tr.sessions[i]},
		{"shot", tr.shots[i]},
	}
}

func (tr *troupe) assign(t *testing.T, drill int) (id string) {
	t.Helper()
	id = newID()
	tr.coach.mustPush(t, tr.squad, []item{{Kind: "assignment", Record: fields{
		"id": id, "drill_id": tr.drills[drill], "athlete_id": tr.athletes[0], "assigned_on": "2026-03-01",
	}}}, "stored")
	return id
}

func (tr *troupe) unassign(t *testing.T, id string) {
	t.Helper()
	tr.delete(t, "assignment", id)
}

// delete deletes a record as it stands.
func (tr *troupe) delete(t *testing.T, kind, id string) {
	t.Helper()
	var now fields
	if err := tr.coach.call(
		t.Context(),
		http.MethodGet,
		"/v1/squads/"+tr.squad+"/"+kind+"s/"+id,
		nil,
		&now,
	); err != nil {
		t.Fatal(err)
	}
	tr.coach.mustPush(
		t,
		tr.squad,
		[]item{{Kind: kind, ID: id, Rev: int64(now["rev"].(float64)), Deleted: true}},
		"stored",
	)
}

// edit changes fields of a record as it stands.
func (tr *troupe) edit(t *testing.T, kind, id string, change fields) {
	t.Helper()
	var now fields
	if err := tr.coach.call(
		t.Context(),
		http.MethodGet,
		"/v1/squads/"+tr.squad+"/"+kind+"s/"+id,
		nil,
		&now,
	); err != nil {
		t.Fatal(err)
	}
	delete(now, "sentences")
	maps.Copy(now, change)
	tr.coach.mustPush(t, tr.squad, []item{{Kind: kind, Record: now}}, "stored")
}

// setRole makes one of the athletes something else; "" takes them out.
func (tr *troupe) setRole(t *testing.T, i int, role, athlete string) {
	t.Helper()
	address := "/v1/squads/" + tr.squad + "/members/" + tr.members[i]["id"].(string)
	body := fields{"role": role}
	if athlete != "" {
		body["athlete_id"] = athlete
	}
	method := http.MethodPut
	if role == "" {
		method, body = http.MethodDelete, nil
	}
	if err := tr.coach.call(t.Context(), method, address, body, nil, "If-Match", "*"); err != nil {
		t.Fatal(err)
	}
}

func (tr *troupe) want(t *testing.T, got []string, want ...string) {
	t.Helper()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("the feed gave (-want +got):\n%s", diff)
	}
}

func TestAthleteSeesTheirOwn(t *testing.T) {
	t.Parallel()
	tr := newTroupe(t, overNothing)
	for i, who := range tr.people {
		tr.follower(t, who).begin().holds(tr.own(i)...)
		fromNothing := tr.follower(t, who)
		fromNothing.read()
		fromNothing.holds(tr.own(i)...)
	}
	everything := tr.follower(t, tr.coach).begin()
	if n := len(
		everything.held,
	); n != 1+1+1+2+2*5+1 { // squad, pattern, shared session, drills, two athletes' own, the coach as a member
		t.Errorf("the coach's device holds %d records", n)
	}
}

func TestAssignmentMovesTheDrill(t *testing.T) {
	t.Parallel()
	tr := newTroupe(t, overNothing)
	device, own := tr.follower(t, tr.people[0]).begin(), tr.own(0)
	other := tr.follower(t, tr.people[1]).begin()
	drill := func(i int) key { return key{"drill", tr.drills[i]} }
	given := func(id string) key { return key{"assignment", id} }
	with := func(more ...key) []key { return append(slices.Clone(own), more...) }

	first := tr.assign(t, 0)
	tr.want(t, device.read(), "drill added", "assignment")
	device.holds(with(drill(0), given(first))...)

	tr.edit(t, "drill", tr.drills[0], fields{"reps": 25})
	tr.edit(t, "drill", tr.drills[1], fields{"reps": 35}) // nobody's yet
	tr.want(t, device.read(), "drill")

	second := tr.assign(t, 0)
	tr.unassign(t, first)
	tr.want(t, device.read(), "drill added", "assignment", "assignment deleted")
	device.holds(with(drill(0), given(second))...)

	tr.edit(t, "assignment", second, fields{"drill_id": tr.drills[1]})
	tr.want(t, device.read(), "drill added", "assignment", "drill removed")
	device.holds(with(drill(1), given(second))...)

	tr.edit(t, "assignment", second, fields{"drill_id": tr.drills[0]})
	tr.unassign(t, second)
	tr.want(t, device.read(), "assignment deleted", "drill removed", "drill removed") // each drill that it was for
	device.holds(own...)

	tr.want(t, other.read()) // none of it was theirs
}

func TestMembersComeAndGo(t *testing.T) {
	t.Parallel()
	tr := newTroupe(t, overNothing)
	device := tr.follower(t, tr.people[0]).begin()
	coach := tr.follower(t, tr.coach).begin()

	tr.setRole(t, 0, "analyst", "")
	device.gone()
	device.begin()
	if len(device.held) != len(coach.held) {
		t.Errorf("an analyst's device holds %d records, a coach's %d", len(device.held), len(coach.held))
	}
	tr.want(t, coach.read(), "member")

	tr.setRole(t, 0, "athlete", tr.athletes[1])
	device.gone()
	device.begin().holds(append(tr.own(1), key{"member", tr.members[0]["id"].(string)})...)

	twin := tr.follower(t, tr.people[1]).begin() // both are the same athlete now, as a child and a parent may be
	tr.setRole(t, 0, "coach", "")
	tr.want(t, twin.read(), "member removed")
	twin.holds(tr.own(1)...)

	tr.setRole(t, 0, "", "")
	if _, err := tr.people[0].feed(t.Context(), tr.squad, device.cursor, 10); statusOf(err) != http.StatusNotFound {
		t.Errorf("reading on after leaving: %v, want 404", err)
	}
	joined, err := tr.coach.joins(t.Context(), tr.squad, tr.people[0], "athlete", tr.athletes[0])
	if err != nil {
		t.Fatal(err)
	}
	tr.members[0] = joined
	device.gone()
	device.begin().holds(tr.own(0)...)
}

// TestParentsFirst changes parents after their children: whatever the page size, a reader is given
// the parent first, in the feed and in a snapshot, and theirs before it.
func TestParentsFirst(t *testing.T) {
	t.Parallel()
	tr := newTroupe(t, overNothing)
	late := newID()
	coach := tr.follower(t, tr.coach)
	first, err := tr.coach.snapshot(t.Context(), tr.squad, "", 2)
	if err != nil {
		t.Fatal(err)
	}
	tr.coach.mustPush(
		t,
		tr.squad,
		[]item{{Kind: "pattern", Record: fields{"id": late, "name": "Newer than its session", "length_ft": 38}}},
		"stored",
	)
	tr.edit(t, "session", tr.sessions[0], fields{"pattern_id": late})
	tr.edit(t, "athlete", tr.athletes[0], fields{"note": "edited last"})
	coach.read() // from nothing: it holds the order
	coach.begin()
	resumed := tr.follower(t, tr.coach)
	resumed.takeIn(first.Items)
	for at := first.Page; at != ""; {
		got, err := tr.coach.snapshot(t.Context(), tr.squad, at, 2)
		if err != nil {
			t.Fatal(err)
		}
		resumed.takeIn(got.Items)
		at, resumed.cursor = got.Page, got.Cursor
	}
	resumed.read()
	resumed.holds(slices.Collect(maps.Keys(coach.held))...)
}

func TestErasedAthleteLeavesDeletionsOnly(t *testing.T) {
	t.Parallel()
	tr := newTroupe(t, overNothing)
	coach := tr.follower(t, tr.coach).begin()
	var erased fields
	address := "/v1/squads/" + tr.squad + "/athletes/" + tr.athletes[0] + "/erase"
	if err := tr.coach.call(
		t.Context(),
		http.MethodPost,
		address,
		fields{"confirm": "Athlete 0"},
		&erased,
	); err != nil {
		t.Fatal(err)
	}
	came := coach.read()
	slices.Sort(came)
	tr.want(t, came, "athlete deleted", "ball deleted", "member deleted", "session deleted", "shot deleted")
	left := slices.Collect(maps.Keys(coach.held))
	coach.holds(left...)
	if _, err := tr.people[0].feed(t.Context(), tr.squad, "", 10); statusOf(err) != http.StatusNotFound {
		t.Errorf("who was erased reads on: %v, want 404", err)
	}
	// A device that has not heard of it sends all of it again: nothing comes back, and it is told why.
	result, err := tr.coach.push(t.Context(), tr.squad, []item{
		{Kind: "athlete", Record: fields{"id": tr.athletes[0], "name": "Athlete 0", "side": "right"}},
		{Kind: "ball", Record: fields{"id": tr.balls[0], "athlete_id": tr.athletes[0], "name": "Blue solid", "weight_lb": 15}},
		{Kind: "session", Record: fields{
			"id": tr.sessions[0], "athlete_id": tr.athletes[0], "kind": "practice", "name": "Practice", "date": "2026-03-14",
		}},
		{Kind: "shot", Record: fields{
			"id":         tr.shots[0],
			"session_id": tr.sessions[0],
			"athlete_id": tr.athletes[0],
			"ball_id":    tr.balls[0],
			"order":      1,
			"time":       "2026-03-14T17:00:00Z",
		}},
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range result.Outcomes {
		if o.Outcome != "refused" || len(o.Errors) != 1 || o.Errors[0].Code != "erased" {
			t.Errorf("item %d sent again: %+v, want refused as erased", i, o)
		}
	}
	coach.read()
	coach.holds(left...)
}
