package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"laneward/openapi"
	"laneward/service"
)

// atOnce is a turn that has come.
func atOnce(_ context.Context, _ uuid.UUID, do func() error) error { return do() }

// misfitOf checks a body and returns what is wrong with it.
func misfitOf(t *testing.T, c *contract, route, body string) *service.Error {
	t.Helper()
	found := c.routes[route]
	if found == nil {
		t.Fatalf("the contract has no %s", route)
	}
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "/", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set(echo.HeaderContentType, mediaJSON)
	var wrong *service.Error
	if err := checkBody(request, found, atOnce); err != nil && !errors.As(err, &wrong) {
		t.Fatal(err)
	}
	return wrong
}

// However much is wrong with a body, few faults are listed, the rest is counted, and a list that is
// too long is not looked into.
func TestFaultsAreBounded(t *testing.T) {
	c, err := loadContract(openapi.Contract)
	if err != nil {
		t.Fatal(err)
	}
	var unknown strings.Builder
	for i := range 30_000 {
		fmt.Fprintf(&unknown, `,"k%d":1`, i)
	}
	films := "[" + strings.Repeat("0,", 99) + "0]"
	for name, tc := range map[string]struct {
		route, body  string
		faults, more int
		says         string
	}{
		"a list far too long": {
			"POST /v1/oil", `{"loads":[` + strings.Repeat("{},", 31_999) + `{}]}`, 1, 0, "loads: has too many: give at most 200",
		},
		"a list that is not too long": {
			"POST /v1/oil", `{"loads":[` + strings.Repeat("{},", 99) + `{}]}`, 20, 680, "700 problems; the first: loads/0/direction: is missing",
		},
		"unknown fields": {
			"POST /v1/users", `{"email":"a@b.example"` + unknown.String() + `}`, 20, 29_983, "30003 problems",
		},
		"a long list in a list": {
			"POST /v1/squads/:squad_id/patterns", `{"name":"p","length_ft":40,"film":{"ul":[` + films + `]}}`, -1, 0, "",
		},
		"more values than any body has": {
			"POST /v1/oil", `{"loads":[` + strings.Repeat("{},", 600_000) + `{}]}`, 0, 0, "more than 100000",
		},
	} {
		t.Run(name, func(t *testing.T) {
			wrong := misfitOf(t, c, tc.route, tc.body)
			if wrong == nil {
				t.Fatal("nothing is wrong with it")
			}
			answer, err := json.Marshal(problemOf(wrong, "id"))
			if err != nil {
				t.Fatal(err)
			}
			if len(answer) > 5_000 {
				t.Errorf("the answer has %d bytes", len(answer))
			}
			if !strings.Contains(wrong.Detail, tc.says) {
				t.Errorf("%q does not say %q", wrong.Detail, tc.says)
			}
			if tc.faults >= 0 && (len(wrong.Faults) != tc.faults || wrong.More != tc.more) {
				t.Errorf("%d faults and %d more, want %d and %d", len(wrong.Faults), wrong.More, tc.faults, tc.more)
			}
		})
	}
}

// The work of a check is counted in values looked at.
func TestSizesAreCheckedFirst(t *testing.T) {
	c, err := loadContract(openapi.Contract)
	if err != nil {
		t.Fatal(err)
	}
	value, err := readJSON([]byte(`{"loads":[` + strings.Repeat("{},", 31_999) + `{}]}`))
	if err != nil {
		t.Fatal(err)
	}
	check := bodyCheck{}
	body := c.routes["POST /v1/oil"].Operation.RequestBody.Value.Content.Get(mediaJSON)
	check.visit(body.Schema.Value, value, nil)
	if check.looked > 3 {
		t.Errorf("%d values looked at, though the list is too long", check.looked)
	}
}

func TestStrictBodies(t *testing.T) {
	c, err := loadContract(openapi.Contract)
	if err != nil {
		t.Fatal(err)
	}
	const route = "POST /v1/squads/:squad_id/athletes"
	for name, tc := range map[string]struct{ body, says string }{
		"bytes after the object": {`{"name":"A","side":"right"} x`, "more follows after the object"},
		"a second object":        {`{"name":"A","side":"right"}{}`, "more follows after the object"},
		"the nil id":             {`{"id":"00000000-0000-0000-0000-000000000000","name":"A","side":"right"}`, "is the id of nothing"},
		"bytes that are no text": {"{\"name\":\"A\xff\",\"side\":\"right\"}", "is not UTF-8"},
		"half a character":       {`{"name":"A\ud83d","side":"right"}`, "half a character"},
		"a field twice":          {`{"name":"A","name":"B","side":"right"}`, "name: is given twice"},
		"another case":           {`{"Name":"A","name":"B","side":"right"}`, "Name: is not a field here"},
		"cut":                    {`{"name":"A",`, "ends in the middle"},
		"nothing":                {``, "it is empty"},
		"not an object":          {`[]`, "is not an object"},
		"null":                   {`null`, "is null: leave it out"},
		"two faults":             {`{"name":"","side":"up"}`, "2 problems; the first: name: is empty"},
	} {
		t.Run(name, func(t *testing.T) {
			wrong := misfitOf(t, c, route, tc.body)
			if wrong == nil || !strings.Contains(wrong.Detail, tc.says) {
				t.Errorf("%v, want %q", wrong, tc.says)
			}
		})
	}
	if wrong := misfitOf(t, c, route, `{"name":"A \ud83c\udfb3","side":"right"}`); wrong != nil {
		t.Errorf("a good body: %v", wrong)
	}
}

// Defaults of the contract are filled in, and numbers stay as they were written.
func TestDefaultsAreFilledIn(t *testing.T) {
	c, err := loadContract(openapi.Contract)
	if err != nil {
		t.Fatal(err)
	}
	const sent = `{"subject":{"athlete_id":"` + exampleID + `","pattern_id":"` + exampleID + `"},"grid":{"angle_to_deg":7.10}}`
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "/", strings.NewReader(sent))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set(echo.HeaderContentType, mediaJSON)
	if err := checkBody(request, c.routes["POST /v1/squads/:squad_id/miss-maps"], atOnce); err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(request.Body)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"laydown_to_board":37`, `"angle_to_deg":7.10`, `"angle_from_deg":-1`} {
		if !bytes.Contains(body, []byte(want)) {
			t.Errorf("%s lacks %s", body, want)
		}
	}
	if int(request.ContentLength) != len(body) {
		t.Errorf("the length is given as %d, it is %d", request.ContentLength, len(body))
	}
}
