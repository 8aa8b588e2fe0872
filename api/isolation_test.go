package api_test

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
)

// accessRow says how one operation is asked for, and how it answers whom. Paths, query parameters
// and the refused cases come from the contract; the requests they are made of succeed for a coach,
// which is tested too, or the refusals would prove nothing.
type accessRow struct {
	// body is the request's, for one of the athletes; nil for none.
	body func(q *squad, i int) any
	// loose makes the walk take records that nothing refers to, new ones for each request: they are
	// deleted.
	loose bool
	// coach, analyst and athlete (with their own records) are the answers to those who may ask at
	// all; 0: the same as the coach's.
	coach, analyst, athlete int
	// other is the answer to an athlete who asks with another athlete's ids in path and query; 0:
	// there is nothing of an athlete's in it.
	other int
	// itemwise is answered item by item with a status of 200: an analyst's items are each refused.
	itemwise bool
	// fresh makes somebody new ask, because it ends a sign-in or an account.
	fresh bool
	// open are the public operations and those outside any squad: the walk checks tokens only.
	open bool
}

func fixedBody(body any) func(*squad, int) any { return func(*squad, int) any { return body } }

func recordBody(body func(*squad, int) map[string]any) func(*squad, int) any {
	return func(q *squad, i int) any { return body(q, i) }
}

// renamed is the body of a change: the record as it was made, but for its note.
func renamed(body func(*squad, int) map[string]any) func(*squad, int) any {
	return func(q *squad, i int) any {
		changed := body(q, i)
		changed["note"] = "changed " + uuid.NewString()
		return changed
	}
}

// lineBody asks for lines of one of the athletes with their own ball, and for what else the request
// or its subject has.
func lineBody(more map[string]any) func(*squad, int) any {
	return func(q *squad, i int) any {
		subject := map[string]any{
			"athlete_id": q.of[i]["athlete_id"],
			"ball_id":    q.of[i]["ball_id"],
			"pattern_id": q.of[i]["pattern_id"],
		}
		body := map[string]any{"subject": subject}
		for name, value := range more {
			if slices.Contains([]string{"athlete_id", "ball_id", "pattern_id", "friction", "pocket", "worn", "scatter_boards", "spares"}, name) {
				subject[name] = value
			} else {
				body[name] = value
			}
		}
		return body
	}
}

// goodAim is a line of the test pattern whose misses outside stop coming back.
var goodAim = map[string]any{"laydown_board": 21, "launch_angle_deg": 1.75}

func patternBody(q *squad, _ int) map[string]any { return q.patternBody() }

func athleteBody(q *squad, _ int) map[string]any {
	return map[string]any{"name": q.name + " athlete", "side": "right"}
}

func logBody(q *squad, i int) any {
	row := q.shotBody(i)
	delete(row, "session_id") // the address says it
	row["order"] = 100 + shotOrders.next()
	return []any{row}
}

func pushBody(q *squad, i int) any {
	record := q.shotBody(i)
	record["order"] = 100 + shotOrders.next()
	return pushOf("shot", uuid.NewString(), record)
}

func pushOf(kind, id string, record map[string]any) map[string]any {
	return map[string]any{"items": []any{map[string]any{"kind": kind, "id": id, "record": record}}}
}

// accessRows has a row for every operation of the contract.
var accessRows = map[string]accessRow{
	"getHealth":   {open: true, coach: 200},
	"getReady":    {open: true, coach: 200},
	"getContract": {open: true, coach: 200},
	"getKeys":     {open: true, coach: 200},
	"signUp": {open: true, coach: 201, body: func(*squad, int) any {
		return map[string]any{
			"email":    uuid.NewString() + "@invented.example",
			"name":     "Walker",
			"password": goodPassword,
			"device":   "phone",
		}
	}},
	"signIn": {open: true, coach: 201, body: func(q *squad, _ int) any {
		return map[string]any{"email": q.coach.email, "password": goodPassword, "device": "phone"}
	}},
	"refreshTokens": {open: true, coach: 201, body: func(q *squad, _ int) any {
		return map[string]any{"refresh_token": q.coach.refresh, "device": "phone"}
	}},
	"signOut": {open: true, coach: 204, body: func(q *squad, _ int) any {
		return map[string]any{"refresh_token": q.removed.refresh, "device": "phone"}
	}},
	"getMe": {open: true, coach: 200},
	"changePassword": {open: true, fresh: true, coach: 204, body: fixedBody(
		map[string]any{"current_password": goodPassword, "new_password": "another five unrelated words"},
	)},
	"listSignIns":         {open: true, coach: 200},
	"endSignIns":          {open: true, fresh: true, coach: 204},
	"endSignIn":           {open: true, coach: 404}, // of a sign-in that nobody has
	"getRecoveryCodes":    {open: true, coach: 200},
	"createRecoveryCodes": {open: true, fresh: true, coach: 201, body: fixedBody(map[string]any{"password": goodPassword})},
	"listPasskeys":        {open: true, coach: 200},
	"beginPasskey":        {open: true, fresh: true, coach: 200, body: fixedBody(map[string]any{"password": goodPassword})},
	"addPasskey": {open: true, coach: 400, body: func(*squad, int) any { // of a registration that nobody began
		return map[string]any{"ceremony": uuid.NewString(), "name": "phone", "credential": "{}"}
	}},
	"removePasskey":      {open: true, coach: 404}, // of a passkey that nobody has
	"beginPasskeySignIn": {open: true, coach: 200},
	"signInWithPasskey": {open: true, coach: 401, body: func(*squad, int) any {
		return map[string]any{"ceremony": uuid.NewString(), "credential": "{}", "device": "phone"}
	}},
	"deleteAccount": {open: true, fresh: true, coach: 204, body: fixedBody(map[string]any{"password": goodPassword})},
	"resetPassword": {open: true, coach: 404, body: func(q *squad, _ int) any {
		return map[string]any{
			"email": uuid.NewString() + "@invented.example", "code": "WRONGWRONGWRONG", "new_password": goodPassword, "device": "phone",
		}
	}},
	"acceptInvitation": {open: true, coach: 404, body: fixedBody(map[string]any{"code": "WRONGWRONGWRONG"})},
	"createSquad":      {open: true, coach: 201, body: fixedBody(map[string]any{"name": "One more"})},

	"getSquad": {coach: 200},
	"replaceSquad": {coach: 200, analyst: 403, athlete: 403, body: func(q *squad, _ int) any {
		return map[string]any{"name": q.name + " " + uuid.NewString()}
	}},
	"listMembers": {coach: 200},
	"replaceMember": {coach: 200, analyst: 403, athlete: 403, other: 404, body: func(q *squad, i int) any {
		return map[string]any{"role": "athlete", "athlete_id": q.of[i]["athlete_id"]}
	}},
	"deleteMember":     {coach: 204, analyst: 403, athlete: 204, other: 404, loose: true},
	"createResetCode":  {coach: 201, analyst: 403, athlete: 403, other: 403},
	"listAudit":        {coach: 200, analyst: 403, athlete: 403},
	"listDevices":      {coach: 200, analyst: 200, athlete: 200},
	"getUsage":         {coach: 200, analyst: 200, athlete: 200},
	"listInvitations":  {coach: 200, analyst: 403, athlete: 403},
	"createInvitation": {coach: 201, analyst: 403, athlete: 403, body: fixedBody(map[string]any{"role": "analyst"})},
	"deleteInvitation": {coach: 204, analyst: 403, athlete: 403, loose: true},

	"listShots":   {coach: 200, other: 404},
	"uploadShots": {coach: 200, analyst: 403, other: 404, body: logBody},
	"getShot":     {coach: 200, other: 404},
	"replaceShot": {coach: 200, analyst: 403, other: 404, body: renamed((*squad).shotBody)},
	"deleteShot":  {coach: 204, analyst: 403, other: 404, loose: true},
	"readSentence": {
		coach: 200,
		body:  fixedBody(map[string]any{"sentence": "Keep the ball at board 10 or inside at the breakpoint"}),
	},
	"getAdherence":    {coach: 200, other: 404},
	"getJudgements":   {coach: 200, other: 404},
	"getLeaves":       {coach: 200, other: 404},
	"getDrillPicture": {coach: 200, other: 404},

	"layOil": {
		open:  true,
		coach: 200,
		body:  func(q *squad, _ int) any { return map[string]any{"loads": q.patternBody()["loads"]} },
	},
	"getFilm":        {coach: 200, other: 404},
	"getFilmPicture": {coach: 200, other: 404},
	"planLines":      {coach: 200, other: 404, body: lineBody(nil)},
	"compareLines": {
		coach: 200,
		other: 404,
		body:  lineBody(map[string]any{"against": map[string]any{"worn": map[string]any{"shots": 8}}}),
	},
	"mapMisses": {
		coach: 200,
		other: 404,
		body:  lineBody(map[string]any{"grid": map[string]any{"laydown_step_boards": 4, "angle_step_deg": 1}}),
	},
	"studyLine": {coach: 200, other: 404, body: lineBody(goodAim)},
	"assignDrill": {coach: 201, analyst: 403, athlete: 403, other: 403, body: func(q *squad, i int) any {
		from := time.Date(2027, 1, shotOrders.next(), 0, 0, 0, 0, time.UTC)
		return map[string]any{"assigned_on": from.Format(time.DateOnly), "athlete_ids": []string{q.of[i]["athlete_id"]}}
	}},
	"assignLine": {coach: 201, analyst: 403, athlete: 403, other: 403, body: lineBody(goodAim)},

	"getFeed":     {coach: 200},
	"getSnapshot": {coach: 200},
	"getLive":     {coach: 200},
	"getDigest":   {coach: 200},
	"push":        {coach: 200, itemwise: true, body: pushBody},

	"listAthletes":   {coach: 200},
	"createAthlete":  {coach: 201, analyst: 403, athlete: 403, body: recordBody(athleteBody)},
	"getAthlete":     {coach: 200, other: 404},
	"replaceAthlete": {coach: 200, analyst: 403, other: 404, body: renamed(athleteBody)},
	"deleteAthlete":  {coach: 204, analyst: 403, athlete: 403, other: 404, loose: true},
	"exportAthlete":  {coach: 200, analyst: 403, other: 404},
	"eraseAthlete": {coach: 200, analyst: 403, athlete: 403, other: 403, loose: true, body: func(q *squad, _ int) any {
		return map[string]any{"confirm": athleteBody(q, 0)["name"]}
	}},
	"listBalls":         {coach: 200},
	"createBall":        {coach: 201, analyst: 403, body: recordBody((*squad).ballBody)},
	"getBall":           {coach: 200, other: 404},
	"replaceBall":       {coach: 200, analyst: 403, other: 404, body: renamed((*squad).ballBody)},
	"deleteBall":        {coach: 204, analyst: 403, other: 404, loose: true},
	"listPatterns":      {coach: 200},
	"createPattern":     {coach: 201, analyst: 403, athlete: 403, body: recordBody(patternBody)},
	"getPattern":        {coach: 200},
	"replacePattern":    {coach: 200, analyst: 403, athlete: 403, body: renamed(patternBody)},
	"deletePattern":     {coach: 204, analyst: 403, athlete: 403, loose: true},
	"listSessions":      {coach: 200},
	"createSession":     {coach: 201, analyst: 403, body: recordBody((*squad).sessionBody)},
	"getSession":        {coach: 200, other: 404},
	"replaceSession":    {coach: 200, analyst: 403, other: 404, body: renamed((*squad).sessionBody)},
	"deleteSession":     {coach: 204, analyst: 403, other: 404, loose: true},
	"listDrills":        {coach: 200},
	"createDrill":       {coach: 201, analyst: 403, athlete: 403, body: recordBody((*squad).drillBody)},
	"getDrill":          {coach: 200, other: 404},
	"replaceDrill":      {coach: 200, analyst: 403, athlete: 403, other: 404, body: renamed((*squad).drillBody)},
	"deleteDrill":       {coach: 204, analyst: 403, athlete: 403, other: 404, loose: true},
	"listAssignments":   {coach: 200},
	"createAssignment":  {coach: 201, analyst: 403, athlete: 403, body: recordBody((*squad).assignmentBody)},
	"getAssignment":     {coach: 200, other: 404},
	"replaceAssignment": {coach: 200, analyst: 403, athlete: 403, other: 404, body: renamed((*squad).assignmentBody)},
	"deleteAssignment":  {coach: 204, analyst: 403, athlete: 403, other: 404, loose: true},
}

// TestAccessRowsCoverTheContract fails when an operation is added to the contract and not to the
// walk.
func TestAccessRowsCoverTheContract(t *testing.T) {
	t.Parallel()
	for id, o := range operations() {
		row, ok := accessRows[id]
		if !ok {
			t.Errorf("%s %s (%s) has no row in accessRows: say who may do it", o.method, o.path, id)
			continue
		}
		if inSquad := strings.Contains(o.path, "{squad_id}"); inSquad == row.open {
			t.Errorf("%s: open is %v for %s", id, row.open, o.path)
		}
		if o.public() && !row.open {
			t.Errorf("%s needs no token: squad operations do", id)
		}
	}
	for id := range accessRows {
		if _, ok := operations()[id]; !ok {
			t.Errorf("accessRows has %s, which the contract has not", id)
		}
	}
}

// walk is the two squads the walk goes through, and what their every row is.
type walk struct {
	*server
	own, foreign *squad
	nobody       person // a member of no squad
	keeper       *keeper
}

// TestIsolation asks for every operation of the contract as everybody who must not have it, with
// every id that is not theirs, and holds that the answer tells nothing and that nothing was
// written.
func TestIsolation(t *testing.T) {
	t.Parallel()
	for part := range isolationParts {
		t.Run(fmt.Sprintf("part %d", part+1), func(t *testing.T) {
			t.Parallel()
			w := newWalk(t)
			for i, id := range slices.Sorted(maps.Keys(operations())) {
				if row, ok := accessRows[id]; ok && i%isolationParts == part {
					t.Run(id, func(t *testing.T) { w.operation(t, id, row) })
				}
			}
		})
	}
}

// isolationParts are how many servers share the walk: within one the requests are one after the
// other, or a digest would mean nothing.
const isolationParts = 4

func (w *walk) operation(t *testing.T, id string, row accessRow) {
	o := operations()[id]
	if !o.public() {
		w.badTokens(t, o, row)
	}
	if !row.open {
		w.strangers(t, o, row)
		w.foreignIDs(t, o, row)
		w.roles(t, o, row)
	}
	t.Run("coach", func(t *testing.T) { w.do(t, w.request(t, o, row, 0)).want(row.coach) })
}

// request makes the operation's request with the ids of one of the own squad's athletes, as the
// coach.
func (w *walk) request(t testing.TB, o operation, row accessRow, i int) call {
	t.Helper()
	return w.requestWith(t, o, row, i, w.own.idsFor(t, o, row, i))
}

func (w *walk) requestWith(t testing.TB, o operation, row accessRow, i int, with ids) call {
	path := o.path
	for _, name := range o.parameters("path") {
		path = strings.ReplaceAll(path, "{"+name+"}", with[name])
	}
	query := url.Values{}
	for _, name := range o.parameters("query") {
		if strings.HasSuffix(name, "_id") {
			query.Set(name, with[name])
		}
	}
	if len(query) > 0 {
		path += "?" + query.Encode()
	}
	c := call{method: o.method, path: path, token: w.own.coach.token}
	if row.fresh {
		c.token = w.signUp(t, "Passer-by").token
	}
	if row.body != nil {
		c.body = row.body(w.own, i)
	}
	if slices.Contains(o.parameters("header"), "If-Match") {
		c = c.with("If-Match", "*")
	}
	return c
}

// idsFor returns the ids of one of the athletes, of records that can be deleted if the row asks for
// such.
func (q *squad) idsFor(t testing.TB, o operation, row accessRow, i int) ids {
	t.Helper()
	if !row.loose {
		return q.of[i]
	}
	made := q.loose(t, i)
	switch {
	case strings.Contains(o.path, "{shot_id}"):
		result := q.upload(t, q.coach, q.of[i]["session_id"], []any{map[string]any{
			"athlete_id": q.of[i]["athlete_id"], "order": 1000 + shotOrders.next(), "time": "2026-03-14T17:00:00Z",
		}})
		made["shot_id"] = result.Outcomes[0].ID.String()
	case strings.Contains(o.path, "{member_id}"):
		_, made["member_id"] = q.join(t, "athlete", q.of[i]["athlete_id"])
	case strings.HasSuffix(o.path, "/athletes/{athlete_id}"), strings.HasSuffix(o.path, "/athletes/{athlete_id}/erase"):
		made["athlete_id"] = q.add(t, "athletes", athleteBody(q, i))
	}
	return made
}

// refused sends a request that must be refused with one of the statuses, and holds that nothing was
// written and nothing told.
func (w *walk) refused(t *testing.T, name string, c call, statuses ...int) {
	t.Helper()
	t.Run(name, func(t *testing.T) {
		for _, variant := range ifMatchVariants(c) {
			before := w.keeper.fingerprint(t)
			a := w.do(t, variant)
			if !slices.Contains(statuses, a.status) {
				t.Errorf(
					"%s %s (If-Match %q): status %d, want one of %v: %s",
					c.method,
					c.path,
					variant.header["If-Match"],
					a.status,
					statuses,
					a.text(),
				)
			}
			w.keeper.unchanged(t, before)
			w.keepsQuiet(t, a)
		}
	})
}

// ifMatchVariants are the request with any version and with a certain one, which take different
// ways.
func ifMatchVariants(c call) []call {
	if _, ok := c.header["If-Match"]; !ok {
		return []call{c}
	}
	return []call{c, c.with("If-Match", `"3"`)}
}

// keepsQuiet holds that an answer does not speak of the other squad.
func (w *walk) keepsQuiet(t *testing.T, a *answer) {
	t.Helper()
	if strings.Contains(a.unpacked(), w.foreign.name) && a.call.token != w.foreign.coach.token {
		t.Errorf("the answer tells of the other squad: %s", a.text())
	}
	if strings.Contains(a.unpacked(), w.own.name) && a.call.token == w.foreign.coach.token {
		t.Errorf("the answer tells of the other squad: %s", a.text())
	}
}

// badTokens asks without a token and with every forgery of the coach's.
func (w *walk) badTokens(t *testing.T, o operation, row accessRow) {
	t.Helper()
	c := w.request(t, o, row, 0)
	tokens := w.forgeries(t, w.own.coach)
	tokens["no token"] = ""
	for name, token := range tokens {
		c.token = token
		w.refused(t, name, c, http.StatusUnauthorized)
	}
}

// strangers asks as people who are in another squad, in none, and no longer in this one.
func (w *walk) strangers(t *testing.T, o operation, row accessRow) {
	t.Helper()
	for name, who := range map[string]person{"coach of another squad": w.foreign.coach, "member of no squad": w.nobody, "removed member": w.own.removed} {
		c := w.request(t, o, row, 0)
		c.token = who.token
		w.refused(t, name, c, http.StatusNotFound)
	}
}

// foreignIDs asks as the squad's coach with another squad's ids, one at a time, in path, query and
// body. Whether the id is another squad's or nobody's must make no difference.
func (w *walk) foreignIDs(t *testing.T, o operation, row accessRow) {
	t.Helper()
	for _, name := range o.parameters("path") {
		if name == "squad_id" {
			continue
		}
		with := maps.Clone(w.own.idsFor(t, o, row, 0))
		with[name] = w.foreign.of[0][name]
		w.refused(t, "path "+name+" of another squad", w.requestWith(t, o, row, 0, with), http.StatusNotFound)
	}
	for _, name := range o.parameters("query") {
		if strings.HasSuffix(name, "_id") {
			w.sameAsUnknown(t, "query "+name+" of another squad", w.foreign.of[0][name], func(id string) call {
				with := maps.Clone(w.own.idsFor(t, o, row, 0))
				with[name] = id
				c := w.requestWith(t, o, row, 0, with)
				c.body = without(c.body, name) // in a log the row's own reference wins
				return c
			})
		}
	}
	for _, name := range references(w.request(t, o, row, 0).body) {
		w.sameAsUnknown(t, "body "+name+" of another squad", w.foreign.of[0][name], func(id string) call {
			c := w.request(t, o, row, 0)
			c.body = replaced(c.body, name, id)
			return c
		})
	}
}

// sameAsUnknown holds that a reference to a foreign record is answered like one to a record that
// does not exist, and stores nothing.
func (w *walk) sameAsUnknown(t *testing.T, name, foreign string, request func(id string) call) {
	t.Helper()
	t.Run(name, func(t *testing.T) {
		var answers [2]*answer
		unknown := uuid.NewString()
		for i, id := range []string{foreign, unknown} {
			c := request(id)
			before := w.keeper.fingerprint(t)
			answers[i] = w.do(t, c)
			w.keeper.unchanged(t, before)
			w.keepsQuiet(t, answers[i])
		}
		if a := answers[0]; a.status < 400 && !noneStored(a) {
			t.Errorf("status %d, want a refusal: %s", a.status, a.text())
		}
		got, want := answers[0].comparable(foreign), answers[1].comparable(unknown)
		if got != want {
			t.Errorf("another squad's record is told apart from none:\n%s\n%s", got, want)
		}
	})
}

// comparable is what an answer says without its own request's ids.
func (a *answer) comparable(id string) string {
	body := strings.ReplaceAll(string(a.body), id, "ID")
	body = strings.ReplaceAll(body, a.header.Get("X-Request-Id"), "REQUEST")
	for _, one := range a.outcomes() {
		body = strings.ReplaceAll(body, one.ID, "ITEM")
	}
	return fmt.Sprintf("%d %s", a.status, body)
}

// outcome is what an upload and a push have in common.
type outcome struct{ ID, Outcome string }

// outcomes are those of an upload's rows or a push's items.
func (a *answer) outcomes() []outcome {
	var result struct{ Outcomes []outcome }
	if a.status == http.StatusOK && a.call.method == http.MethodPost {
		a.into(&result)
	}
	return result.Outcomes
}

// noneStored tells that every item was answered, and none stored.
func noneStored(a *answer) bool {
	found := a.outcomes()
	return len(found) > 0 &&
		!slices.ContainsFunc(found, func(o outcome) bool { return o.Outcome != "refused" && o.Outcome != "waiting" })
}

// roles asks as an analyst, and as an athlete with the own ids and with another athlete's.
func (w *walk) roles(t *testing.T, o operation, row accessRow) {
	t.Helper()
	c := w.request(t, o, row, 0)
	c.token = w.own.analyst.token
	switch {
	case row.itemwise:
		w.notStored(t, "analyst", c)
	case row.analyst >= 400:
		w.refused(t, "analyst", c, row.analyst)
	default:
		t.Run("analyst", func(t *testing.T) { w.do(t, c).want(row.coach) })
	}
	w.athletes(t, o, row)
}

func (w *walk) athletes(t *testing.T, o operation, row accessRow) {
	t.Helper()
	if row.other != 0 {
		c := w.request(t, o, row, 1)
		c.token = w.own.athletes[0].token
		w.refused(t, "athlete with another's ids", c, row.other)
	}
	if row.athlete >= 400 {
		c := w.requestWith(t, o, row, 0, w.own.of[0])
		c.token = w.own.athletes[0].token
		w.refused(t, "athlete", c, row.athlete)
		return
	}
	for _, name := range references(w.request(t, o, row, 0).body) {
		if w.own.of[0][name] == w.own.of[1][name] || name == "pattern_id" {
			continue // the squad's, not an athlete's
		}
		c := w.request(t, o, row, 0)
		c.body, c.token = replaced(c.body, name, w.own.of[1][name]), w.own.athletes[0].token
		w.notStored(t, "athlete with another's "+name+" in the body", c)
	}
	for _, name := range o.parameters("query") {
		if strings.HasSuffix(name, "_id") {
			with := maps.Clone(w.own.of[0])
			with[name] = w.own.of[1][name]
			c := w.requestWith(t, o, row, 0, with)
			c.body, c.token = without(c.body, name), w.own.athletes[0].token
			w.notStored(t, "athlete with another's "+name+" in the query", c)
		}
	}
	t.Run("athlete", func(t *testing.T) { w.athleteSucceeds(t, o, row) })
}

// notStored sends a request of which nothing may be stored: it is refused, or each of its items is.
func (w *walk) notStored(t *testing.T, name string, c call) {
	t.Helper()
	t.Run(name, func(t *testing.T) {
		before := w.keeper.fingerprint(t)
		a := w.do(t, c)
		if a.status < 400 && !noneStored(a) {
			t.Errorf("status %d, want a refusal: %s", a.status, a.text())
		}
		w.keeper.unchanged(t, before)
		if c.token == w.own.athletes[0].token {
			w.keepsPrivate(t, a)
		}
	})
}

func (w *walk) athleteSucceeds(t *testing.T, o operation, row accessRow) {
	want := row.coach
	if row.athlete != 0 {
		want = row.athlete
	}
	c := w.request(t, o, row, 0)
	c.token = w.own.athletes[0].token
	if strings.Contains(o.path, "{member_id}") { // the own membership is not one that anybody else can be made for
		leaver, member := w.own.join(t, "athlete", w.own.of[0]["athlete_id"])
		c.path, c.token = w.own.path("members/"+member), leaver.token
	}
	w.keepsPrivate(t, w.do(t, c).want(want))
}

// keepsPrivate holds that an answer to the first athlete shows no record of the second.
func (w *walk) keepsPrivate(t *testing.T, a *answer) {
	t.Helper()
	body := a.unpacked()
	for name, id := range w.own.of[1] {
		if id != w.own.of[0][name] && name != "pattern_id" && name != "invitation_id" && !sent(a.call, id) &&
			strings.Contains(body, id) {
			t.Errorf("the answer shows another athlete's %s: %s", name, body)
		}
	}
}

// unpacked is the body as text, also that of an archive.
func (a *answer) unpacked() string {
	a.t.Helper()
	if a.header.Get("Content-Type") != "application/zip" {
		return string(a.body)
	}
	archive, err := zip.NewReader(bytes.NewReader(a.body), int64(len(a.body)))
	if err != nil {
		a.t.Fatal(err)
	}
	var b strings.Builder
	for _, file := range archive.File {
		opened, err := file.Open()
		if err != nil {
			a.t.Fatal(err)
		}
		if _, err := io.Copy(&b, opened); err != nil {
			a.t.Fatal(err)
		}
	}
	return b.String()
}

// sent tells that the request itself held the id, so that the answer may repeat it.
func sent(c call, id string) bool {
	return strings.Contains(c.path, id) || strings.Contains(fmt.Sprint(c.body), id)
}

// references are the fields of a body that name a record, also in the rows of a log.
func references(body any) (names []string) {
	for name := range fields(body) {
		if strings.HasSuffix(name, "_id") {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// fields are those of a record, of the first row of a log, of the first item of a push or of the
// subject of a plan.
func fields(body any) map[string]any {
	switch shape := body.(type) {
	case []any:
		return shape[0].(map[string]any)
	case map[string]any:
		if items, ok := shape["items"].([]any); ok {
			return items[0].(map[string]any)["record"].(map[string]any)
		}
		if subject, ok := shape["subject"].(map[string]any); ok {
			return subject
		}
		return shape
	}
	return nil
}

func replaced(body any, name, id string) any {
	changed := maps.Clone(fields(body))
	changed[name] = id
	return sameShape(body, changed)
}

func without(body any, name string) any {
	if body == nil {
		return nil
	}
	changed := maps.Clone(fields(body))
	delete(changed, name)
	return sameShape(body, changed)
}

func sameShape(body any, changed map[string]any) any {
	switch shape := body.(type) {
	case []any:
		return []any{changed}
	case map[string]any:
		if items, ok := shape["items"].([]any); ok {
			item := items[0].(map[string]any)
			return pushOf(item["kind"].(string), item["id"].(string), changed)
		}
		if _, ok := shape["subject"]; ok {
			return laidOver(shape, map[string]any{"subject": changed})
		}
	}
	return changed
}
