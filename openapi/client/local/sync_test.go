package local_test

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

func TestCopiesAndSends(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	b := coach.newBase()
	shot := coach.log(b, 1)
	coach.wantPending(3, 0, 0, 0)
	if got := coach.once(); got.Sent != 3 || !got.Copied {
		t.Errorf("the first pass did %+v", got)
	}
	coach.wantPending(0, 0, 0, 0)
	coach.alike()
	other := coach.another(coach.address)
	if got := other.once(); got.Sent != 0 || got.Received != 5 { // the squad and the member too
		t.Errorf("the other device's first pass did %+v", got)
	}
	other.alike()
	other.edit(client.Shot, shot, map[string]any{"note": "a high flush hit", "speed_mph": nil})
	if got := other.field(
		client.Shot,
		shot,
		"note",
	); got != `"a high flush hit"` ||
		other.see(client.Shot, shot).State != local.Queued {
		t.Errorf("the edit is seen as %s", got)
	}
	other.once()
	if got := coach.once(); got.Received != 1 || got.Copied || coach.field(client.Shot, shot, "speed_mph") != "" {
		t.Errorf("the edit came as %+v", got)
	}
	if got := coach.once(); got != (local.Result{}) {
		t.Errorf("a pass with nothing to do did %+v", got)
	}
	coach.must(coach.store.Delete(t.Context(), coach.squad, coach.see(client.Shot, shot).Record))
	coach.once()
	other.once()
	if _, err := other.store.Get(t.Context(), other.squad, client.Shot, shot); client.CodeOf(err) != client.NotFound {
		t.Errorf("the deleted shot is still on the other device: %v", err)
	}
	coach.alike()
	other.alike()
}

// Two edits of one record in different fields are merged by the server, and the device takes the
// merged record over.
func TestMerges(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	b := coach.newBase()
	shot := coach.log(b, 1)
	coach.once()
	other := coach.another(coach.address)
	other.once()
	coach.edit(client.Shot, shot, map[string]any{"note": "mine"})
	other.edit(client.Shot, shot, map[string]any{"speed_mph": 17})
	other.once()
	if err := func() error { // sent without having read what the other did
		_, err := coach.sync().Once(t.Context())
		return err
	}(); err != nil {
		t.Fatal(err)
	}
	if coach.field(client.Shot, shot, "note") != `"mine"` || coach.field(client.Shot, shot, "speed_mph") != "17" {
		t.Errorf("the device has %s", coach.see(client.Shot, shot).JSON)
	}
	coach.wantPending(0, 0, 0, 0)
	other.once()
	coach.alike()
	other.alike()
}

// What refers to something that is missing waits, and goes when that has come, whoever brings it.
func TestWaits(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	b := coach.newBase()
	coach.once()
	elsewhere := base{b.athlete, newID()}
	shot := coach.log(elsewhere, 1)
	coach.once()
	coach.wantPending(0, 1, 0, 0)
	if reason := coach.pending(
		local.Waiting,
	).Reasons; len(reason) == 0 || reason[0].Pointer != "/session_id" ||
		!strings.Contains(reason[0].Detail, elsewhere.session.String()) {
		t.Errorf("it waits because of %+v", reason)
	}
	coach.edit(client.Shot, shot, map[string]any{"note": "edited while it waits"})
	coach.once()
	coach.wantPending(0, 1, 0, 0)
	other := coach.another(coach.address)
	other.put(client.Session, elsewhere.session, 0, elsewhere.sessionFields())
	other.once()
	coach.once() // the parent comes, and at once the shot goes
	coach.wantPending(0, 0, 0, 0)
	if got := coach.onServer(client.Shot, shot, "note"); got != `"edited while it waits"` {
		t.Errorf("the server has %s", got)
	}
	late := base{b.athlete, newID()}
	coach.log(late, 2)
	coach.put(client.Session, late.session, 0, late.sessionFields()) // after its shot
	coach.once()
	coach.wantPending(0, 0, 0, 0)
	coach.alike()
}

func TestRefused(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	b := coach.newBase()
	wrong := b.shotFields(1)
	wrong["speed_mph"] = 900
	first, second := newID(), newID()
	coach.put(client.Shot, first, 0, wrong)
	coach.put(client.Shot, second, 0, wrong)
	good := coach.log(b, 2)
	if got := coach.once(); got.Sent != 3 {
		t.Errorf("a bad item holds up the good ones: %+v", got)
	}
	coach.wantPending(0, 0, 2, 0)
	if coach.onServer(client.Shot, good, "order") != "2" {
		t.Error("the good one is not there")
	}
	all, err := coach.store.Pending(t.Context(), local.Refused)
	if err != nil || len(all) != 2 || all[0].ID != first || len(all[0].Reasons) == 0 ||
		all[0].Reasons[0].Pointer != "/record/speed_mph" {
		t.Fatalf("%+v, %v", all, err)
	}
	if coach.see(client.Shot, first).State != local.Refused {
		t.Error("a refused shot is not seen any more")
	}
	coach.must(
		coach.store.Resolve(
			t.Context(),
			all[0].Number,
			[]byte(
				`{"session_id":"`+b.session.String()+`","athlete_id":"`+b.athlete.String()+`","order":1,"time":"2026-03-14T17:00:00Z","speed_mph":16}`,
			),
		),
	)
	coach.must(coach.store.Drop(t.Context(), all[1].Number))
	coach.wantPending(1, 0, 0, 0)
	coach.once()
	coach.wantPending(0, 0, 0, 0)
	if coach.onServer(client.Shot, first, "speed_mph") != "16" ||
		coach.onServer(client.Shot, second, "order") != "gone" {
		t.Error("the server does not have what was decided")
	}
	if err := coach.store.Drop(t.Context(), all[0].Number); client.CodeOf(err) != client.NotFound {
		t.Errorf("dropped twice: %v", err)
	}
	coach.alike()
}

// An edit that meets another in the same field, and each way to settle it.
func TestConflicts(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	other := coach.another(coach.address)
	b := coach.newBase()
	coach.once()
	type side = map[string]any // nil deletes
	for i, one := range []struct {
		name         string
		mine, theirs side
		settle       func(number int64, pending local.Pending) error
		want         string // the note afterwards
	}{
		{"mine", side{"note": "mine"}, side{"note": "theirs", "speed_mph": 18}, func(n int64, p local.Pending) error { return coach.store.Resolve(t.Context(), n, p.Mine) }, `"mine"`},
		{"theirs", side{"note": "mine"}, side{"note": "theirs"}, func(n int64, _ local.Pending) error { return coach.store.Drop(t.Context(), n) }, `"theirs"`},
		{"a third", side{"note": "mine"}, side{"note": "theirs"}, func(n int64, p local.Pending) error {
			return coach.store.Resolve(t.Context(), n, []byte(strings.ReplaceAll(string(p.Mine), "mine", "both")))
		}, `"both"`},
		{"mine, deleted there", side{"note": "mine"}, nil, func(n int64, p local.Pending) error { return coach.store.Resolve(t.Context(), n, p.Mine) }, `"mine"`},
		{"theirs, deleted there", side{"note": "mine"}, nil, func(n int64, _ local.Pending) error { return coach.store.Drop(t.Context(), n) }, "gone"},
		{"mine, deleted here", nil, side{"note": "theirs"}, func(n int64, p local.Pending) error { return coach.store.Resolve(t.Context(), n, p.Mine) }, "gone"},
		{"theirs, deleted here", nil, side{"note": "theirs"}, func(n int64, _ local.Pending) error { return coach.store.Drop(t.Context(), n) }, `"theirs"`},
	} {
		shot := coach.log(b, i+1)
		coach.once()
		other.once()
		for c, change := range map[*copy]side{coach: one.mine, other: one.theirs} {
			if change == nil {
				c.must(c.store.Delete(t.Context(), c.squad, c.see(client.Shot, shot).Record))
			} else {
				c.edit(client.Shot, shot, change)
			}
		}
		other.once()
		coach.once()
		coach.wantPending(0, 0, 0, 1)
		p := coach.pending(local.Conflict)
		if (p.Mine == nil) != (one.mine == nil) || (p.Theirs == nil) != (one.theirs == nil) || len(p.Reasons) == 0 {
			t.Fatalf("%s: %+v", one.name, p)
		}
		if one.theirs != nil && fieldOf(t, p.Theirs, "note") != `"theirs"` ||
			one.mine != nil && fieldOf(t, p.Mine, "note") != `"mine"` {
			t.Errorf("%s: shows %s and %s", one.name, p.Mine, p.Theirs)
		}
		coach.once() // which lets the conflict be
		coach.wantPending(0, 0, 0, 1)
		if err := coach.store.Put(
			t.Context(),
			coach.squad,
			client.Record{Kind: client.Shot, ID: shot, JSON: []byte(`{}`)},
		); client.CodeOf(
			err,
		) != client.Conflict {
			t.Errorf("%s: an edit over the conflict: %v", one.name, err)
		}
		coach.must(one.settle(p.Number, p))
		coach.once()
		coach.wantPending(0, 0, 0, 0)
		if got := coach.onServer(client.Shot, shot, "note"); got != one.want {
			t.Errorf("%s: the server has %s, want %s", one.name, got, one.want)
		}
		other.once()
		coach.alike()
		other.alike()
	}
}

// While two versions wait for the person's choice, theirs goes on changing. The choice is made of
// what stands then.
func TestConflictFollowsTheirs(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	other := coach.another(coach.address)
	b := coach.newBase()
	changed, deleted := coach.log(b, 1), coach.log(b, 2)
	coach.once()
	other.once()
	for _, shot := range []uuid.UUID{changed, deleted} {
		coach.edit(client.Shot, shot, map[string]any{"note": "mine"})
		other.edit(client.Shot, shot, map[string]any{"note": "theirs"})
	}
	other.once()
	coach.once()
	coach.wantPending(0, 0, 0, 2)
	other.edit(client.Shot, changed, map[string]any{"note": "theirs again"})
	other.must(other.store.Delete(t.Context(), other.squad, other.see(client.Shot, deleted).Record))
	other.once()
	coach.once()
	all, err := coach.store.Pending(t.Context(), local.Conflict)
	if err != nil || len(all) != 2 || fieldOf(t, all[0].Theirs, "note") != `"theirs again"` || all[1].Theirs != nil {
		t.Fatalf("%+v, %v", all, err)
	}
	for _, p := range all {
		coach.must(coach.store.Resolve(t.Context(), p.Number, p.Mine))
	}
	coach.once()
	coach.wantPending(0, 0, 0, 0)
	coach.alike()
	for _, p := range all {
		if got, want := coach.onServer(client.Shot, p.ID, "note"), fieldOf(t, p.Mine, "note"); got != want {
			t.Errorf("the server has %s, want %s", got, want)
		}
	}
}

// A change whose answer was lost is sent again as it was, and what was edited meanwhile goes after
// it.
func TestEditsOnTheWay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	coach.once()
	type step func(id *copy, shot local.Record)
	edit := func(note string) step {
		return func(c *copy, shot local.Record) { c.edit(client.Shot, shot.ID, map[string]any{"note": note}) }
	}
	remove := func(c *copy, shot local.Record) { c.must(c.store.Delete(t.Context(), c.squad, shot.Record)) }
	again := func(c *copy, shot local.Record) {
		fields := b.shotFields(1)
		fields["note"] = "again"
		c.put(client.Shot, shot.ID, shot.Rev, fields)
	}
	for name, one := range map[string]struct {
		old   bool // the shot is on the server before
		first step // nil: it is new
		then  []step
		want  string
	}{
		"new, then edited":              {false, nil, []step{edit("second")}, `"second"`},
		"new, then edited twice":        {false, nil, []step{edit("second"), edit("third")}, `"third"`},
		"new, then deleted":             {false, nil, []step{remove}, "gone"},
		"new, deleted, made again":      {false, nil, []step{remove, again}, `"again"`},
		"edited, then edited":           {true, edit("first"), []step{edit("second")}, `"second"`},
		"edited, then deleted":          {true, edit("first"), []step{remove}, "gone"},
		"deleted, then made again":      {true, remove, []step{again}, `"again"`},
		"edited, then as it was before": {true, edit("first"), []step{edit("")}, ""},
	} {
		shot := coach.log(b, 1)
		if one.old {
			coach.once()
		}
		record := coach.see(client.Shot, shot)
		if one.first != nil {
			one.first(coach, record)
		}
		var lost atomic.Int64
		w.wrap(loseAnswers("/push", &lost))
		if _, err := coach.sync().Once(t.Context()); client.CodeOf(err) != client.Unreachable || lost.Load() == 0 {
			t.Fatalf("%s: %v with %d answers lost", name, err, lost.Load())
		}
		w.unwrap()
		for _, change := range one.then {
			change(coach, record)
		}
		coach.once()
		coach.wantPending(0, 0, 0, 0)
		if got := coach.onServer(client.Shot, shot, "note"); got != one.want {
			t.Errorf("%s: the server has %s, want %s", name, got, one.want)
		}
		coach.alike()
	}
}

// A change that was sent, edited on, and changed by somebody else before its answer came: a merge,
// or a conflict.
func TestEditsOnTheWayMeetOthers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	other := coach.another(coach.address)
	b := coach.newBase()
	for name, one := range map[string]struct {
		mine, theirs map[string]any // nil deletes
		conflicts    int
	}{
		"other fields":   {map[string]any{"speed_mph": 18}, map[string]any{"note": "theirs"}, 0},
		"the same field": {map[string]any{"note": "mine"}, map[string]any{"note": "theirs"}, 1},
		"deleted there":  {map[string]any{"note": "mine"}, nil, 1},
		"deleted both":   {nil, nil, 0},
	} {
		shot := coach.log(b, 1)
		var lost atomic.Int64
		w.wrap(loseAnswers("/push", &lost))
		if _, err := coach.sync().Once(t.Context()); err == nil {
			t.Fatal("no answer was lost")
		}
		w.unwrap()
		other.once()
		for c, change := range map[*copy]map[string]any{coach: one.mine, other: one.theirs} {
			if change == nil {
				c.must(c.store.Delete(t.Context(), c.squad, c.see(client.Shot, shot).Record))
			} else {
				c.edit(client.Shot, shot, change)
			}
		}
		other.once()
		coach.once()
		if got := coach.status().Conflicts; got != one.conflicts {
			t.Errorf("%s: %d conflicts, want %d", name, got, one.conflicts)
		}
		if one.conflicts > 0 {
			p := coach.pending(local.Conflict)
			if fieldOf(t, p.Mine, "note") != `"mine"` || len(p.Reasons) == 0 {
				t.Errorf("%s: %+v", name, p)
			}
			coach.must(coach.store.Drop(t.Context(), p.Number))
		} else if one.mine != nil && (coach.onServer(client.Shot, shot, "note") != `"theirs"` || coach.onServer(client.Shot, shot, "speed_mph") != "18") {
			t.Errorf("%s: the server has %s", name, coach.see(client.Shot, shot).JSON)
		}
		coach.once()
		coach.wantPending(0, 0, 0, 0)
		coach.alike()
	}
}

// The queue is its person's: nobody else sees or sends it, and it is there again when they come
// back.
func TestQueueBelongsToItsPerson(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	b := coach.newBase()
	coach.once()
	athlete := coach.joins(openapi.RoleAthlete, &b.athlete)
	athlete.once()
	shot := athlete.log(b, 1)
	held, err := athlete.signIn.Load()
	athlete.must(err)
	email := held.SignIns[athlete.client.Server()].Email
	if _, err := athlete.client.SignOut(t.Context(), false); err != nil {
		t.Fatal(err)
	}
	if _, err := athlete.sync().Once(t.Context()); client.CodeOf(err) != client.SignedOut || !local.Lasting(err) {
		t.Errorf("a sync by nobody: %v", err)
	}
	athlete.wantPending(1, 0, 0, 0)
	// Somebody else signs in on the same computer.
	athlete.signUp("second")
	coach.invite(athlete.device, openapi.RoleCoach, nil)
	theirs := athlete.device.open(coach.squad)
	theirs.once()
	theirs.wantPending(0, 0, 0, 0)
	if _, err := theirs.store.Get(t.Context(), theirs.squad, client.Shot, shot); client.CodeOf(err) != client.NotFound {
		t.Errorf("the other person sees the shot: %v", err)
	}
	if got := coach.onServer(client.Shot, shot, "order"); got != "gone" {
		t.Error("the other person has sent the shot")
	}
	_, err = athlete.client.SignIn(t.Context(), email, passphrase)
	athlete.must(err)
	back := athlete.device.open(coach.squad)
	back.wantPending(1, 0, 0, 0)
	back.once()
	if got := coach.onServer(client.Shot, shot, "order"); got != "1" {
		t.Errorf("the server has %s", got)
	}
}

// asked counts the requests to an address that ends so, and remembers a query's value of the last.
type asked struct {
	count atomic.Int64
	last  atomic.Pointer[string]
}

// A first copy that was broken off goes on at its page.
func TestSnapshotGoesOn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	const shots = 1100
	for i := range shots {
		coach.log(b, i+1)
	}
	if got := coach.once(); got.Sent != shots+2 {
		t.Fatalf("sent %+v", got)
	}
	other := coach.another(coach.address)
	var pages asked
	breakAt := int64(2)
	w.wrap(func(real http.Handler) http.Handler {
		return http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
			if strings.HasSuffix(r.URL.Path, "/snapshot") {
				page := r.URL.Query().Get("page")
				pages.last.Store(&page)
				if pages.count.Add(1) >= breakAt && breakAt > 0 {
					panic(http.ErrAbortHandler)
				}
			}
			real.ServeHTTP(rw, r)
		})
	})
	if _, err := other.sync().Once(t.Context()); client.CodeOf(err) != client.Unreachable {
		t.Fatalf("broken off: %v", err)
	}
	brokenAt := *pages.last.Load()
	if all, err := other.store.Records(
		t.Context(),
		other.squad,
		client.Shot,
	); err != nil || len(all) == 0 ||
		len(all) >= 1000 {
		t.Errorf("%d shots are seen after the first page, %v", len(all), err)
	}
	extra := coach.log(b, shots+1) // meanwhile
	coach.once()
	breakAt = 0
	pages.count.Store(0)
	other.once()
	if brokenAt == "" || pages.count.Load() != 1 {
		t.Errorf("it went on with %d pages after %q", pages.count.Load(), brokenAt)
	}
	other.see(client.Shot, extra)
	other.alike()
}

// After a restore of the server's data the copy is read anew; the queue stays.
func TestCursorIsGone(t *testing.T) {
	t.Parallel()
	for name, one := range map[string]struct {
		change func(*testing.T, *world, *copy)
	}{
		"the data was restored": {func(t *testing.T, w *world, _ *copy) {
			owner := openOwner(t, w.db.OwnerURL)
			if _, err := owner.ExecContext(t.Context(), otherHistory); err != nil {
				t.Fatal(err)
			}
		}},
		"the server signs with another key": {func(t *testing.T, w *world, c *copy) {
			held, err := c.signIn.Load()
			c.must(err)
			w.restart()
			_, err = c.client.SignIn(t.Context(), held.SignIns[c.client.Server()].Email, passphrase)
			c.must(err)
		}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			coach := w.newSquad()
			b := coach.newBase()
			kept, gone := coach.log(b, 1), coach.log(b, 2)
			coach.once()
			owner := openOwner(t, w.db.OwnerURL)
			if _, err := owner.ExecContext(
				t.Context(),
				`DELETE FROM shots WHERE id = $1`,
				gone.String(),
			); err != nil { // the restore did not have it
				t.Fatal(err)
			}
			one.change(t, w, coach)
			unsent := coach.log(b, 3)
			waits := coach.log(base{b.athlete, newID()}, 4)
			result, err := coach.sync().Once(t.Context())
			if err != nil || !result.Copied || result.Sent != 1 {
				t.Fatalf("%+v, %v", result, err)
			}
			coach.wantPending(0, 1, 0, 0)
			coach.see(client.Shot, kept)
			coach.see(client.Shot, unsent)
			coach.see(client.Shot, waits)
			if _, err := coach.store.Get(
				t.Context(),
				coach.squad,
				client.Shot,
				gone,
			); client.CodeOf(
				err,
			) != client.NotFound {
				t.Errorf("what the server has no more is still seen: %v", err)
			}
			coach.alike()
		})
	}
}

// Who is no member any more keeps the queue and nothing else, and it goes when they are one again.
func TestNoMemberAnyMore(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	b := coach.newBase()
	coach.once()
	athlete := coach.joins(openapi.RoleAthlete, &b.athlete)
	athlete.once()
	shot := athlete.log(b, 1)
	for member, err := range coach.client.Members(t.Context(), coach.squad) {
		coach.must(err)
		if member.Value.Role == openapi.RoleAthlete {
			coach.removeMember(member.Value.ID)
		}
	}
	if _, err := athlete.sync().Once(t.Context()); client.CodeOf(err) != client.NotFound || !local.Lasting(err) {
		t.Errorf("a sync by who is no member: %v", err)
	}
	if s := athlete.status(); s.Member || s.Records != 0 || s.Queued != 1 || !s.SyncedAt.IsZero() {
		t.Errorf("what is left: %+v", s)
	}
	athlete.learnSquads()
	athlete.wantPending(1, 0, 0, 0)
	coach.invite(athlete.device, openapi.RoleAthlete, &b.athlete)
	athlete.learnSquads()
	athlete.once()
	athlete.alike()
	if got := coach.onServer(client.Shot, shot, "order"); got != "1" {
		t.Errorf("the server has %s", got)
	}
}

// A proxy that does not find the server is no word of the server.
func TestNotFoundBySomethingElse(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	coach.newBase()
	coach.once()
	w.wrap(func(http.Handler) http.Handler { return http.NotFoundHandler() })
	if _, err := coach.sync().Once(t.Context()); err == nil {
		t.Fatal("it went through")
	}
	if s := coach.status(); !s.Member || s.Records == 0 {
		t.Errorf("the copy is gone: %+v", s)
	}
}

func TestTooOld(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	coach.once()
	coach.log(b, 1)
	w.wrap(func(real http.Handler) http.Handler {
		return http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
			if query := r.URL.Query(); query.Has("schema") { // as a server does that has left this schema behind
				query.Set("schema", "0")
				r.URL.RawQuery = query.Encode()
			}
			real.ServeHTTP(rw, r)
		})
	})
	_, err := coach.sync().Once(t.Context())
	if client.CodeOf(err) != client.TooOld || !local.Lasting(err) || !strings.Contains(err.Error(), "update it") {
		t.Errorf("fails with %v", err)
	}
	coach.wantPending(1, 0, 0, 0)
	if coach.status().Records == 0 {
		t.Error("the copy is gone")
	}
}

// What an athlete may see changes: a drill comes with its assignment and goes with it.
func TestScope(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	b := coach.newBase()
	drill, assignment := newID(), newID()
	coach.put(
		client.Drill,
		drill,
		0,
		map[string]any{
			"name":       "Inside",
			"reps":       30,
			"pass_share": 0.8,
			"rules":      []any{map[string]any{"measure": "board", "at": "breakpoint", "min": 10}},
		},
	)
	coach.once()
	athlete := coach.joins(openapi.RoleAthlete, &b.athlete)
	athlete.once()
	has := func() bool {
		_, err := athlete.store.Get(t.Context(), athlete.squad, client.Drill, drill)
		return err == nil
	}
	if has() {
		t.Error("the drill is there before it is assigned")
	}
	coach.put(
		client.Assignment,
		assignment,
		0,
		map[string]any{"drill_id": drill, "athlete_id": b.athlete, "assigned_on": "2026-03-01"},
	)
	coach.once()
	athlete.once()
	if !has() {
		t.Error("the drill did not come with its assignment")
	}
	athlete.alike()
	coach.must(coach.store.Delete(t.Context(), coach.squad, coach.see(client.Assignment, assignment).Record))
	coach.once()
	athlete.once()
	if has() {
		t.Error("the drill did not go with its assignment")
	}
	athlete.alike()
	// An athlete may not change the squad's records: refused, with the reason.
	athlete.put(client.Pattern, newID(), 0, map[string]any{"name": "Mine", "length_ft": 40})
	athlete.once()
	athlete.wantPending(0, 0, 1, 0)
	if reason := athlete.pending(local.Refused).Reasons[0].Detail; !strings.Contains(reason, "a coach") {
		t.Errorf("refused because %q", reason)
	}
}

// Stopped in the middle, the same again goes on.
func TestStopped(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	for i := range 1010 {
		coach.log(b, i+1)
	}
	ctx, stop := context.WithCancel(t.Context())
	syncing := coach.sync()
	syncing.Told = func(p local.Progress) {
		if p.Sent > 0 {
			stop() // after the first piece
		}
	}
	if _, err := syncing.Once(ctx); err == nil {
		t.Fatal("it was not stopped")
	}
	if left := coach.status(); left.Queued == 0 || left.Queued >= 1012 {
		t.Errorf("%d are left", left.Queued)
	}
	coach.once()
	coach.wantPending(0, 0, 0, 0)
	coach.alike()
}

// Shots come as tables, and are then the same as when they are asked for one by one.
func TestShotsCopiedAreThoseStored(t *testing.T) {
	t.Parallel()
	c := newWorld(t).newSquad()
	base := c.newBase()
	for i, more := range []map[string]any{
		{"note": "a \"quoted\" word", "standing": []int{}}, {"track": []any{map[string]any{"ft": 40, "board": 9.5}}}, {"speed_mph": 16.8, "standing": []int{7, 10}}, {},
	} {
		id := c.log(base, i+1)
		c.edit(client.Shot, id, more)
	}
	c.once()
	contents := func(text []byte) (is map[string]any) {
		c.must(json.Unmarshal(text, &is))
		delete(is, "id")
		delete(is, "rev")
		return is
	}
	stored := make(map[uuid.UUID]map[string]any)
	for shot, err := range c.client.Shots(t.Context(), c.squad, base.session) {
		c.must(err)
		stored[*shot.Value.ID] = contents(shot.JSON)
	}
	other := c.another(c.address)
	other.once()
	copied := make(map[uuid.UUID]map[string]any)
	records, err := other.store.Records(t.Context(), other.squad, client.Shot)
	c.must(err)
	for _, record := range records {
		copied[record.ID] = contents(record.JSON)
	}
	if diff := cmp.Diff(stored, copied); diff != "" || len(stored) != 4 {
		t.Errorf("%d shots: %s", len(stored), diff)
	}
}

// What a device still has of an erased athlete is set aside for good, with the reason. It holds up
// nothing, is not sent again, and can be dropped.
func TestErased(t *testing.T) {
	t.Parallel()
	coach := newWorld(t).newSquad()
	b := coach.newBase()
	stays := coach.newBase()
	coach.once()
	phone := coach.another(coach.address)
	phone.once()
	if _, err := coach.client.Erase(t.Context(), coach.squad, b.athlete, "Rhea"); err != nil {
		t.Fatal(err)
	}
	first, second := phone.log(b, 1), phone.log(b, 2)
	session, other := newID(), newID()
	phone.put(client.Session, session, 0, map[string]any{"kind": "practice", "name": "Mine", "date": "2026-03-14", "athlete_id": b.athlete})
	fields := b.shotFields(1)
	fields["session_id"] = session
	phone.put(client.Shot, other, 0, fields)
	phone.edit(client.Athlete, b.athlete, map[string]any{"name": "Rhea again"})
	good := phone.log(stays, 1)
	if got := phone.once(); got.Sent != 1 {
		t.Errorf("what was erased holds up the good one: %+v", got)
	}
	if phone.onServer(client.Shot, good, "order") != "1" {
		t.Error("the good one is not there")
	}
	phone.wantPending(0, 0, 5, 0)
	if status := phone.status(); status.Erased != 5 {
		t.Errorf("%d are known to be erased, want 5", status.Erased)
	}
	if got := phone.once(); got.Sent != 0 {
		t.Errorf("sent again: %+v", got)
	}
	all, err := phone.store.Pending(t.Context(), local.Refused)
	if err != nil || len(all) != 5 {
		t.Fatalf("%+v, %v", all, err)
	}
	for _, p := range all {
		if !p.Erased() || !strings.Contains(p.Reasons[0].Detail, "erased for good") {
			t.Errorf("%s %s: %+v, want that it was erased", p.Kind, p.ID, p.Reasons)
		}
		phone.must(phone.store.Drop(t.Context(), p.Number))
	}
	phone.wantPending(0, 0, 0, 0)
	_, err = phone.store.Get(t.Context(), phone.squad, client.Athlete, b.athlete)
	if phone.status().Erased != 0 || client.CodeOf(err) != client.NotFound {
		t.Errorf("something of the erased athlete is left: %v", err)
	}
	for _, id := range []uuid.UUID{first, second, other} {
		if phone.onServer(client.Shot, id, "order") != "gone" {
			t.Errorf("shot %s is on the server", id)
		}
	}
	phone.alike()
}
