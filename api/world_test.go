package api_test

import (
	"fmt"
	"maps"
	"net/http"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"laneward/openapi"
)

// person is somebody who has signed up.
type person struct {
	id      uuid.UUID
	email   string
	token   string // an access token, good as long as the clock stands
	refresh string
}

const goodPassword = "umber lantern nine kites"

var people counter

// signUp makes a person with an address of their own.
func (s *server) signUp(t testing.TB, name string) person {
	t.Helper()
	email := fmt.Sprintf("person%d@invented.example", people.next())
	var tokens openapi.Tokens
	s.do(t, call{method: http.MethodPost, path: "/v1/users", body: map[string]any{
		"email": email, "name": name, "password": goodPassword, "device": "phone",
	}}).want(http.StatusCreated).into(&tokens)
	return person{tokens.UserID, email, tokens.AccessToken, tokens.RefreshToken}
}

// ids are the ids of records by the contract's name for them, such as athlete_id.
type ids map[string]string

// squad is a squad with its people and a record of every kind for each of two athletes.
type squad struct {
	server *server
	name   string
	id     string
	// coach, analyst and athletes are members; removed was one.
	coach, analyst, removed person
	athletes                [2]person
	// of are the records of each athlete. squad_id and pattern_id are the squad's; the drill is
	// assigned to that athlete alone.
	of     [2]ids
	shared string // a session of the whole squad
}

// newSquad makes a squad whose every record bears the name, so that a leak of one can be seen.
func (s *server) newSquad(t testing.TB, name string) *squad {
	t.Helper()
	q := &squad{server: s, name: name}
	q.coach = s.signUp(t, name+" coach")
	q.id = s.create(t, q.coach, "/v1/squads", map[string]any{"name": name})
	for i := range q.of {
		q.of[i] = ids{"squad_id": q.id, "sign_in_id": uuid.NewString(), "passkey_id": uuid.NewString()}
		q.of[i]["athlete_id"] = q.add(
			t,
			"athletes",
			map[string]any{"name": fmt.Sprintf("%s athlete %d", name, i+1), "side": "right"},
		)
		q.athletes[i], q.of[i]["member_id"] = q.join(t, "athlete", q.of[i]["athlete_id"])
		q.addRecords(t, i)
	}
	q.analyst, _ = q.join(t, "analyst", "")
	q.removed, _ = q.leave(t)
	q.shared = q.add(t, "sessions", q.sessionBody(-1))
	return q
}

// addRecords makes a record of every kind for one of the athletes.
func (q *squad) addRecords(t testing.TB, i int) {
	t.Helper()
	maps.Copy(q.of[i], q.loose(t, i))
	own := q.of[i]
	q.add(
		t,
		"assignments",
		map[string]any{
			"drill_id":    own["drill_id"],
			"athlete_id":  own["athlete_id"],
			"assigned_on": "2026-03-01",
			"note":        q.name,
		},
	)
	result := q.upload(t, q.coach, own["session_id"], []any{
		map[string]any{
			"athlete_id":       own["athlete_id"],
			"ball_id":          own["ball_id"],
			"drill_id":         own["drill_id"],
			"order":            1,
			"time":             "2026-03-14T17:00:00Z",
			"breakpoint_board": 9,
			"note":             q.name,
		},
	})
	own["shot_id"] = result.Outcomes[0].ID.String()
}

// loose makes records that nothing refers to, for one of the athletes: they can be deleted.
func (q *squad) loose(t testing.TB, i int) ids {
	t.Helper()
	made := maps.Clone(q.of[i])
	made["ball_id"] = q.add(t, "balls", q.ballBody(i))
	made["pattern_id"] = q.add(t, "patterns", q.patternBody())
	made["session_id"] = q.add(t, "sessions", q.sessionBody(i))
	made["drill_id"] = q.add(t, "drills", q.drillBody(i))
	made["assignment_id"] = q.add(t, "assignments", q.assignmentBody(i))
	made["invitation_id"], _ = q.invite(t, "analyst", "")
	return made
}

func (q *squad) ballBody(i int) map[string]any {
	return map[string]any{"athlete_id": q.of[i]["athlete_id"], "name": q.name + " ball", "weight_lb": 15}
}

func (q *squad) patternBody() map[string]any {
	load := func(direction string, from, to, count int, start, end float64) any {
		return map[string]any{
			"direction":    direction,
			"from_board":   from,
			"to_board":     to,
			"count":        count,
			"ul_per_board": 80,
			"start_ft":     start,
			"end_ft":       end,
		}
	}
	return map[string]any{"name": q.name + " pattern", "length_ft": 41, "loads": []any{
		load("out", 2, 38, 2, 0, 26), load("out", 8, 32, 3, 0, 36), load("back", 11, 29, 4, 41, 2),
	}}
}

// sessionBody is a session of one of the athletes, or of the whole squad for -1.
func (q *squad) sessionBody(i int) map[string]any {
	body := map[string]any{"kind": "practice", "name": q.name + " session", "date": "2026-03-14"}
	if i >= 0 {
		body["athlete_id"] = q.of[i]["athlete_id"]
	}
	if pattern := q.of[0]["pattern_id"]; pattern != "" {
		body["pattern_id"] = pattern
	}
	return body
}

func (q *squad) drillBody(i int) map[string]any {
	body := map[string]any{"name": q.name + " drill", "reps": 30, "pass_share": 0.7, "rules": []any{
		map[string]any{"measure": "board", "at": "breakpoint", "min": 10},
	}}
	if pattern := q.of[i]["pattern_id"]; pattern != "" {
		body["pattern_id"] = pattern
	}
	return body
}

// assignmentBody assigns the athlete's own drill; before there is one, a new one.
func (q *squad) assignmentBody(i int) map[string]any {
	drill := q.of[i]["drill_id"]
	if drill == "" {
		drill = q.add(q.server.t, "drills", q.drillBody(i))
	}
	return map[string]any{
		"drill_id":    drill,
		"athlete_id":  q.of[i]["athlete_id"],
		"assigned_on": "2026-03-02",
		"note":        q.name,
	}
}

func (q *squad) shotBody(i int) map[string]any {
	own := q.of[i]
	return map[string]any{
		"session_id":       own["session_id"],
		"athlete_id":       own["athlete_id"],
		"ball_id":          own["ball_id"],
		"drill_id":         own["drill_id"],
		"order":            1,
		"time":             "2026-03-14T17:00:00Z",
		"breakpoint_board": 11,
		"note":             q.name,
	}
}

// create stores a record and returns its id.
func (s *server) create(t testing.TB, by person, path string, body map[string]any) string {
	t.Helper()
	var record struct {
		ID uuid.UUID `json:"id"`
	}
	s.do(t, call{method: http.MethodPost, path: path, token: by.token, body: body}).
		want(http.StatusCreated).
		into(&record)
	return record.ID.String()
}

// add stores a record of the squad as its coach and returns its id.
func (q *squad) add(t testing.TB, many string, body map[string]any) string {
	t.Helper()
	return q.server.create(t, q.coach, q.path(many), body)
}

func (q *squad) path(rest string) string { return "/v1/squads/" + q.id + "/" + rest }

// upload stores shots and returns the outcome.
func (q *squad) upload(t testing.TB, by person, session string, shots []any) (result openapi.UploadResult) {
	t.Helper()
	path := q.path("sessions/" + session + "/shots")
	q.server.do(t, call{method: http.MethodPost, path: path, token: by.token, body: shots}).
		want(http.StatusOK).
		into(&result)
	return result
}

// invite makes an invitation and returns its id and its code.
func (q *squad) invite(t testing.TB, role, athlete string) (id, code string) {
	t.Helper()
	body := map[string]any{"role": role}
	if athlete != "" {
		body["athlete_id"] = athlete
	}
	var made openapi.Invitation
	q.server.do(t, call{method: http.MethodPost, path: q.path("invitations"), token: q.coach.token, body: body}).
		want(http.StatusCreated).
		into(&made)
	return made.ID.String(), *made.Code
}

// join makes somebody a member by invitation, and returns them and the member's id.
func (q *squad) join(t testing.TB, role, athlete string) (who person, member string) {
	t.Helper()
	who = q.server.signUp(t, q.name+" "+role)
	_, code := q.invite(t, role, athlete)
	var joined openapi.Member
	q.server.do(t, call{method: http.MethodPost, path: "/v1/invitations/accept", token: who.token, body: map[string]any{"code": code}}).
		want(http.StatusCreated).
		into(&joined)
	return who, joined.ID.String()
}

// leave makes somebody a coach of the squad and takes them out again.
func (q *squad) leave(t testing.TB) (who person, member string) {
	t.Helper()
	who, member = q.join(t, "coach", "")
	q.server.do(t, call{method: http.MethodDelete, path: q.path("members/" + member), token: q.coach.token, header: map[string]string{"If-Match": "*"}}).
		want(http.StatusNoContent)
	return who, member
}

// counter counts up from 1, for many at once.
type counter struct{ n atomic.Int64 }

func (c *counter) next() int { return int(c.n.Add(1)) }

// shotOrders keep the shots of a test process apart: a shot's order is part of its identity.
var shotOrders counter
