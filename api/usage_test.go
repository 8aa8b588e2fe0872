package api_test

import (
	"net/http"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/openapi"
)

// Usage is told, with a warning from 80 % on; a full squad stores no new record, and says so in
// words of its own.
func TestUsage(t *testing.T) {
	t.Parallel()
	s := newServer(t)
	coach := s.signUp(t, "Cora")
	squad := s.create(t, coach, "/v1/squads", map[string]any{"name": "Quillfen"})
	path := "/v1/squads/" + squad
	usage := func() (u openapi.Usage) {
		t.Helper()
		s.do(t, call{token: coach.token, path: path + "/usage"}).want(http.StatusOK).into(&u)
		return u
	}
	if diff := cmp.Diff(openapi.Usage{}, usage()); diff != "" {
		t.Error(diff)
	}
	if _, err := s.service.SetQuota(t.Context(), uuid.MustParse(squad), new(int64(5))); err != nil {
		t.Fatal(err)
	}
	push := func(n int) (answer openapi.PushResult) {
		t.Helper()
		items := make([]any, n)
		for i := range items {
			items[i] = map[string]any{"kind": "athlete", "record": map[string]any{"id": uuid.NewString(), "name": "A", "side": "left"}}
		}
		s.do(t, call{method: http.MethodPost, token: coach.token, path: path + "/push", body: map[string]any{"items": items}}).
			want(http.StatusOK).into(&answer)
		return answer
	}
	quota := int64(5)
	if answer := push(3); answer.Usage != nil {
		t.Errorf("at 3 of 5 a push warns: %+v", answer.Usage)
	}
	near := openapi.Usage{Records: 4, Quota: &quota, Near: true}
	if diff := cmp.Diff(&near, push(1).Usage); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(near, usage()); diff != "" {
		t.Error(diff)
	}
	answer := push(3)
	if diff := cmp.Diff(&openapi.Usage{Records: 5, Quota: &quota, Near: true, Full: true}, answer.Usage); diff != "" {
		t.Error(diff)
	}
	for i, want := range []string{"stored", "waiting", "waiting"} {
		o := answer.Outcomes[i]
		if string(o.Outcome) != want || want == "waiting" && *(*o.Errors)[0].Code != "over-quota" {
			t.Errorf("item %d: %+v", i, o)
		}
	}
	one := call{method: http.MethodPost, token: coach.token, path: path + "/athletes", body: map[string]any{"name": "A", "side": "left"}}
	if p := s.do(t, one).want(http.StatusConflict).problem(); p.Type != "/problems#over-quota" {
		t.Errorf("a new record is answered %+v", p)
	}
}
