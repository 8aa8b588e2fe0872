package api_test

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"

	"laneward/service"
)

// statuses are the statuses that operations have answered with in this run.
type statuses struct {
	mu    sync.Mutex
	taken map[string]bool // "operationId status"
}

var answered = statuses{taken: make(map[string]bool)}

func (s *statuses) record(c call, status int) {
	route, _ := findRoute(c.method, c.path)
	if route == nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.taken[fmt.Sprintf("%s %d", route.Operation.OperationID, status)] = true
}

// unseen are statuses that operations name and no test can bring about, with the reason.
var unseen = map[string]string{}

// differences compares what operations name with what they have answered: neither may hold more
// than the other, but for what is in unseen.
func (s *statuses) differences() (found []string) {
	declared := make(map[string]bool)
	for id, o := range operations() {
		for status := range o.spec.Responses.Map() {
			declared[id+" "+status] = true
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, one := range slices.Sorted(maps.Keys(declared)) {
		switch reason, excused := unseen[one]; {
		case !s.taken[one] && !excused:
			found = append(found, one+": the contract names it and no test has seen it")
		case s.taken[one] && excused:
			found = append(found, one+": a test has seen it, though "+reason)
		}
	}
	for _, one := range slices.Sorted(maps.Keys(s.taken)) {
		if !declared[one] {
			found = append(found, one+": answered, and the contract does not name it")
		}
	}
	for _, one := range slices.Sorted(maps.Keys(unseen)) {
		if !declared[one] {
			found = append(found, one+": excused, and the contract does not name it")
		}
	}
	return found
}

// TestMain holds the contract's lists of statuses against what all tests together have seen: a run
// of some tests alone has not seen enough.
func TestMain(m *testing.M) {
	flag.Parse()
	code := m.Run()
	if code == 0 && wholeRun() {
		for _, difference := range answered.differences() {
			fmt.Fprintln(os.Stderr, "FAIL: statuses:", difference)
			code = 1
		}
	}
	os.Exit(code)
}

func wholeRun() bool {
	for name, whole := range map[string]string{"run": "", "skip": "", "list": "", "short": "false"} {
		if flag.Lookup("test."+name).Value.String() != whole {
			return false
		}
	}
	return true
}

// TestStatusesAreCompared holds that the comparison finds what is named and not answered, and what
// is answered and not named.
func TestStatusesAreCompared(t *testing.T) {
	t.Parallel()
	all := statuses{taken: make(map[string]bool)}
	for id, o := range operations() {
		for status := range o.spec.Responses.Map() {
			if _, excused := unseen[id+" "+status]; !excused {
				all.taken[id+" "+status] = true
			}
		}
	}
	if found := all.differences(); len(found) > 0 {
		t.Fatalf("all seen: %v", found)
	}
	delete(all.taken, "getMe 401")
	all.record(call{method: "GET", path: "/v1/me"}, 418)
	if found := all.differences(); len(found) != 2 {
		t.Errorf("one missing and one too many: %v", found)
	}
}

// TestWireSchemaIsNamed holds the contract's wire schema, which a break has to raise, against what
// the service speaks.
func TestWireSchemaIsNamed(t *testing.T) {
	t.Parallel()
	if got := document().Info.Extensions["x-wire-schema"]; got != float64(service.Schema) {
		t.Errorf("x-wire-schema is %v, the service speaks %d", got, service.Schema)
	}
}

// TestFailuresAreNamed holds what every operation's failures look like in the contract: each status
// that can fail has the problem schema, and none hides behind a default.
func TestFailuresAreNamed(t *testing.T) {
	t.Parallel()
	for id, o := range operations() {
		for status, response := range o.spec.Responses.Map() {
			code, err := strconv.Atoi(status)
			if err != nil {
				t.Errorf("%s: %q: name each status", id, status)
				continue
			}
			if code < 400 {
				continue
			}
			media := response.Value.Content["application/problem+json"]
			if media == nil || media.Schema.Ref != "#/components/schemas/Problem" || len(response.Value.Content) != 1 {
				t.Errorf("%s: %s is not a problem", id, status)
			}
		}
	}
}
