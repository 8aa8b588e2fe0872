package local_test

import (
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/openapi/client"
)

// backUp backs the squad up, or everything, and returns what puts the backup back.
func (w *world) backUp(squad uuid.UUID) (restore func()) {
	w.t.Helper()
	backup, err := w.db.BackUp(w.t.Context(), squad)
	if err != nil {
		w.t.Fatal(err)
	}
	return func() {
		w.t.Helper()
		if err := backup.Restore(w.t.Context()); err != nil {
			w.t.Fatal(err)
		}
	}
}

func (c *copy) wantLost(n int) {
	c.t.Helper()
	if got := c.status().Lost; got != n {
		c.t.Fatalf("%d records are lost, want %d", got, n)
	}
}

// TestRestoredServer: what the server has lost is noticed by a plain sync, kept and sent again when
// the person says so; what was not sent survives, and nothing is overwritten.
func TestRestoredServer(t *testing.T) {
	t.Parallel()
	for name, later := range map[string]int{"at once": 0, "after others wrote past": 20} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			coach := w.newSquad()
			other := coach.another(w.address)
			b := coach.newBase()
			kept := coach.log(b, 1)
			edited := coach.log(b, 2)
			meets := coach.log(b, 3)
			coach.once()
			other.once()
			restore := w.backUp(coach.squad)
			lost := coach.log(b, 4)
			coach.edit(client.Shot, edited, map[string]any{"note": "lost edit"})
			half := coach.log(b, 5)
			coach.once()
			coach.edit(client.Shot, kept, map[string]any{"note": "unsent, of what was before"})
			coach.edit(client.Shot, half, map[string]any{"note": "unsent, of what is lost"})
			unsent := coach.log(b, 6)
			restore()
			other.edit(client.Shot, meets, map[string]any{"note": "by another device"})
			for range later {
				other.log(b, 40)
			}
			other.once()

			if result := coach.once(); !result.Restored || !result.Copied || result.Sent != 3 {
				t.Fatalf("%+v; want that the restore is noticed, and what was unsent is sent", result)
			}
			coach.wantPending(0, 0, 0, 0)
			coach.wantLost(2) // the new shot and the edited one
			for id, note := range map[uuid.UUID]string{
				kept:  `"unsent, of what was before"`,
				half:  `"unsent, of what is lost"`,
				meets: `"by another device"`,
			} {
				if got := coach.onServer(client.Shot, id, "note"); got != note {
					t.Errorf("the server has %s, want %s", got, note)
				}
			}
			coach.see(client.Shot, unsent)
			if result := coach.once(); result.Restored || result.Copied {
				t.Errorf("the next sync: %+v", result)
			}
			coach.wantLost(2)

			queued, conflicts, err := coach.store.SendAgain(t.Context(), coach.squad)
			if err != nil || queued != 1 || conflicts != 1 {
				t.Fatalf("%d queued, %d conflicts, %v", queued, conflicts, err)
			}
			coach.once()
			if got := coach.onServer(client.Shot, lost, "order"); got != "4" {
				t.Errorf("what was lost is %s on the server", got)
			}
			conflict := coach.pending("conflict")
			if conflict.ID != edited || fieldOf(t, conflict.Mine, "note") != `"lost edit"` {
				t.Errorf("the conflict is %+v", conflict)
			}
			coach.must(coach.store.Resolve(t.Context(), conflict.Number, conflict.Mine))
			coach.once()
			if got := coach.onServer(client.Shot, edited, "note"); got != `"lost edit"` {
				t.Errorf("the lost edit is %s on the server", got)
			}
			coach.wantPending(0, 0, 0, 0)
			coach.wantLost(0)
			coach.alike()
		})
	}
}

// TestLostIsFound: what another device has sent again is lost no longer.
func TestLostIsFound(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	other := coach.another(w.address)
	b := coach.newBase()
	coach.once()
	restore := w.backUp(uuid.Nil)
	for i := range 3 {
		coach.log(b, 1+i)
	}
	coach.once()
	other.once()
	restore()
	coach.once()
	other.once()
	coach.wantLost(3)
	other.wantLost(3)
	if _, _, err := other.store.SendAgain(t.Context(), other.squad); err != nil {
		t.Fatal(err)
	}
	other.once()
	coach.once()
	coach.wantLost(0)
	coach.alike()
}

// TestAthleteSendsOwnAgain: an athlete's device offers what the athlete may send, and keeps the
// rest.
func TestAthleteSendsOwnAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	coach.once()
	athlete := coach.joins(openapi.RoleAthlete, &b.athlete)
	athlete.once()
	restore := w.backUp(coach.squad)
	pattern := newID()
	coach.put(client.Pattern, pattern, 0, map[string]any{"name": "Long", "length_ft": 44})
	coach.once()
	athlete.log(b, 1)
	athlete.once()
	restore()
	athlete.once()
	athlete.wantLost(2)
	queued, conflicts, err := athlete.store.SendAgain(t.Context(), athlete.squad)
	if err != nil || queued != 1 || conflicts != 0 {
		t.Errorf("%d queued, %d conflicts, %v; want the own shot", queued, conflicts, err)
	}
	athlete.once()
	athlete.wantLost(1)
	if n, err := athlete.store.ForgetLost(t.Context(), athlete.squad); n != 1 || err != nil {
		t.Errorf("%d forgotten, %v", n, err)
	}
	athlete.wantLost(0)
}

// TestPushLostBehindTheCursor: the device has pushed and not pulled since, so that its cursor stands
// before the backup. The head of the push shows the loss.
func TestPushLostBehindTheCursor(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	coach.once()
	restore := w.backUp(coach.squad)
	shot := coach.log(b, 1)
	var lost atomic.Int64
	w.wrap(loseAnswers("/feed", &lost))
	if _, err := coach.sync().Once(t.Context()); err == nil || lost.Load() == 0 {
		t.Fatal("the pull went through")
	}
	w.unwrap()
	coach.wantPending(0, 0, 0, 0)
	restore()
	if result := coach.once(); !result.Restored {
		t.Errorf("%+v; want that the restore is noticed", result)
	}
	coach.wantLost(1)
	if _, err := coach.store.Get(t.Context(), coach.squad, client.Shot, shot); client.CodeOf(err) != client.NotFound {
		t.Errorf("what the server has lost is still shown: %v", err)
	}
}

// firstOf does something once, after the server has answered a request to an address that ends so,
// and reports whether the answer is lost on its way.
func firstOf(suffix string, then func() (lost bool)) func(http.Handler) http.Handler {
	var once sync.Once
	return func(real http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			real.ServeHTTP(w, r)
			if strings.HasSuffix(r.URL.Path, suffix) {
				once.Do(func() {
					if then() {
						panic(http.ErrAbortHandler)
					}
				})
			}
		})
	}
}

// TestRestoredWhileSyncing: a backup is put back after the device has read the feed, so that the push
// at the end of the pass is the first to show a head that is lost. The pass goes on from there.
func TestRestoredWhileSyncing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	coach.once()
	owner := openOwner(t, w.db.OwnerURL)
	var shot uuid.UUID
	w.wrap(firstOf("/feed", func() bool {
		if _, err := owner.ExecContext(t.Context(), otherHistory); err != nil {
			t.Error(err)
		}
		shot = coach.log(b, 1) // the person goes on meanwhile
		return false
	}))
	if result := coach.once(); !result.Restored || !result.Copied || result.Sent != 1 {
		t.Errorf("%+v; want that the restore is noticed, and the shot sent", result)
	}
	coach.wantPending(0, 0, 0, 0)
	if got := coach.onServer(client.Shot, shot, "order"); got != "1" {
		t.Errorf("the server has %s", got)
	}
}

// TestOneRestoreIsNoticedOnce: after the new copy the heads it came with hold for what follows. A
// push whose answer is lost is sent again with the head from before it, which is then looked up among
// those that are kept.
func TestOneRestoreIsNoticedOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	coach.once()
	owner := openOwner(t, w.db.OwnerURL)
	if _, err := owner.ExecContext(t.Context(), otherHistory); err != nil {
		t.Fatal(err)
	}
	if result := coach.once(); !result.Restored {
		t.Fatalf("%+v; want that the restore is noticed", result)
	}
	coach.log(b, 1)
	var lost atomic.Int64
	w.wrap(firstOf("/push", func() bool { return lost.Add(1) > 0 }))
	if result := coach.once(); result.Restored || result.Copied || result.Sent != 1 || lost.Load() != 1 {
		t.Errorf("%+v with %d answers lost; want the shot sent and no new copy", result, lost.Load())
	}
	coach.wantPending(0, 0, 0, 0)
}

// TestPlainSyncCompares: a copy that is not what the server has, of the same history, is read anew by
// a plain sync when it has not been compared for a week.
func TestPlainSyncCompares(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	b := coach.newBase()
	gone := coach.log(b, 1)
	coach.once()
	owner := openOwner(t, w.db.OwnerURL)
	if _, err := owner.ExecContext(t.Context(), `DELETE FROM shots WHERE id = $1`, gone.String()); err != nil {
		t.Fatal(err)
	}
	coach.once()
	coach.wantLost(0)
	execute(t, coach.store.File(), `UPDATE squads SET compared_ms = 1`)
	if result := coach.once(); !result.Copied {
		t.Errorf("%+v; want a new copy", result)
	}
	coach.wantLost(1)
	coach.alike()
}
