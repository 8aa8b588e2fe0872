package client

import (
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"laneward/openapi"
)

// The first outputs of SplitMix64 for the seed 0, as published with it in many places (from
// memory).
func TestMix(t *testing.T) {
	t.Parallel()
	const gamma = 0x9e3779b97f4a7c15
	for k, want := range []uint64{0xe220a8397b1dcdaf, 0x6e789e6aa1b965f4, 0x06c45d188009454f} {
		if got := mix(uint64(k) * gamma); got != want {
			t.Errorf("output %d is %#x, want %#x", k+1, got, want)
		}
	}
}

// The example of the contract.
func TestDigestExample(t *testing.T) {
	t.Parallel()
	var d Digest
	d.Add(uuid.MustParse("01890a5d-ac96-774b-bcce-b302099a8057"), 7)
	if want := fmt.Sprintf(
		"the sum %d.",
		d.Sum,
	); !strings.Contains(
		strings.Join(strings.Fields(string(openapi.Contract)), " "),
		"01890a5d-ac96-774b-bcce-b302099a8057 at revision 7 has "+want,
	) {
		t.Errorf("the contract's example has not %s", want)
	}
}

func TestDigestTellsVersionsApart(t *testing.T) {
	t.Parallel()
	a, b := uuid.MustParse(
		"01890a5d-ac96-774b-bcce-b302099a8057",
	), uuid.MustParse(
		"01890a5d-ac96-774b-bcce-b302099a8058",
	)
	sum := func(revA, revB int64) (d Digest) {
		d.Add(a, revA)
		d.Add(b, revB)
		return d
	}
	if sum(1, 2) == sum(2, 1) {
		t.Error("two records that trade their revisions have the same digest")
	}
	var backwards Digest
	backwards.Add(b, 2)
	backwards.Add(a, 1)
	if sum(1, 2) != backwards {
		t.Error("the order makes a difference")
	}
	text, err := sum(1, 2).MarshalJSON()
	var again Digest
	if err != nil || again.UnmarshalJSON(text) != nil || again != sum(1, 2) {
		t.Errorf("%s reads back as %v, %v", text, again, err)
	}
}

func TestSend(t *testing.T) {
	t.Parallel()
	changes := []Change{
		{Kind: Session, ID: uuid.MustParse(someSquad), Record: []byte(`{"name":"Practice"}`)},
		{Kind: Shot, ID: uuid.MustParse(someSquad), Version: "4.head", Deleted: true},
	}
	const sent = `{"kind":"session","id":"01890a5d-ac96-774b-bcce-b302099a8000","record":{"name":"Practice"}}
{"kind":"shot","id":"01890a5d-ac96-774b-bcce-b302099a8000","version":"4.head","deleted":true}
`
	for name, one := range map[string]struct {
		answer string
		want   string
	}{
		"whole":            {`{"index":0,"outcome":"stored","rev":5}` + "\n" + `{"index":1,"outcome":"conflict","rev":6,"record":{"order":1}}` + "\n" + `{"rev":6}` + "\n", "stored 5, conflict 6"},
		"no last line":     {`{"index":0,"outcome":"stored","rev":5}` + "\n" + `{"index":1,"outcome":"stored","rev":6}` + "\n", "not-ours"},
		"one is missing":   {`{"index":0,"outcome":"stored","rev":5}` + "\n" + `{"rev":6}` + "\n", "not-ours"},
		"in another order": {`{"index":1,"outcome":"stored","rev":5}` + "\n" + `{"index":0,"outcome":"stored","rev":6}` + "\n" + `{"rev":6}` + "\n", "not-ours"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tries := 0
			c, _ := newClient(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				if tries++; tries == 1 {
					cut(w) // the first answer is lost
				}
				if r.Header.Get("Content-Type") != string(NDJSON) { // of a server from before there were tables
					answer(w, http.StatusUnsupportedMediaType, "application/problem+json", problem("media-type", http.StatusUnsupportedMediaType))
					return
				}
				unpacked, err := gzip.NewReader(r.Body)
				if err != nil {
					t.Error(err)
					return
				}
				body, err := io.ReadAll(unpacked)
				if diff := cmp.Diff(sent, string(body)); diff != "" || err != nil {
					t.Error(err, diff)
				}
				answer(w, http.StatusOK, string(NDJSON), one.answer)
			}), signedIn())
			sent, err := c.Send(t.Context(), uuid.MustParse(someSquad), "", changes)
			outcomes := sent.Outcomes
			var got []string
			for _, o := range outcomes {
				got = append(got, fmt.Sprint(o.Outcome, " ", o.Rev))
			}
			text := strings.Join(got, ", ")
			if err != nil {
				text = string(CodeOf(err))
			}
			if text != one.want || tries != 3 {
				t.Errorf("%s, %v after %d tries; want %s", text, err, tries, one.want)
			}
			if _, err := c.Send(t.Context(), uuid.MustParse(someSquad), "", changes); tries != 4 {
				t.Errorf("%d tries, %v; want that tables are not tried again", tries, err)
			}
		})
	}
}

func TestPagesAreChecked(t *testing.T) {
	t.Parallel()
	const item = `{"kind":"shot","id":"01890a5d-ac96-774b-bcce-b302099a8057","rev":7,"record":{"order":1}}`
	var right Digest
	right.Add(uuid.MustParse("01890a5d-ac96-774b-bcce-b302099a8057"), 7)
	good, err := right.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	for name, one := range map[string]struct{ page, want string }{
		"right":              {`{"items":[` + item + `],"cursor":"c","rev":7,"digest":` + string(good) + `}`, ""},
		"an item is missing": {`{"items":[],"cursor":"c","rev":7,"digest":` + string(good) + `}`, "not-ours"},
		"another revision":   {`{"items":[` + strings.Replace(item, "7,", "8,", 1) + `],"cursor":"c","rev":7,"digest":` + string(good) + `}`, "not-ours"},
		"gone is no part":    {`{"items":[` + item + `,{"kind":"shot","id":"01890a5d-ac96-774b-bcce-b302099a8058","rev":7,"deleted":true}],"cursor":"c","rev":7,"digest":` + string(good) + `}`, ""},
		"leading nowhere":    {`{"items":[],"rev":7,"digest":{"count":0,"sum":"0"}}`, "not-ours, of a snapshot"},
		"a sum of no digits": {`{"items":[],"cursor":"c","rev":7,"digest":{"count":0,"sum":"x"}}`, "unreadable"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c, _ := newClient(
				t,
				http.HandlerFunc(
					func(w http.ResponseWriter, _ *http.Request) { answer(w, http.StatusOK, "application/json", one.page) },
				),
				signedIn(),
			)
			wantFeed, ofSnapshot := strings.CutSuffix(one.want, ", of a snapshot")
			check := func(what string, err error, want string) {
				t.Helper()
				if want == "unreadable" {
					if err == nil || CodeOf(err) != "" {
						t.Errorf("%s: %v", what, err)
					}
				} else if string(CodeOf(err)) != want || (err == nil) != (want == "") {
					t.Errorf("%s: %v, want %q", what, err, want)
				}
			}
			if !ofSnapshot {
				_, err := c.Feed(t.Context(), uuid.MustParse(someSquad), "c0", "")
				check("feed", err, wantFeed)
			}
			_, err := c.Snapshot(t.Context(), uuid.MustParse(someSquad), SnapshotQuery{Page: "p0"})
			check("snapshot", err, wantFeed)
		})
	}
}
