package web_test

import (
	"archive/zip"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"laneward/service/record"

	"github.com/google/uuid"
)

var (
	inputRE  = regexp.MustCompile(`<input[^>]* name="([^"]+)"[^>]*>`)
	valueRE  = regexp.MustCompile(` value="([^"]*)"`)
	selectRE = regexp.MustCompile(`(?s)<select[^>]* name="([^"]+)"[^>]*>(.*?)</select>`)
	chosenRE = regexp.MustCompile(`<option value="([^"]*)" selected>`)
	firstRE  = regexp.MustCompile(`<option value="([^"]*)"`)
	areaRE   = regexp.MustCompile(`(?s)<textarea[^>]* name="([^"]+)"[^>]*>(.*?)</textarea>`)
)

// sends is what a browser sends of the first form of a page whose action ends so, with some fields
// changed.
func (r reply) sends(t *testing.T, action string, changes ...string) []string {
	t.Helper()
	_, rest, found := strings.Cut(r.body, action+`" method="post"`)
	if !found {
		t.Fatalf("the page has no form to %s:\n%.2000s", action, r.text())
	}
	body, _, _ := strings.Cut(rest, "</form>")
	unescape := strings.NewReplacer(
		"&#34;",
		`"`,
		"&#39;",
		"'",
		"&lt;",
		"<",
		"&gt;",
		">",
		"&amp;",
		"&",
		"&#43;",
		"+",
	).Replace
	changed := make(map[string]string)
	for i := 0; i+1 < len(changes); i += 2 {
		changed[changes[i]] = changes[i+1]
	}
	var fields []string
	add := func(name, value string) {
		if other, ok := changed[name]; ok {
			value = other
			delete(changed, name)
		}
		fields = append(fields, name, unescape(value))
	}
	for _, tag := range inputRE.FindAllStringSubmatch(body, -1) {
		value := ""
		if match := valueRE.FindStringSubmatch(tag[0]); match != nil {
			value = match[1]
		}
		add(tag[1], value)
	}
	for _, tag := range selectRE.FindAllStringSubmatch(body, -1) {
		chosen := chosenRE.FindStringSubmatch(tag[2])
		if chosen == nil {
			chosen = firstRE.FindStringSubmatch(tag[2])
		}
		add(tag[1], chosen[1])
	}
	for _, tag := range areaRE.FindAllStringSubmatch(body, -1) {
		add(tag[1], tag[2])
	}
	for name := range changed {
		t.Fatalf("the form to %s has no field %q", action, name)
	}
	return fields
}

func (w *world) stored(kind record.Kind, id uuid.UUID) record.Record {
	w.t.Helper()
	found, err := w.svc.Get(w.t.Context(), w.coach, w.squad, kind, id)
	must(w.t, err)
	return found
}

// Saving a form that nobody touched changes nothing, whatever the kind.
func TestSavingUntouchedChangesNothing(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	bare := create(w, &record.Pattern{Name: "Hearsay 40", LengthFt: 40.5, Note: "heard of"})
	for name, c := range map[string]struct {
		kind record.Kind
		id   uuid.UUID
	}{
		"athlete": {record.KindAthlete, w.people[1].ID}, "ball": {record.KindBall, w.balls[0].ID}, "assignment": {record.KindAssignment, w.assignmentOf(w.people[0].ID)}, "drill": {record.KindDrill, w.drill.ID},
		"pattern": {record.KindPattern, w.pattern.ID}, "pattern without loads": {record.KindPattern, bare.ID}, "session": {record.KindSession, w.session.ID},
	} {
		t.Run(name, func(t *testing.T) {
			before := w.stored(c.kind, c.id)
			edit := w.at("/", string(c.kind), "s/", c.id.String(), "/edit")
			v.post(edit, v.get(edit).sends(t, "/edit")...).location(t)
			if after := w.stored(c.kind, c.id); after.Revision() != before.Revision() {
				t.Errorf(
					"it stood at %d and stands at %d now: %+v, then %+v",
					before.Revision(),
					after.Revision(),
					before,
					after,
				)
			}
		})
	}
}

func TestChangeRecords(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	change := func(t *testing.T, where string, fields ...string) reply {
		t.Helper()
		edit := w.at(where, "/edit")
		return v.post(edit, v.get(edit).sends(t, "/edit", fields...)...)
	}
	t.Run("athlete", func(t *testing.T) {
		where := "/athletes/" + w.people[0].ID.String()
		if to := change(
			t,
			where,
			"name",
			"Ansel Quorrie-Vane",
			"slide_offset",
			"5.5",
			"speed_mph",
			"",
		).location(t); to != w.at(
			where,
		) {
			t.Errorf("saving leads to %q", to)
		}
		got := w.stored(record.KindAthlete, w.people[0].ID).(*record.Athlete)
		if got.Name != "Ansel Quorrie-Vane" || got.SlideOffset == nil || *got.SlideOffset != 5.5 ||
			got.SpeedMPH != nil ||
			*got.RevRateRPM != 330 {
			t.Errorf("stored is %+v", got)
		}
		v.get(w.at(where)).
			wants(t, http.StatusOK, "Ansel Quorrie-Vane", "5.5 boards", "Invented Ember", "2.48 in", "Practice 1")
		change(
			t,
			where,
			"speed_mph",
			"99",
		).wants(t, http.StatusBadRequest, "Typical speed in mph", "Fix one thing")
	})
	t.Run("ball", func(t *testing.T) {
		change(t, "/balls/"+w.balls[1].ID.String(), "retired", "yes", "surface_grit", "500").location(t)
		got := w.stored(record.KindBall, w.balls[1].ID).(*record.Ball)
		if !got.Retired || *got.SurfaceGrit != 500 || *got.RGIn != 2.62 {
			t.Errorf("stored is %+v", got)
		}
		if strings.Contains(v.get(w.at("/plan")).body, "Invented Pebble") {
			t.Error("a ball that is no longer in use is offered")
		}
	})
	t.Run("drill", func(t *testing.T) {
		where := "/drills/" + w.drill.ID.String()
		change(
			t,
			where,
			"sentences",
			"keep it at board 12 or inside\r\nkeep the speed at 16 mph or more",
			"pass_share",
			"70",
		).location(t)
		v.get(w.at(where)).
			wants(t, http.StatusOK, "Keep the ball at board 12 or inside at the breakpoint", "Keep the speed at 16 mph or more", "pass mark 70 %")
		change(t, where, "pass_share", "55").location(t) // 100 times 0.55 is not 55
		if body := v.get(w.at(where + "/edit")).body; !strings.Contains(body, `value="55"`) {
			t.Errorf("the pass mark is not 55 in %s", between(body, `name="pass_share"`, ">"))
		}
		change(t, where, "sentences", "be good").wants(t, http.StatusBadRequest, "What should every shot do?")
	})
	t.Run("pattern", func(t *testing.T) {
		where := "/patterns/" + w.pattern.ID.String()
		change(t, where, "load-1-ul_per_board", "50", "note", "Heavier").location(t)
		got := w.stored(record.KindPattern, w.pattern.ID).(*record.Pattern)
		if len(got.Loads) != 3 || got.Loads[0].ULPerBoard != 50 || got.Loads[2] != w.pattern.Loads[2] ||
			got.Note != "Heavier" ||
			got.LengthFt != 44 {
			t.Errorf("stored is %+v", got)
		}
		change(t, where, "load-2-to_board", "44").wants(t, http.StatusBadRequest, "there is no board 44")
	})
	t.Run("assignment", func(t *testing.T) {
		id := w.assignmentOf(w.people[1].ID)
		change(t, "/assignments/"+id.String(), "assigned_on", "2026-03-04", "due_on", "2026-04-01").location(t)
		got := w.stored(record.KindAssignment, id).(*record.Assignment)
		if got.AssignedOn.String() != "2026-03-04" || got.DueOn == nil || got.DueOn.String() != "2026-04-01" {
			t.Errorf("stored is %+v", got)
		}
		change(t, "/assignments/"+id.String(), "due_on", "2026-03-01").wants(t, http.StatusBadRequest, "Due")
	})
	t.Run("session", func(t *testing.T) {
		change(t, "/sessions/"+w.session.ID.String(), "lanes", "3 4", "date", "2026-03-04").location(t)
		got := w.stored(record.KindSession, w.session.ID).(*record.Session)
		if got.Lanes[0] != 3 || got.Date.String() != "2026-03-04" || *got.AthleteID != w.people[0].ID {
			t.Errorf("stored is %+v", got)
		}
	})
}

// Who saves a form that was opened before somebody else saved is told what is stored now, and
// decides.
func TestStaleFormsAreExplained(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	edit := w.at("/athletes/", w.people[0].ID.String(), "/edit")
	mine := v.get(edit)
	v.post(edit, v.get(edit).sends(t, "/edit", "speed_mph", "18.25", "side", "left")...).location(t)
	late := v.post(edit, mine.sends(t, "/edit", "rev_rate_rpm", "410")...)
	late.wants(
		t,
		http.StatusPreconditionFailed,
		"Someone changed this after you opened it",
		"Typical speed in mph",
		"is now stored as “18.25”",
		"is now stored as “the left hand”",
		"is now stored as “330”",
	)
	if got := w.stored(record.KindAthlete, w.people[0].ID).(*record.Athlete); *got.RevRateRPM != 330 {
		t.Error("a stale form was stored")
	}
	v.post(edit, late.sends(t, "/edit", "speed_mph", "18.25")...).location(t)
	got := w.stored(record.KindAthlete, w.people[0].ID).(*record.Athlete)
	if *got.RevRateRPM != 410 || *got.SpeedMPH != 18.25 || got.Side != "right" {
		t.Errorf("after choosing, stored is %+v", got)
	}
	v.post(edit, append(mine.sends(t, "/edit"), "version", "1")...).wants(t, http.StatusPreconditionFailed)
	v.post(edit, "name", "x", "side", "right").wants(t, http.StatusBadRequest, "does not say which version it changes")
}

func TestDeleteRecords(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	gone := func(where string) reply { return v.get(w.at(where)) }
	ball := "/balls/" + w.balls[0].ID.String()
	stale := v.get(w.at(ball, "/edit"))
	v.post(w.at(ball, "/edit"), stale.sends(t, "/edit", "surface_grit", "3000")...).location(t)
	late := v.post(w.at(ball, "/delete"), stale.sends(t, "/delete")...)
	late.wants(t, http.StatusPreconditionFailed, "It has changed since: look at it again before you delete it")
	if to := v.post(w.at(ball, "/delete"), late.sends(t, "/delete")...).
		location(t); to != w.at(
		"/athletes/",
		w.people[0].ID.String(),
	) {
		t.Errorf("deleting a ball leads to %q", to)
	}
	gone(ball+"/edit").wants(t, http.StatusNotFound)
	pattern := "/patterns/" + w.pattern.ID.String()
	v.post(w.at(pattern, "/delete"), v.get(w.at(pattern, "/edit")).sends(t, "/delete")...).
		wants(t, http.StatusConflict, "still refer to it: delete those first")
	taken := w.at("/assignments/", w.assignmentOf(w.people[2].ID).String())
	v.post(taken+"/delete", v.get(taken+"/edit").sends(t, "/delete")...).location(t)
	v.get(w.at("/drills/", w.drill.ID.String())).wants(t, http.StatusOK, "Assign to another athlete", "Caspian Dree")
	session := "/sessions/" + w.session.ID.String()
	if to := v.post(w.at(session, "/delete"), v.get(w.at(session, "/edit")).sends(t, "/delete")...).
		location(t); to != w.at() {
		t.Errorf("deleting a session leads to %q", to)
	}
	gone(session).wants(t, http.StatusNotFound)
	flat := "/patterns/" + w.flat.ID.String()
	v.post(w.at(flat, "/delete"), v.get(w.at(flat, "/edit")).sends(t, "/delete")...).location(t)
	gone(flat).wants(t, http.StatusNotFound)
}

// assignmentOf is what gives the drill to an athlete.
func (w *world) assignmentOf(athlete uuid.UUID) uuid.UUID {
	w.t.Helper()
	list, err := w.svc.List(w.t.Context(), w.coach, w.squad, record.KindAssignment, 0, 1000)
	must(w.t, err)
	for _, one := range list.Records {
		if a := one.(*record.Assignment); a.AthleteID == athlete && a.DrillID == w.drill.ID {
			return a.ID
		}
	}
	w.t.Fatalf("the athlete %s does not have the drill", athlete)
	return uuid.Nil
}

func TestMembers(t *testing.T) {
	w := newWorld(t)
	w.member("ansel@example.org", record.RoleAthlete, &w.people[0].ID)
	v := w.signedIn(coachEmail)
	people := v.get(w.at("/people"))
	people.wants(t, http.StatusOK, "Members", "Member ansel@example.org", "athlete: Ansel Quorrie")
	var member, me string
	list, err := w.svc.List(t.Context(), w.coach, w.squad, record.KindMember, 0, 100)
	must(t, err)
	for _, one := range list.Records {
		if one.(*record.Member).Role == record.RoleCoach {
			me = "/members/" + one.Key().String()
		} else {
			member = "/members/" + one.Key().String()
		}
	}
	other := w.signedIn("ansel@example.org")
	other.get(w.at(member, "/edit")).wants(t, http.StatusForbidden, "Only coaches")
	v.post(w.at(member, "/edit"), v.get(w.at(member, "/edit")).sends(t, "/edit", "whom", "analyst")...).location(t)
	other.get(w.at()).wants(t, http.StatusOK, "You are an analyst of this squad", "Bettany Voss-Lark")
	v.post(w.at(me, "/edit"), v.get(w.at(me, "/edit")).sends(t, "/edit", "whom", "analyst")...).
		wants(t, http.StatusConflict, "A squad needs a coach: make someone else one first")
	if to := v.post(w.at(member, "/delete"), v.get(w.at(member, "/edit")).sends(t, "/delete")...).
		location(t); to != w.at(
		"/people",
	) {
		t.Errorf("taking a member out leads to %q", to)
	}
	other.get(w.at()).wants(t, http.StatusNotFound)
}

func TestAddABall(t *testing.T) {
	w := newWorld(t)
	w.member("bettany@example.org", record.RoleAthlete, &w.people[1].ID)
	w.member("analyst@example.org", record.RoleAnalyst, nil)
	own, other := w.at("/athletes/", w.people[1].ID.String()), w.at("/athletes/", w.people[0].ID.String())
	v := w.signedIn("bettany@example.org")
	page := v.get(own)
	page.wants(t, http.StatusOK, "Bettany Voss-Lark", "None yet; lines are planned for a typical ball", "Add a ball")
	fields := page.sends(t, "/balls", "name", "Invented Thorn", "rg_in", "2.5", "cover", "pearl")
	v.post(own+"/balls", fields...).location(t)
	v.post(own+"/balls", fields...).location(t) // sent twice
	after := v.get(own)
	after.wants(t, http.StatusOK, "Invented Thorn", "15 lb", "2.5 in", "pearl")
	if n := strings.Count(after.body, "<strong>Invented Thorn"); n != 1 {
		t.Errorf("the ball is there %s times", strconv.Itoa(n))
	}
	v.post(own+"/balls", page.sends(t, "/balls", "name", "Heavy", "weight_lb", "17")...).
		wants(t, http.StatusBadRequest, "17 lb is not legal")
	v.get(other).wants(t, http.StatusNotFound)
	v.post(other+"/balls", "name", "x", "weight_lb", "15").wants(t, http.StatusNotFound)
	w.signedIn("analyst@example.org").post(own+"/balls", "name", "x", "weight_lb", "15").wants(t, http.StatusForbidden)
}

// A minor's own account neither sees the guardian's consent in a form nor gives it; it edits the
// rest, and leaves that as it is.
func TestMinorDoesNotConsent(t *testing.T) {
	w := newWorld(t)
	minor := w.people[0]
	w.member("ansel@example.org", record.RoleAthlete, &minor.ID)
	edit := w.at("/athletes/", minor.ID.String(), "/edit")
	coach, own := w.signedIn(coachEmail), w.signedIn("ansel@example.org")
	coach.post(edit, coach.get(edit).sends(t, "/edit", "guardian_name", "Oda Quorrie", "guardian_consent", "2026-01-02")...).location(t)
	form := own.get(edit)
	if strings.Contains(form.body, "guardian") {
		t.Error("the minor's form asks for the guardian")
	}
	own.post(edit, form.sends(t, "/edit", "note", "learns fast")...).location(t)
	// A form that is made up is not asked, either.
	made := append(own.get(edit).sends(t, "/edit", "note", "fast"), "guardian_name", "Ansel", "guardian_consent", "2026-03-01")
	own.post(edit, made...).location(t)
	is := w.stored(record.KindAthlete, minor.ID).(*record.Athlete)
	if is.Note != "fast" || is.GuardianName == nil || *is.GuardianName != "Oda Quorrie" || is.GuardianConsent.String() != "2026-01-02" {
		t.Errorf("stored: %+v", is)
	}
}

// What is known of a person, a minor's guardian among it, is typed and shown; an athlete's data is
// exported whole, and erased for good.
func TestAthletesData(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	minor := w.people[0]
	where := w.at("/athletes/", minor.ID.String())
	edit := v.get(where+"/edit").
		sends(t, "/edit", "born_on", "2012-05-06", "guardian_name", "Oda Quorrie", "guardian_consent", "2026-01-02", "note", "learns fast")
	v.post(where+"/edit", edit...).location(t)
	v.get(where).wants(t, http.StatusOK, "6 May 2012", "Oda Quorrie", "2 Jan 2026", "learns fast")
	before := w.stored(record.KindAthlete, minor.ID)
	v.post(where+"/edit", v.get(where+"/edit").sends(t, "/edit")...).location(t)
	if after := w.stored(record.KindAthlete, minor.ID); after.Revision() != before.Revision() {
		t.Errorf("saved untouched it says %+v instead of %+v", after, before)
	}

	export := v.get(where + "/data.zip")
	archive, err := zip.NewReader(strings.NewReader(export.body), int64(len(export.body)))
	if err != nil || export.status != http.StatusOK ||
		!strings.Contains(export.header.Get("Content-Disposition"), "attachment") {
		t.Fatalf("the export answers %d, %v: %v", export.status, export.header, err)
	}
	if opened, err := archive.Open("athlete.json"); err != nil {
		t.Error(err)
	} else if text, err := io.ReadAll(opened); err != nil || !strings.Contains(string(text), "Oda Quorrie") {
		t.Errorf("%v: %s", err, text)
	}

	v.post(where+"/erase", "confirm", "Ansel").wants(t, http.StatusBadRequest, "confirm with the athlete's name")
	v.post(where+"/erase", "confirm", "").wants(t, http.StatusBadRequest, "Fix one thing")
	if w.stored(record.KindAthlete, minor.ID).(*record.Athlete).Name != minor.Name {
		t.Fatal("the athlete is not what they were")
	}
	if to := v.post(where+"/erase", v.get(where).sends(t, "/erase", "confirm", minor.Name)...).
		location(t); to != w.at(
		"/people",
	) {
		t.Errorf("erasing leads to %s", to)
	}
	v.get(where).wants(t, http.StatusNotFound)
	if page := v.get(w.at("/people")); strings.Contains(page.body, minor.Name) {
		t.Error("the erased athlete is still among the people")
	}
}
