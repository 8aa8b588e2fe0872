package local_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"laneward/openapi/client"
)

// held lists the shots that a copy shows, by note.
func (c *copy) held() string {
	c.t.Helper()
	shots, err := c.store.Records(c.t.Context(), c.squad, client.Shot)
	c.must(err)
	var notes []string
	for _, shot := range shots {
		notes = append(notes, strings.Trim(c.field(client.Shot, shot.ID, "note"), `"`))
	}
	slices.Sort(notes)
	return strings.Join(notes, " ")
}

func (c *copy) wantHeld(when, want string) {
	c.t.Helper()
	if got := c.held(); got != want {
		c.t.Fatalf("%s the copy holds %q, want %q", when, got, want)
	}
	c.alike()
}

// spanBase is a squad with two athletes, Rhea and Toma, each with a session of their own and shots in
// a shared one, in three months.
type spanBase struct {
	rhea, toma base
	shared     map[string]base
	shots      map[string]uuid.UUID
}

func (c *copy) newSpanBase() (s spanBase) {
	c.t.Helper()
	s = spanBase{base{athlete: newID()}, base{athlete: newID()}, map[string]base{}, map[string]uuid.UUID{}}
	for name, b := range map[string]*base{"Rhea": &s.rhea, "Toma": &s.toma} {
		c.put(client.Athlete, b.athlete, 0, map[string]any{"name": name, "side": "right"})
	}
	for _, month := range []string{"01", "02", "03"} {
		b := base{s.rhea.athlete, newID()}
		s.shared[month] = b
		c.put(client.Session, b.session, 0, map[string]any{"kind": "block", "name": "Block", "date": "2026-" + month + "-10"})
		for n, athlete := range []uuid.UUID{s.rhea.athlete, s.toma.athlete} {
			one := base{athlete, b.session}
			note := []string{"r", "t"}[n] + month
			fields := one.shotFields(1)
			fields["note"] = note
			s.shots[note] = newID()
			c.put(client.Shot, s.shots[note], 0, fields)
		}
	}
	c.once()
	return s
}

// TestHolds: a copy of a span has what the span has, and no more, whatever changes in and around it,
// and is compared by that.
func TestHolds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	s := coach.newSpanBase()
	d := coach.another(w.address)
	hold := func(since string, athlete *uuid.UUID) {
		t.Helper()
		d.must(d.sync().Hold(t.Context(), since, athlete))
		d.once()
	}
	hold("2026-03-01", nil)
	d.wantHeld("at first", "r03 t03")
	if sessions, _ := d.store.Records(t.Context(), d.squad, client.Session); len(sessions) != 1 {
		t.Fatalf("the copy has %d sessions, want 1", len(sessions))
	}
	move := func(month, day string) {
		t.Helper()
		coach.edit(client.Session, s.shared[month].session, map[string]any{"date": day})
		coach.once()
		d.once()
	}
	coach.edit(client.Shot, s.shots["r01"], map[string]any{"speed_mph": 17.0})
	coach.once()
	d.once()
	d.wantHeld("after an edit outside", "r03 t03")
	move("02", "2026-03-02")
	d.wantHeld("after a session has come in", "r02 r03 t02 t03")
	move("02", "2026-02-10")
	d.wantHeld("after it has gone again", "r03 t03")
	coach.edit(client.Shot, s.shots["r03"], map[string]any{"session_id": s.shared["01"].session})
	coach.edit(client.Shot, s.shots["t01"], map[string]any{"session_id": s.shared["03"].session})
	coach.once()
	d.once()
	d.wantHeld("after two shots have changed places", "t01 t03")
	hold("2026-02-01", nil)
	d.wantHeld("after a month was added", "r02 t01 t02 t03")
	hold("30d", nil)
	d.wantHeld("after a number of days", "r02 t01 t02 t03")
	hold("2026-02-01", &s.toma.athlete)
	d.wantHeld("of one athlete", "t01 t02 t03")
	hold("all", &s.toma.athlete)
	d.wantHeld("of all time", "t01 t02 t03")
	hold("all", nil)
	d.wantHeld("of all", "r01 r02 r03 t01 t02 t03")
}

// TestHoldsGrowsInPages: what is added to a copy comes in pages that can be broken off anywhere, and
// what changes meanwhile is not missed.
func TestHoldsGrowsInPages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	coach := w.newSquad()
	s := coach.newSpanBase()
	many := s.shared["01"]
	for n := range 1200 { // more than a page
		fields := many.shotFields(10 + n)
		fields["note"] = fmt.Sprintf("m%04d", n)
		coach.put(client.Shot, newID(), 0, fields)
	}
	coach.once()
	d := coach.another(w.address)
	d.must(d.sync().Hold(t.Context(), "2026-03-01", nil))
	d.once()
	d.must(d.sync().Hold(t.Context(), "2026-01-01", nil)) // the first page is here
	coach.edit(client.Session, s.shared["02"].session, map[string]any{"date": "2025-12-31"})
	coach.edit(client.Shot, s.shots["r01"], map[string]any{"note": "edited"})
	coach.once()
	if got := d.status(); got.Records < 1000 {
		t.Fatalf("the first page brought only %d records", got.Records)
	}
	d.once()
	d.alike()
	held := d.held()
	if !strings.Contains(held, "edited") || strings.Contains(held, "r02") || strings.Count(held, "m") != 1200 {
		t.Fatalf("the copy holds %.80s..., %d of 1200", held, strings.Count(held, "m"))
	}
	d.put(client.Session, newID(), 0, map[string]any{"kind": "practice", "name": "Forgotten", "date": "2025-06-01"})
	d.once()
	if d.status().Since != "2025-06-01" {
		t.Fatalf("the copy begins on %s, after a session that was logged late", d.status().Since)
	}
	d.wantHeldCount(client.Session, 4)
	d.alike()
}

func (c *copy) wantHeldCount(kind client.Kind, want int) {
	c.t.Helper()
	if all, err := c.store.Records(c.t.Context(), c.squad, kind); err != nil || len(all) != want {
		c.t.Fatalf("the copy has %d of %s, want %d (%v)", len(all), kind, want, err)
	}
}
