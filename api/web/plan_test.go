package web_test

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
)

// plan is where the lines of the first athlete with the first ball are, below the squad's address.
func (w *world) plan(more ...string) string {
	return "/plan?athlete=" + w.people[0].ID.String() + "&ball=" + w.balls[0].ID.String() + "&pattern=" + w.pattern.ID.String() + strings.Join(more, "")
}

// compare is where that plan is compared with another.
func (w *world) compare(against ...string) string {
	return strings.Replace(w.plan(against...), "/plan?", "/compare?", 1)
}

// planOfLine is the page of the first line of that plan, as the plan links to it.
func (w *world) planOfLine() string {
	w.t.Helper()
	page := w.signedIn(coachEmail).get(w.at(w.plan()))
	link := regexp.MustCompile(`href="/squads/[^/"]+(/plan/line\?[^"#]+)"`).FindStringSubmatch(page.body)
	if link == nil {
		w.t.Fatalf("the plan links to no line: %.2000s", page.text())
	}
	return strings.ReplaceAll(link[1], "&amp;", "&")
}

func TestPlanALine(t *testing.T) {
	w := newWorld(t)
	v := w.signedIn(coachEmail)
	v.get(w.at("/plan")).wants(t, http.StatusOK, "Plan a line", "Ansel Quorrie", "Long Meadow 44", "Ansel Quorrie: Invented Ember", "16.5 when blank")
	v.get(w.at(w.plan())).wants(t, http.StatusOK, "Ansel Quorrie on Long Meadow 44", "Invented Ember", "the best first", "Feet", "Target", "Breakpoint", "Entry",
		"of own shots reach the pocket", "it forgives", "Assign the drill that keeps to this line", "The friction is nominal", "is estimated from pairs of consecutive stored shots")
}
