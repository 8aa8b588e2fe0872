package api_test

import (
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/openapi"
)

// TestErasedStaysErased erases an athlete, and sends what a device still has of them in every way
// there is: 410 with the type that says why, and in a push and a log a fault of that code.
func TestErasedStaysErased(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	own := q.of[0]
	version := s.as(t, q.coach, http.MethodGet, q.path("shots/"+own["shot_id"]), nil).want(http.StatusOK).header.Get("ETag")
	session, ball, shot, assignment := q.sessionBody(0), q.ballBody(0), q.shotBody(0), q.assignmentBody(0)
	athlete := map[string]any{"name": "Quillfen athlete 1", "side": "right"}
	s.as(t, q.coach, http.MethodPost, q.path("athletes/"+own["athlete_id"]+"/erase"), map[string]any{"confirm": "Quillfen athlete 1"}).
		want(http.StatusOK)
	with := func(body map[string]any, more ...string) map[string]any {
		body = maps.Clone(body)
		for i := 0; i < len(more); i += 2 {
			body[more[i]] = more[i+1]
		}
		return body
	}
	erased := func(name string, a *answer) {
		t.Helper()
		p := a.want(http.StatusGone).problem()
		if p.Type != "/problems#erased" || p.Title != "Erased" || !strings.Contains(p.Detail, "erased for good") {
			t.Errorf("%s: %+v", name, p)
		}
	}
	for many, body := range map[string]map[string]any{
		"athletes":    with(athlete, "id", own["athlete_id"]),
		"sessions":    with(session, "id", own["session_id"]),
		"balls":       with(ball, "id", own["ball_id"]),
		"assignments": with(assignment, "id", own["assignment_id"]),
	} {
		erased("POST "+many, s.as(t, q.coach, http.MethodPost, q.path(many), body))
		for _, match := range []string{"*", version} {
			erased("PUT "+many+" "+match, s.do(t, call{
				method: http.MethodPut, path: q.path(many + "/" + body["id"].(string)), token: q.coach.token, body: body,
				header: map[string]string{"If-Match": match},
			}))
		}
		s.do(t, call{method: http.MethodGet, path: q.path(many + "/" + body["id"].(string)), token: q.coach.token}).want(http.StatusNotFound)
	}
	erased("PUT a shot", s.do(t, call{
		method: http.MethodPut, path: q.path("shots/" + own["shot_id"]), token: q.coach.token,
		body: with(shot, "id", own["shot_id"]), header: map[string]string{"If-Match": version},
	}))
	erased("a new session of theirs", s.as(t, q.coach, http.MethodPost, q.path("sessions"), session))
	erased("a log of theirs", s.as(t, q.coach, http.MethodPost, q.path("sessions/"+own["session_id"]+"/shots"), []any{shot}))
	var log openapi.UploadResult
	s.as(t, q.coach, http.MethodPost, q.path("sessions/"+q.shared+"/shots"), []any{
		map[string]any{"athlete_id": own["athlete_id"], "order": 1, "time": "2026-03-14T17:00:00Z"},
	}).want(http.StatusOK).into(&log)
	if row := log.Outcomes[0]; row.Outcome != "refused" || (*row.Errors)[0].Pointer != "/athlete_id" || *(*row.Errors)[0].Code != "erased" {
		t.Errorf("a row of theirs: %+v", row)
	}
	items := map[string]any{"items": []any{
		map[string]any{"kind": "shot", "record": with(shot, "id", own["shot_id"])},
		map[string]any{"kind": "session", "record": with(session, "id", own["session_id"])},
		map[string]any{"kind": "shot", "record": with(q.shotBody(1), "id", q.of[1]["shot_id"])},
	}}
	var pushed struct {
		Outcomes []struct {
			Outcome string
			Errors  []openapi.Fault
		}
	}
	s.as(t, q.coach, http.MethodPost, q.path("push"), items).want(http.StatusOK).into(&pushed)
	for i, o := range pushed.Outcomes[:2] {
		if o.Outcome != "refused" || len(o.Errors) != 1 || *o.Errors[0].Code != "erased" {
			t.Errorf("item %d: %+v", i, o)
		}
	}
	if strings.Contains("refused waiting", pushed.Outcomes[2].Outcome) {
		t.Errorf("another athlete's shot: %+v", pushed.Outcomes[2])
	}
}

// TestForeignParts: the faults of a shot with another athlete's session, ball and drill come with
// the place of each, alone and in a push.
func TestForeignParts(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	shot := q.shotBody(0)
	for _, part := range []string{"session_id", "ball_id", "drill_id"} {
		shot[part] = q.of[1][part]
	}
	shot["id"] = uuid.NewString()
	var pushed struct {
		Outcomes []struct {
			Outcome string
			Errors  []openapi.Fault
		}
	}
	s.as(t, q.coach, http.MethodPost, q.path("push"), map[string]any{"items": []any{map[string]any{"kind": "shot", "record": shot}}}).
		want(http.StatusOK).into(&pushed)
	o := pushed.Outcomes[0]
	var pointers []string
	for _, fault := range o.Errors {
		pointers = append(pointers, fault.Pointer)
	}
	if diff := cmp.Diff([]string{"/session_id", "/ball_id", "/drill_id"}, pointers); o.Outcome != "refused" || diff != "" {
		t.Errorf("%s, pointers (-want +got):\n%s", o.Outcome, diff)
	}
	p := s.do(t, call{
		method: http.MethodPut, path: q.path("shots/" + q.of[0]["shot_id"]), token: q.coach.token,
		body:   map[string]any{"session_id": q.of[1]["session_id"], "athlete_id": q.of[0]["athlete_id"], "order": 1, "time": "2026-03-14T17:00:00Z"},
		header: map[string]string{"If-Match": "*"},
	}).want(http.StatusBadRequest).problem()
	if p.Errors == nil || (*p.Errors)[0].Pointer != "/session_id" {
		t.Errorf("a shot moved into another's session: %+v", p)
	}
}

// TestMinorDoesNotConsent: an athlete's own account is refused a guardian's consent, at its place.
func TestMinorDoesNotConsent(t *testing.T) {
	t.Parallel()
	s, q := oneSquad(t)
	put := call{
		method: http.MethodPut, path: q.path("athletes/" + q.of[0]["athlete_id"]), token: q.athletes[0].token,
		body: map[string]any{
			"name": "Quillfen athlete 1", "side": "right", "born_on": "2012-05-06",
			"guardian_name": "Oda Quorrie", "guardian_consent": "2026-01-02",
		},
		header: map[string]string{"If-Match": "*"},
	}
	p := s.do(t, put).want(http.StatusForbidden).problem()
	var pointers []string
	for _, fault := range *p.Errors {
		pointers = append(pointers, fault.Pointer)
	}
	if !slices.Equal(pointers, []string{"/guardian_name", "/guardian_consent"}) || !strings.Contains(p.Detail, "only a coach") {
		t.Errorf("%s at %v", p.Detail, pointers)
	}
	put.token = q.coach.token
	s.do(t, put).want(http.StatusOK)
	put.token = q.athletes[0].token // it says no more than what stands
	put.body.(map[string]any)["note"] = "learns fast"
	s.do(t, put).want(http.StatusOK)
}
