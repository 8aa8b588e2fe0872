package api_test

import (
	"maps"
	"net/http"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/openapi"
)

func (q *squad) count(t testing.TB, many string) int {
	t.Helper()
	var page struct{ Items []any }
	q.server.do(t, call{method: http.MethodGet, path: q.path(many), token: q.coach.token}).
		want(http.StatusOK).
		into(&page)
	return len(page.Items)
}

// TestAssignDrill asks for what can be asked, one after another: each row builds on those before.
func TestAssignDrill(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	foreign := s.newSquad(t, "Brackenlow").of[0]["athlete_id"]
	first, second := q.of[0]["athlete_id"], q.of[1]["athlete_id"]
	stored, other, made := q.of[0]["drill_id"], q.of[1]["drill_id"], uuid.NewString()
	give := func(more map[string]any) map[string]any {
		return laidOver(map[string]any{"assigned_on": "2026-04-01"}, more)
	}
	to := func(ids ...string) map[string]any { return map[string]any{"athlete_ids": ids} }
	for _, tc := range []struct {
		name    string
		drill   string
		body    map[string]any
		status  int
		created []bool // of the assignments
		fault   string // the pointer of the first fault
		adds    int    // assignments
	}{
		{"one athlete", stored, give(to(first)), 201, []bool{true}, "", 1},
		{"again", stored, give(to(first)), 200, []bool{false}, "", 0},
		{"named twice", stored, give(to(first, first)), 200, []bool{false}, "", 0},
		{"one has it", stored, give(to(second, first)), 201, []bool{true, false}, "", 1},
		{"everybody", other, give(nil), 201, []bool{true, true}, "", 2},
		{"everybody again", other, give(nil), 200, []bool{false, false}, "", 0},
		{"from another day", stored, map[string]any{"assigned_on": "2026-05-01"}, 201, []bool{true, true}, "", 2},
		{"another end", stored, give(map[string]any{"due_on": "2026-05-01"}), 409, nil, "", 0},
		{"another note", stored, give(map[string]any{"note": "easy"}), 409, nil, "", 0},
		{"no athlete", stored, give(to()), 400, nil, "/athlete_ids", 0},
		{"an unknown athlete", stored, map[string]any{
			"assigned_on": "2026-06-01", "athlete_ids": []string{first, uuid.NewString()},
		}, 400, nil, "/athlete_ids/1", 0},
		{"another squad's athlete", stored, give(to(foreign)), 400, nil, "/athlete_ids/0", 0},
		{"an end before the beginning", stored, give(map[string]any{"due_on": "2026-03-01"}), 400, nil, "/due_on", 0},
		{"an unknown drill", made, give(nil), 404, nil, "", 0},
		{"a drill that cannot be", made, give(map[string]any{
			"drill": laidOver(q.drillBody(0), map[string]any{"rules": []any{map[string]any{"measure": "board", "min": 10}}}),
		}), 400, nil, "/drill/rules/0/at", 0},
		{"another drill's id", made, give(map[string]any{
			"drill": laidOver(q.drillBody(0), map[string]any{"id": other}),
		}), 400, nil, "/drill/id", 0},
		{"a new drill", made, give(map[string]any{"drill": q.drillBody(0)}), 201, []bool{true, true}, "", 2},
		{"a new drill again", made, give(map[string]any{"drill": q.drillBody(0)}), 200, []bool{false, false}, "", 0},
		{"another drill under its id", made, give(map[string]any{
			"drill": laidOver(q.drillBody(0), map[string]any{"reps": 7}),
		}), 409, nil, "", 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			before, drills := q.count(t, "assignments"), q.count(t, "drills")
			c := call{method: http.MethodPost, path: q.path("drills/" + tc.drill + "/assign"), token: q.coach.token}
			c.body = tc.body
			a := s.do(t, c).want(tc.status)
			if added := q.count(t, "assignments") - before; added != tc.adds {
				t.Errorf("%d assignments were added, want %d", added, tc.adds)
			}
			if tc.status >= http.StatusBadRequest {
				if now := q.count(t, "drills"); now != drills {
					t.Errorf("%d drills, before %d", now, drills)
				}
				if p := a.problem(); tc.fault != "" && (p.Errors == nil || (*p.Errors)[0].Pointer != tc.fault) {
					t.Errorf("faults %+v, want one at %s", p.Errors, tc.fault)
				}
				return
			}
			var answer openapi.AssignedDrill
			a.into(&answer)
			var created []bool
			for _, one := range answer.Assignments {
				created = append(created, one.Created)
			}
			if diff := cmp.Diff(tc.created, created); diff != "" || answer.Drill.ID.String() != tc.drill {
				t.Errorf("drill %s, (-want +got):\n%s", answer.Drill.ID, diff)
			}
		})
	}
}

// TestAssignWhatWasTakenBack: an assignment that was deleted can be given again.
func TestAssignWhatWasTakenBack(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	assign := call{method: http.MethodPost, path: q.path("drills/" + q.of[0]["drill_id"] + "/assign"), token: q.coach.token}
	assign.body = map[string]any{"assigned_on": "2026-04-01", "athlete_ids": []string{q.of[1]["athlete_id"]}}
	for range 3 {
		var answer openapi.AssignedDrill
		s.do(t, assign).want(http.StatusCreated).into(&answer)
		one := call{method: http.MethodDelete, token: q.coach.token}
		one.path = q.path("assignments/" + answer.Assignments[0].Assignment.ID.String())
		s.do(t, one.with("If-Match", "*")).want(http.StatusNoContent)
	}
}

// TestDeleteSessionWithShots deletes a session and what was thrown in it, or neither.
func TestDeleteSessionWithShots(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	shared, own := q.shared, q.of[0]["session_id"]
	for i := range q.of {
		q.upload(t, q.coach, shared, []any{map[string]any{
			"athlete_id": q.of[i]["athlete_id"], "order": 1, "time": "2026-03-14T17:00:00Z",
		}})
	}
	for _, tc := range []struct {
		name    string
		session string
		query   string
		by      person
		etag    string
		status  int
	}{
		{"without its shots", own, "", q.coach, "*", 409},
		{"not with its shots", own, "?with_shots=false", q.coach, "*", 409},
		{"without a version", own, "?with_shots=true", q.coach, "", 428},
		{"another version", own, "?with_shots=true", q.coach, `"1"`, 412},
		{"an analyst", own, "?with_shots=true", q.analyst, "*", 403},
		{"another athlete's", own, "?with_shots=true", q.athletes[1], "*", 404},
		{"a shared one", shared, "?with_shots=true", q.athletes[0], "*", 403},
	} {
		t.Run(tc.name, func(t *testing.T) {
			before := s.keeper(t).fingerprint(t)
			c := call{method: http.MethodDelete, path: q.path("sessions/" + tc.session + tc.query), token: tc.by.token}
			s.do(t, c.with("If-Match", tc.etag)).want(tc.status)
			s.keeper(t).unchanged(t, before)
		})
	}
	for _, tc := range []struct {
		session string
		by      person
	}{{own, q.athletes[0]}, {shared, q.coach}} {
		c := call{method: http.MethodDelete, path: q.path("sessions/" + tc.session + "?with_shots=true"), token: tc.by.token}
		s.do(t, c.with("If-Match", "*")).want(http.StatusNoContent)
		s.do(t, call{method: http.MethodGet, path: q.path("sessions/" + tc.session), token: q.coach.token}).
			want(http.StatusNotFound)
	}
	s.do(t, call{method: http.MethodGet, path: q.path("shots/" + q.of[0]["shot_id"]), token: q.coach.token}).
		want(http.StatusNotFound)
}

// laidOver is a body with some of its members replaced.
func laidOver(body, more map[string]any) map[string]any {
	changed := maps.Clone(body)
	maps.Copy(changed, more)
	return changed
}
