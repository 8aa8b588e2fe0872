package client

import (
	"errors"
	"io"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"laneward/openapi"
)

const (
	planResult = `{"result":{"subject":{"assumptions":[]},"lines":[],"out_of_bounds_board":3.5}}`
	progress1  = `{"progress":{"stage":"score","done":16,"total":71}}`
	progress2  = `{"progress":{"stage":"first lines","done":1,"total":1,"lines":[{"rank":1,"feet_board":20}]}}`
)

func TestPlanStream(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, body string
		heard      int
		code       Code
	}{
		{"progress and a result", progress1 + "\n" + progress2 + "\n" + planResult + "\n", 2, ""},
		{"a result alone", planResult + "\n", 0, ""},
		{"a problem after progress", progress1 + "\n" + `{"problem":` + problem("unavailable", 503) + "}\n", 1, Unavailable},
		{"no end", progress1 + "\n" + progress2 + "\n", 2, Unreachable},
		{"the middle of a line", progress1 + "\n" + planResult[:40], 1, NotOurs},
		{"nothing", "", 0, NotOurs},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			accepted := ""
			client, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				accepted = r.Header.Get("Accept")
				answer(w, http.StatusOK, "application/x-ndjson", c.body)
			}), signedIn())
			var heard []Progress
			plan, err := client.Plan(
				t.Context(),
				uuid.MustParse(someSquad),
				openapi.PlanRequest{},
				func(p Progress) { heard = append(heard, p) },
			)
			if CodeOf(err) != c.code || c.code == "" && err != nil {
				t.Fatalf("%v, want code %q", err, c.code)
			}
			if accepted != "application/x-ndjson" || len(heard) != c.heard {
				t.Errorf("Accept %q, heard %v", accepted, heard)
			}
			if c.heard == 2 &&
				(heard[0].Stage != "score" || heard[0].Done != 16 || heard[0].Total != 71 || heard[1].Lines[0].FeetBoard != 20) {
				t.Errorf("heard %+v", heard)
			}
			if c.code == "" &&
				(plan.Value.OutOfBoundsBoard != 3.5 || !strings.HasPrefix(string(plan.JSON), `{"subject"`)) {
				t.Errorf("%+v, %s", plan.Value, plan.JSON)
			}
			if c.code == Unavailable {
				var known *Error
				if !errors.As(err, &known) || known.Detail != "mend it" || known.RequestID != "r1" ||
					known.Status != http.StatusServiceUnavailable {
					t.Errorf("%+v", known)
				}
			}
		})
	}
}

// A computation writes nothing, so one that was cut is asked for again.
func TestPlanIsAskedForAgain(t *testing.T) {
	t.Parallel()
	var asked atomic.Int64
	client, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		if asked.Add(1) == 1 {
			cut(w)
		}
		answer(w, http.StatusOK, "application/x-ndjson", planResult+"\n")
	}), signedIn())
	if _, err := client.Plan(
		t.Context(),
		uuid.MustParse(someSquad),
		openapi.PlanRequest{},
		nil,
	); err != nil ||
		asked.Load() != 2 {
		t.Errorf("asked %d times, %v", asked.Load(), err)
	}
}

func TestDrawings(t *testing.T) {
	t.Parallel()
	var seen []string
	client, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		seen = append(seen, strings.TrimPrefix(r.URL.String(), "/v1/squads/"+someSquad)+" "+r.Header.Get("Accept"))
		answer(w, http.StatusOK, r.Header.Get("Accept"), "drawn")
	}), signedIn())
	for request, want := range map[any]string{
		openapi.PlanRequest{}:       "/plans?width_px=640 image/png",
		openapi.ComparisonRequest{}: "/comparisons?width_px=640 image/png",
		openapi.MissMapRequest{}:    "/miss-maps?width_px=640 image/png",
		openapi.PathsRequest{}:      "/paths?width_px=640 image/png",
	} {
		seen = nil
		drawing, err := client.Drawing(t.Context(), uuid.MustParse(someSquad), request, PNG, 640)
		if err != nil || string(drawing) != "drawn" || len(seen) != 1 || seen[0] != want {
			t.Errorf("%T: %q, %v, asked %v", request, drawing, err, seen)
		}
	}
	if _, err := client.Drawing(t.Context(), uuid.MustParse(someSquad), 7, SVG, 640); err == nil {
		t.Error("a number is drawn")
	}
}

// The drill of a line gets its id before it is sent, so that an answer that was lost does no harm.
func TestAssignLineHasAnID(t *testing.T) {
	t.Parallel()
	var bodies []string
	client, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		text, err := io.ReadAll(r.Body)
		if err != nil {
			t.Error(err)
		}
		bodies = append(bodies, string(text))
		if len(bodies) == 1 {
			cut(w)
		}
		answer(
			w,
			http.StatusOK,
			"application/json",
			`{"drill":{"name":"d","reps":1,"pass_share":1,"rules":[]},"assignment":{}}`,
		)
	}), signedIn())
	stored, err := client.AssignLine(t.Context(), uuid.MustParse(someSquad), openapi.LineDrillRequest{LaydownBoard: 24})
	if err != nil || stored.Value.Drill.Name != "d" || len(bodies) != 2 || bodies[0] != bodies[1] ||
		!strings.Contains(bodies[0], `"id":"`) {
		t.Errorf("%+v, %v, sent %q", stored.Value, err, bodies)
	}
}
