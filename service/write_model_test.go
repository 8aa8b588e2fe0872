package service

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"testing"

	"laneward/service/record"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"pgregory.net/rapid"
)

// content is what a pattern says, in the model: three fields that two edits can meet in.
type content struct {
	Name, Note string
	LengthFt   float64
}

func (c content) record(id uuid.UUID, rev int64) *record.Pattern {
	return &record.Pattern{Head: record.Head{ID: id, Rev: rev}, Name: c.Name, Note: c.Note, LengthFt: c.LengthFt}
}

// modelVersion is a record at a revision, and the change that made it: what was sent, and the
// revision that was based on.
type modelVersion struct {
	Rev     int64
	Content content
	base    int64
	sent    content
}

// madeBy tells that a change made the version: what was stored as it was sent is known by that,
// what was merged by its base too.
func (v modelVersion) madeBy(base int64, sent content) bool {
	return v.Rev > base && v.sent == sent && (v.sent == v.Content || v.base == base)
}

// modelRecord is everything the model knows of one id: what stands, the deletion if it was the
// last, and what was replaced.
type modelRecord struct {
	current *modelVersion
	tomb    int64
	history []modelVersion
}

// model is a squad's patterns as a table of a few lines. It is written from the promises of
// [Change] and [Status], not from the engine.
type model struct {
	rev     int64
	records map[uuid.UUID]*modelRecord
}

// verdict is the part of an outcome that is promised.
type verdict struct {
	Status  Status
	Deleted bool
	Rev     int64
	Content content
}

func (m *model) apply(id uuid.UUID, base int64, mine content, remove, exact bool) verdict {
	r := m.records[id]
	if r == nil {
		r = &modelRecord{}
		m.records[id] = r
	}
	if remove {
		return m.remove(r, base)
	}
	sentBefore := (base == 0 || !exact) && (r.current != nil && r.current.madeBy(base, mine) ||
		slices.ContainsFunc(r.history, func(v modelVersion) bool { return v.madeBy(base, mine) }))
	switch {
	case r.current == nil && r.tomb == 0 && base == 0, r.current == nil && r.tomb != 0 && base == r.tomb:
		return m.store(r, modelVersion{Content: mine, base: base, sent: mine})
	case r.current == nil && r.tomb == 0:
		return verdict{Status: StatusRefused}
	case r.current == nil && sentBefore:
		return verdict{Status: StatusSame, Deleted: true, Rev: r.tomb}
	case r.current == nil:
		return verdict{Status: StatusConflict, Deleted: true, Rev: r.tomb}
	case r.current.Content == mine, sentBefore:
		return verdict{Status: StatusSame, Rev: r.current.Rev, Content: r.current.Content}
	case base == r.current.Rev:
		return m.store(r, modelVersion{Content: mine, base: base, sent: mine})
	}
	at := slices.IndexFunc(r.history, func(v modelVersion) bool { return v.Rev == base })
	if exact || at < 0 {
		return verdict{Status: StatusConflict, Rev: r.current.Rev, Content: r.current.Content}
	}
	merged, met := mergeContent(r.history[at].Content, mine, r.current.Content)
	switch {
	case met:
		return verdict{Status: StatusConflict, Rev: r.current.Rev, Content: r.current.Content}
	case merged == r.current.Content:
		return verdict{Status: StatusSame, Rev: r.current.Rev, Content: r.current.Content}
	}
	return m.store(r, modelVersion{Content: merged, base: base, sent: mine})
}

func (m *model) store(r *modelRecord, v modelVersion) verdict {
	if r.current != nil {
		r.history = append(r.history, *r.current)
	}
	m.rev++
	v.Rev = m.rev
	r.current, r.tomb = &v, 0
	return verdict{Status: StatusStored, Rev: v.Rev, Content: v.Content}
}

func (m *model) remove(r *modelRecord, base int64) verdict {
	switch {
	case r.current != nil && base == r.current.Rev:
		r.history = append(r.history, *r.current)
		m.rev++
		r.current, r.tomb = nil, m.rev
		return verdict{Status: StatusStored, Deleted: true, Rev: m.rev}
	case r.current != nil:
		return verdict{Status: StatusConflict, Rev: r.current.Rev, Content: r.current.Content}
	case r.tomb != 0:
		return verdict{Status: StatusSame, Deleted: true, Rev: r.tomb}
	}
	return verdict{Status: StatusRefused}
}

// mergeContent keeps both edits where they do not meet; met tells that they do.
func mergeContent(was, mine, theirs content) (merged content, met bool) {
	field := func(was, mine, theirs any) any {
		switch {
		case mine == was || mine == theirs:
			return theirs
		case theirs == was:
			return mine
		}
		met = true
		return theirs
	}
	return content{
		Name: field(was.Name, mine.Name, theirs.Name).(string), Note: field(was.Note, mine.Note, theirs.Note).(string),
		LengthFt: field(was.LengthFt, mine.LengthFt, theirs.LengthFt).(float64),
	}, met
}

// TestWritesFollowTheModel applies random changes, one by one and in batches, and holds every
// outcome and everything stored against the model.
func TestWritesFollowTheModel(t *testing.T) {
	t.Parallel()
	f := newFixture(t, 2)
	owner := f.owner(t)
	rapid.Check(t, func(rt *rapid.T) {
		squad, coach := f.squad(t)
		run := &modelRun{T: rt, fixture: f, squad: squad, coach: coach, ids: []uuid.UUID{newID(), newID(), newID()}}
		run.model = model{rev: 2, records: map[uuid.UUID]*modelRecord{}} // the squad and its coach
		for range rapid.IntRange(1, 20).Draw(rt, "batches") {
			run.batch(t)
		}
		run.compareStored(t, owner)
		f.wantCounted(t, squad)
	})
}

type modelRun struct {
	*rapid.T
	fixture      *fixture
	squad, coach uuid.UUID
	ids          []uuid.UUID
	model        model
	sent         []sentChange
}

// sentChange is a change as a device sends it, for it to be sent again.
type sentChange struct {
	id            uuid.UUID
	base          int64
	content       content
	remove, exact bool
}

func (r *modelRun) batch(t *testing.T) {
	size := rapid.IntRange(1, 4).Draw(r.T, "changes")
	var sent []sentChange
	for range size {
		sent = append(sent, r.draw())
	}
	// A batch deletes before it puts, and takes several changes of one record in turn: the model is
	// asked in that order.
	want := make([]verdict, size)
	for _, round := range r.rounds(sent) {
		for _, at := range round {
			c := sent[at]
			want[at] = r.model.apply(c.id, c.base, c.content, c.remove, c.exact)
		}
	}
	changes := make([]Change, size)
	for i, c := range sent {
		changes[i] = Change{Record: c.content.record(c.id, c.base), Delete: c.remove, Exact: c.exact}
	}
	outcomes := r.fixture.apply(t, r.squad, r.coach, changes...)
	got := make([]verdict, size)
	for i, o := range outcomes {
		got[i] = verdict{Status: o.Status, Deleted: o.Deleted, Rev: o.Rev}
		if p, ok := o.Record.(*record.Pattern); ok {
			got[i].Content = content{p.Name, p.Note, p.LengthFt}
			if p.Rev != o.Rev || p.ID != sent[i].id {
				r.Errorf("outcome %d shows record %s at %d", i, p.ID, p.Rev)
			}
		}
		if o.Status != StatusStored && o.Status != StatusSame && len(o.Faults) == 0 {
			r.Errorf("outcome %d: %s without a reason", i, o.Status)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		r.Fatalf("changes %+v\noutcomes (-model +engine):\n%s", sent, diff)
	}
	r.sent = append(r.sent, sent...)
}

// rounds are the places of a batch's changes in the order they take effect.
func (r *modelRun) rounds(sent []sentChange) (rounds [][]int) {
	turn := make(map[uuid.UUID]int)
	byTurn := make(map[int][]int)
	for i, c := range sent {
		byTurn[turn[c.id]] = append(byTurn[turn[c.id]], i)
		turn[c.id]++
	}
	for _, n := range slices.Sorted(maps.Keys(byTurn)) {
		places := byTurn[n]
		slices.SortStableFunc(places, func(a, b int) int { return order(sent[a].remove) - order(sent[b].remove) })
		rounds = append(rounds, places)
	}
	return rounds
}

func order(remove bool) int {
	if remove {
		return 0
	}
	return 1
}

func (r *modelRun) draw() sentChange {
	if len(r.sent) > 0 && rapid.IntRange(0, 3).Draw(r.T, "again") == 0 {
		return rapid.SampledFrom(r.sent).Draw(r.T, "sent before")
	}
	c := sentChange{
		id: rapid.SampledFrom(r.ids).
			Draw(r.T, "id"),
		remove: rapid.IntRange(0, 4).Draw(r.T, "remove") == 0,
		exact:  rapid.IntRange(0, 2).Draw(r.T, "exact") == 0,
	}
	if !c.remove {
		c.content = content{
			Name: rapid.SampledFrom([]string{"a", "b"}).
				Draw(r.T, "name"),
			Note:     rapid.SampledFrom([]string{"", "x", "y"}).Draw(r.T, "note"),
			LengthFt: rapid.SampledFrom([]float64{40, 41.5}).Draw(r.T, "length"),
		}
	}
	c.base = r.drawBase(c.id)
	return c
}

// drawBase prefers revisions that a device may hold.
func (r *modelRun) drawBase(id uuid.UUID) int64 {
	bases := []int64{0, 0, 999}
	if known := r.model.records[id]; known != nil {
		if known.current != nil {
			bases = append(bases, known.current.Rev, known.current.Rev, known.current.Rev)
		}
		if known.tomb != 0 {
			bases = append(bases, known.tomb, known.tomb)
		}
		for _, v := range known.history {
			bases = append(bases, v.Rev)
		}
	}
	return rapid.SampledFrom(bases).Draw(r.T, "base")
}

// compareStored holds every row of the squad against the model.
func (r *modelRun) compareStored(t *testing.T, owner *pgx.Conn) {
	want := map[string]string{"clock": fmt.Sprint(r.model.rev)}
	for id, known := range r.model.records {
		if known.current != nil {
			want[fmt.Sprintf("pattern %s", id)] = fmt.Sprintf("%d %+v", known.current.Rev, known.current.Content)
		}
		if known.tomb != 0 {
			want[fmt.Sprintf("tombstone %s", id)] = fmt.Sprint(known.tomb)
		}
		for _, v := range known.history {
			want[fmt.Sprintf("history %s %d", id, v.Rev)] = fmt.Sprintf("%+v", v.Content)
		}
	}
	got := make(map[string]string)
	scan := func(query string, add func(id uuid.UUID, rev int64, body []byte)) {
		rows, err := owner.Query(t.Context(), query, r.squad)
		if err != nil {
			t.Fatal(err)
		}
		var id uuid.UUID
		var rev int64
		var body []byte
		if _, err := pgx.ForEachRow(
			rows,
			[]any{&id, &rev, &body},
			func() error { add(id, rev, bytes.Clone(body)); return nil },
		); err != nil {
			t.Fatal(err)
		}
	}
	scan(
		"SELECT squad_id, rev, NULL::bytea FROM squads_clock WHERE squad_id = $1",
		func(_ uuid.UUID, rev int64, _ []byte) { got["clock"] = fmt.Sprint(rev) },
	)
	scan(
		`SELECT id, rev, convert_to(jsonb_build_object('name', name, 'note', note, 'length_ft', length_ft)::text, 'UTF8') FROM patterns WHERE squad_id = $1`,
		func(id uuid.UUID, rev int64, body []byte) {
			got[fmt.Sprintf("pattern %s", id)] = fmt.Sprintf("%d %+v", rev, contentOf(t, body))
		},
	)
	scan(
		"SELECT id, rev, NULL::bytea FROM tombstones WHERE squad_id = $1 AND kind = 'pattern'",
		func(id uuid.UUID, rev int64, _ []byte) {
			got[fmt.Sprintf("tombstone %s", id)] = fmt.Sprint(rev)
		},
	)
	scan(
		"SELECT id, rev, convert_to(body::text, 'UTF8') FROM history WHERE squad_id = $1 AND kind = 'pattern'",
		func(id uuid.UUID, rev int64, body []byte) {
			got[fmt.Sprintf("history %s %d", id, rev)] = fmt.Sprintf("%+v", contentOf(t, body))
		},
	)
	if diff := cmp.Diff(want, got); diff != "" {
		r.Fatalf("stored (-model +database):\n%s", diff)
	}
}

func contentOf(t *testing.T, body []byte) content {
	t.Helper()
	var p record.Pattern
	if err := json.Unmarshal(body, &p); err != nil {
		t.Fatal(err)
	}
	return content{p.Name, p.Note, p.LengthFt}
}
