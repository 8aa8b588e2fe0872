package client

import (
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
)

func record(t testing.TB, kind Kind, id byte, text string) Record {
	t.Helper()
	full := uuid.MustParse(someSquad)
	full[15] = id
	made, err := recordOf(kind, json.RawMessage(fmt.Sprintf(`{"id":%q,"rev":7,%s}`, full, text)), "head")
	if err != nil {
		t.Fatal(err)
	}
	return made
}

func TestPick(t *testing.T) {
	t.Parallel()
	athletes := []Record{
		record(
			t,
			Athlete,
			1,
			`"name":"Rhea"`,
		),
		record(t, Athlete, 2, `"name":"Max  Power"`),
		record(t, Athlete, 3, `"name":"max power"`),
		record(t, Athlete, 4, `"name":"Zoë"`),
	}
	sessions := []Record{
		record(
			t,
			Session,
			1,
			`"name":"Practice","date":"2026-11-20"`,
		),
		record(t, Session, 2, `"name":"Practice","date":"2026-11-21"`),
		record(t, Session, 3, `"name":"Block","date":"2026-11-21"`),
	}
	cases := map[string]struct {
		all  []Record
		kind Kind
		text string
		want byte // the id's last byte, 0 for none
		code Code
	}{
		"by name": {athletes, Athlete, "Rhea", 1, ""},
		"by the first name": {
			[]Record{record(t, Athlete, 1, `"name":"Rhea Long"`), record(t, Athlete, 2, `"name":"Rheanne"`)},
			Athlete,
			"rhea",
			1,
			"",
		},
		"a first name two have": {athletes, Athlete, "max", 0, Ambiguous},
		"a whole name before a first name": {
			[]Record{record(t, Athlete, 1, `"name":"Rhea Long"`), record(t, Athlete, 2, `"name":"rhea"`)},
			Athlete,
			"Rhea",
			2,
			"",
		},
		"nothing is nobody's first name":    {athletes, Athlete, "", 0, NotFound},
		"in small letters":                  {athletes, Athlete, "rhea", 1, ""},
		"beyond ASCII":                      {athletes, Athlete, "ZOË", 4, ""},
		"blanks are one":                    {athletes, Athlete, " Max Power ", 2, ""},
		"letters decide between two":        {athletes, Athlete, "max power", 3, ""},
		"two, and nothing decides":          {athletes, Athlete, "MAX POWER", 0, Ambiguous},
		"the beginning of a name":           {athletes, Athlete, "Rhe", 1, ""},
		"a beginning two names have":        {athletes, Athlete, "ma", 0, Ambiguous},
		"the end of a name":                 {athletes, Athlete, "hea", 0, NotFound},
		"a session by its day":              {sessions, Session, "2026-11-20", 1, ""},
		"a session by name and day":         {sessions, Session, "practice 2026-11-21", 2, ""},
		"a session by day and name":         {sessions, Session, "2026-11-21 Block", 3, ""},
		"a name two sessions have":          {sessions, Session, "Practice", 0, Ambiguous},
		"a day two sessions have":           {sessions, Session, "2026-11-21", 0, Ambiguous},
		"an assignment has no name":         {nil, Assignment, "Play inside", 0, NotFound},
		"of none":                           {nil, Athlete, "Rhea", 0, NotFound},
		"an athlete without a date, by one": {athletes, Athlete, "2026-11-20", 0, NotFound},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := Pick(c.all, c.kind, c.text)
			if CodeOf(err) != c.code || got.ID[15] != c.want {
				t.Errorf("got %s, %v", got.ID, err)
			}
		})
	}
}

func TestWhatPickSays(t *testing.T) {
	t.Parallel()
	many := make([]Record, 15)
	for i := range many {
		many[i] = record(t, Athlete, byte(i), fmt.Sprintf(`"name":"A%02d"`, i))
	}
	cases := map[string]struct {
		all  []Record
		want string
	}{
		"none": {nil, `there is no athlete "Reah": there are none yet`},
		"one":  {many[:1], `there is no athlete "Reah"; there is only A00`},
		"two":  {many[:2], `there is no athlete "Reah": there are A00 and A01`},
		"many": {
			many,
			`there is no athlete "Reah": there are A00, A01, A02, A03, A04, A05, A06, A07, A08, A09, A10, A11 and 3 more`,
		},
		"ambiguous": {
			[]Record{record(t, Athlete, 1, `"name":"Reah"`), record(t, Athlete, 2, `"name":"Reah"`)},
			"2 athletes match \"Reah\": use an id\n  01890a5d-ac96-774b-bcce-b302099a8001  Reah\n  01890a5d-ac96-774b-bcce-b302099a8002  Reah",
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := Pick(c.all, Athlete, "Reah")
			if err == nil || err.Error() != c.want {
				t.Errorf("says %q\nwant %q", err, c.want)
			}
		})
	}
}

func TestRecordsGoThroughAllPages(t *testing.T) {
	t.Parallel()
	pages := map[string]string{
		"":   `{"items":[{"id":"01890a5d-ac96-774b-bcce-b302099a8001","rev":1,"name":"A"},{"id":"01890a5d-ac96-774b-bcce-b302099a8002","rev":2,"name":"B"}],"next":"p2"}`,
		"p2": `{"items":[],"next":"p3"}`,
		"p3": `{"items":[{"id":"01890a5d-ac96-774b-bcce-b302099a8003","rev":9,"name":"C"}]}`,
	}
	c, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if got := r.URL.Query().Get("limit"); got != "1000" {
			t.Errorf("asks for %s a page", got)
		}
		answer(w, 200, "application/json", pages[r.URL.Query().Get("cursor")])
	}), signedIn())
	all, err := c.All(t.Context(), uuid.MustParse(someSquad), Athlete)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range all {
		got = append(got, fmt.Sprintf("%s %d", nameOf(r).Name, r.Rev))
	}
	if diff := cmp.Diff([]string{"A 1", "B 2", "C 9"}, got); diff != "" {
		t.Error(diff)
	}
}

// Creating again after a lost answer sends the same id, so that the server can tell.
func TestCreateKeepsItsID(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	var ids []string
	c, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var body struct{ ID, Name string }
		if err := json.NewDecoder(r.Body).Decode(&body); err != nil || body.Name != "Rhea" {
			t.Errorf("body %v, %v", body, err)
		}
		mu.Lock()
		defer mu.Unlock()
		if ids = append(ids, body.ID); len(ids) < 3 {
			cut(w)
		}
		answer(w, 200, "application/json", fmt.Sprintf(`{"id":%q,"rev":3,"name":"Rhea"}`, body.ID))
	}), signedIn())
	made, err := c.Create(t.Context(), uuid.MustParse(someSquad), Athlete, map[string]string{"name": "Rhea"})
	if err != nil {
		t.Fatal(err)
	}
	mu.Lock()
	defer mu.Unlock()
	if len(ids) != 3 || ids[0] != ids[1] || ids[1] != ids[2] || made.ID.String() != ids[0] || made.ID.Version() != 7 {
		t.Errorf("sent %v, got %s; want one UUIDv7 three times", ids, made.ID)
	}
}

// The contract has every kind's operations where [address] says.
func TestEveryKindIsWhereTheContractHasIt(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../laneward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	squad, id := uuid.New(), uuid.New()
	for _, kind := range append(Kinds, Shot) {
		all, one := address(squad, kind), address(squad, kind, id)
		names := strings.NewReplacer(squad.String(), "{squad_id}", id.String(), "{"+string(kind)+"_id}")
		places := map[string][]string{names.Replace(all): {"get", "post"}, names.Replace(one): {"get", "put", "delete"}}
		if kind == Shot { // listed and stored as those of a session
			delete(places, names.Replace(all))
		}
		for place, methods := range places {
			_, operations, found := strings.Cut(string(text), "\n  "+place+":\n")
			operations, _, _ = strings.Cut(operations, "\n  /")
			for _, method := range methods {
				if !found || !strings.Contains(operations, "\n    "+method+":\n") {
					t.Errorf("the contract has no %s %s", method, place)
				}
			}
		}
	}
}

func TestChangesSayWhatTheyAreBasedOn(t *testing.T) {
	t.Parallel()
	c, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if got := r.Header.Get("If-Match"); got != `"7.head"` {
			t.Errorf("%s has If-Match %s", r.Method, got)
		}
		if r.Method == http.MethodDelete {
			w.WriteHeader(http.StatusNoContent)
			return
		}
		w.Header().Set("ETag", `"8.newer"`)
		answer(w, 200, "application/json", `{"id":"01890a5d-ac96-774b-bcce-b302099a8001","rev":8,"name":"B"}`)
	}), signedIn())
	for _, kind := range append(Kinds, Shot) {
		old := record(t, kind, 1, `"name":"A"`)
		changed, err := c.Replace(t.Context(), uuid.MustParse(someSquad), old, map[string]string{"name": "B"})
		if err != nil || changed.Rev != 8 || changed.Version != "8.newer" {
			t.Errorf("%s: %v as %q, %v", kind, changed.Rev, changed.Version, err)
		}
		if err := c.Delete(t.Context(), uuid.MustParse(someSquad), old); err != nil {
			t.Errorf("%s: %v", kind, err)
		}
	}
}

func TestUpload(t *testing.T) {
	t.Parallel()
	text := "order,time\n" + strings.Repeat("1,2026-11-20T10:00:00Z\n", 20000)
	session := uuid.MustParse("01890a5d-ac96-774b-bcce-b302099a8099")
	athlete := uuid.MustParse("01890a5d-ac96-774b-bcce-b302099a8001")
	var asked atomic.Int32
	c, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if asked.Add(1) == 1 {
			cut(w)
		}
		unpacked, err := gzip.NewReader(r.Body)
		if err != nil || r.Header.Get("Content-Encoding") != "gzip" || r.Header.Get("Content-Type") != "text/csv" {
			t.Errorf("sent as %q %q, %v", r.Header.Get("Content-Encoding"), r.Header.Get("Content-Type"), err)
			return
		}
		if got, err := io.ReadAll(unpacked); err != nil || string(got) != text {
			t.Errorf("%d bytes came, %v; want %d", len(got), err, len(text))
		}
		if r.URL.Query().Get("athlete_id") != athlete.String() || r.URL.Query().Has("drill_id") ||
			!strings.Contains(r.URL.Path, session.String()) {
			t.Errorf("sent to %s", r.URL)
		}
		answer(
			w,
			200,
			"application/json",
			`{"rev":9,"counts":{"stored":1,"same":0,"conflict":0,"refused":0},"outcomes":[]}`,
		)
	}), signedIn())
	var sent []int
	size := 0
	result, err := c.Upload(
		t.Context(),
		uuid.MustParse(someSquad),
		Log{Session: session, Athlete: &athlete, Format: CSV, Text: []byte(text)},
		func(n, total int) {
			sent, size = append(sent, n), total
		},
	)
	if err != nil || result.Value.Rev != 9 || asked.Load() != 2 {
		t.Fatalf("got %v, %v after %d attempts", result.Value, err, asked.Load())
	}
	if len(sent) == 0 || sent[len(sent)-1] != size || size >= len(text)/10 {
		t.Errorf("progress ends with %v of %d", sent[max(0, len(sent)-3):], size)
	}
}
