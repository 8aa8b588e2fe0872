package synctest

import (
	"context"
	"fmt"
	"net/http"
	"testing"

	"github.com/google/uuid"
)

// person is somebody who has signed up, with their way to the server.
type person struct {
	*client
	name  string
	email string
	id    string
}

const password = "umber lantern nine kites"

// signUp makes a person who reaches the server as the client does.
func signUp(t testing.TB, by *client, name string) *person {
	t.Helper()
	var tokens struct {
		User   string `json:"user_id"`
		Access string `json:"access_token"`
	}
	email := fmt.Sprintf("person%d@invented.example", people.next())
	err := by.call(t.Context(), http.MethodPost, "/v1/users", map[string]any{
		"email": email, "name": name, "password": password, "device": "phone",
	}, &tokens)
	if err != nil {
		t.Fatal(err)
	}
	as := *by
	as.token = tokens.Access
	return &person{&as, name, email, tokens.User}
}

// via is the same person over another transport.
func (p *person) via(by *client) *person {
	as := *by
	as.token = p.token
	return &person{&as, p.name, p.email, p.id}
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }

// newSquad makes a squad with the person as its coach and returns its id.
func (p *person) newSquad(ctx context.Context, name string) (string, error) {
	var made struct {
		ID string `json:"id"`
	}
	err := p.call(ctx, http.MethodPost, "/v1/squads", map[string]any{"name": name}, &made)
	return made.ID, err
}

// joins makes another person a member by the coach's invitation. athlete is "" for other roles.
func (p *person) joins(
	ctx context.Context,
	squad string,
	who *person,
	role, athlete string,
) (member fields, err error) {
	body := map[string]any{"role": role}
	if athlete != "" {
		body["athlete_id"] = athlete
	}
	var made struct {
		Code string `json:"code"`
	}
	if err := p.call(ctx, http.MethodPost, "/v1/squads/"+squad+"/invitations", body, &made); err != nil {
		return nil, err
	}
	err = who.call(ctx, http.MethodPost, "/v1/invitations/accept", map[string]any{"code": made.Code}, &member)
	return member, err
}

// base is what shots stand on: an athlete, a session of theirs and a drill.
type base struct{ squad, athlete, session, drill string }

// newBase makes a squad ready for shots.
func (p *person) newBase(t testing.TB) base {
	t.Helper()
	squad, err := p.newSquad(t.Context(), "Invented squad")
	if err != nil {
		t.Fatal(err)
	}
	b := base{squad, newID(), newID(), newID()}
	p.mustPush(t, squad, []item{
		{Kind: "athlete", Record: fields{"id": b.athlete, "name": "Invented athlete", "side": "right"}},
		{
			Kind: "session",
			Record: fields{
				"id":         b.session,
				"kind":       "practice",
				"name":       "Practice",
				"date":       "2026-03-14",
				"athlete_id": b.athlete,
			},
		},
		{Kind: "drill", Record: drillFields(b.drill)},
		{
			Kind:   "assignment",
			Record: fields{"id": newID(), "drill_id": b.drill, "athlete_id": b.athlete, "assigned_on": "2026-03-01"},
		},
	}, "stored")
	return b
}

func drillFields(id string) fields {
	return fields{
		"id":         id,
		"name":       "Inside",
		"reps":       30,
		"pass_share": 0.8,
		"rules":      []any{fields{"measure": "board", "at": "breakpoint", "min": 10}},
	}
}

// shots are n new shots, the first with the given order.
func (b base) shots(n, from int) []item {
	items := make([]item, n)
	for i := range items {
		items[i] = b.shot(from + i)
	}
	return items
}

func (b base) shot(order int) item {
	return item{Kind: "shot", Record: fields{
		"id": newID(), "session_id": b.session, "athlete_id": b.athlete, "order": order, "time": "2026-03-14T17:00:00Z",
		"breakpoint_board": 9, "speed_mph": 16.5,
	}}
}

// mustPush pushes and wants the same outcome for every item.
func (p *person) mustPush(t testing.TB, squad string, items []item, want string) pushResult {
	t.Helper()
	result, err := p.push(t.Context(), squad, items)
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Outcomes) != len(items) {
		t.Fatalf("%d outcomes for %d items", len(result.Outcomes), len(items))
	}
	for i, got := range result.Outcomes {
		if got.Index != i || got.Outcome != want {
			t.Fatalf("outcome %d is %+v, want %s", i, got, want)
		}
	}
	return result
}
