package problem_test

import (
	"cmp"
	"net/http"
	"slices"
	"testing"

	"laneward/api/problem"
	"laneward/service"
)

func TestKinds(t *testing.T) {
	kinds := problem.Kinds()
	if !slices.IsSortedFunc(kinds, func(a, b problem.Kind) int { return cmp.Compare(a.Status, b.Status) }) {
		t.Error("the kinds are not in the order of their status")
	}
	codes, titles := map[service.Code]bool{}, map[string]bool{}
	for _, kind := range kinds {
		if codes[kind.Code] || titles[kind.Title] {
			t.Errorf("%q or its title %q stands twice", kind.Code, kind.Title)
		}
		codes[kind.Code], titles[kind.Title] = true, true
		if kind.Meaning == "" || len(kind.Fix) == 0 || http.StatusText(kind.Status) == "" {
			t.Errorf("%q lacks its meaning, its fix or a status", kind.Code)
		}
	}
}

func TestOf(t *testing.T) {
	for _, c := range []struct {
		code   service.Code
		status int
		title  string
	}{
		{service.Invalid, 400, "Invalid request"},
		{service.NotFound, 404, "Not found"},
		{problem.Method, 405, "Method not allowed"},
		{service.Conflict, 409, "Conflict"},
		{service.NeedsRevision, 428, "Precondition required"},
		{service.TooMany, 429, "Too many requests"},
		{"not listed", 500, "Internal error"},
	} {
		if got := problem.Of(c.code); got.Status != c.status || got.Title != c.title {
			t.Errorf("Of(%q) = %d %q, want %d %q", c.code, got.Status, got.Title, c.status, c.title)
		}
	}
}
