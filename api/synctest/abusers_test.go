//go:build unix

package synctest

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// abuse is a client that asks for as much as it can, again and again until ctx ends. count counts
// what it was answered.
type abuse struct {
	name string
	do   func(ctx context.Context, who *abuser, count func(answer string))
}

// abuser is one of them: a person with a squad of their own.
type abuser struct {
	*person
	base
}

// TestAbusers is the abusive clients of [TestAbuse].
func TestAbusers(t *testing.T) {
	file := os.Getenv(abuseOrderVariable)
	if file == "" {
		t.Skip("is run by TestAbuse")
	}
	var order abuseOrder
	text, err := os.ReadFile(file)
	if err == nil {
		err = json.Unmarshal(text, &order)
	}
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), order.Last)
	defer cancel()
	var mu sync.Mutex
	answers := make(map[string]int)
	var working sync.WaitGroup
	for i, o := range order.Abusers {
		by := wireClient(order.Server)
		by.token = o.Token
		one := &abuser{&person{client: by, email: o.Email}, base{o.Squad, o.Athlete, o.Session, o.Drill}}
		kind := abuses[i%len(abuses)]
		working.Go(func() {
			for ctx.Err() == nil {
				kind.do(ctx, one, func(answer string) {
					mu.Lock()
					defer mu.Unlock()
					answers[kind.name+": "+answer]++
				})
			}
		})
	}
	working.Wait()
	for _, name := range slices.Sorted(maps.Keys(answers)) {
		t.Logf("%-30s %6d", name, answers[name])
	}
}

// fill stores shots with long tracks, and a drill with as many rules as there may be.
func (a *abuser) fill(t testing.TB, n int) {
	t.Helper()
	track := make([]any, trackSize)
	for i := range track {
		track[i] = fields{"ft": 0.3 * float64(i), "board": 20 - 0.05*float64(i)}
	}
	for from := 1; from < n; from += abuseShots {
		shots := a.shots(abuseShots, from)
		for _, one := range shots {
			one.Record["track"], one.Record["drill_id"] = track, a.drill
		}
		a.mustPush(t, a.squad, shots, "stored")
	}
}

var abuses = []abuse{
	{"fault floods", func(ctx context.Context, who *abuser, count func(string)) {
		who.flood(ctx, "/v1/oil", "application/json", manyLoads(), count)
		who.flood(ctx, "/v1/users", "application/json", manyFields(), count)
	}},
	{"unread exports", func(ctx context.Context, who *abuser, count func(string)) {
		who.unread(ctx, "/v1/squads/"+who.squad+"/athletes/"+who.athlete+"/export", count)
	}},
	{"judging", func(ctx context.Context, who *abuser, count func(string)) {
		who.atOnce(4, func() {
			path := "/v1/squads/" + who.squad + "/drills/" + who.drill + "/athletes/" + who.athlete + "/judgements"
			count(who.ask(ctx, http.MethodGet, path, nil))
		})
	}},
	{"largest maps", func(ctx context.Context, who *abuser, count func(string)) {
		who.atOnce(4, func() { count(who.largestMap(ctx)) })
	}},
	{"NDJSON junk", func(ctx context.Context, who *abuser, count func(string)) {
		who.flood(ctx, "/v1/squads/"+who.squad+"/push", "application/x-ndjson", junk(), count)
	}},
	{"live streams", func(ctx context.Context, who *abuser, count func(string)) {
		who.atOnce(50, func() { who.unread(ctx, "/v1/squads/"+who.squad+"/live", count) })
	}},
	{"guesses", func(ctx context.Context, who *abuser, count func(string)) {
		who.atOnce(20, func() {
			body := fmt.Sprintf(`{"email":%q,"password":"a wrong one of mine","device":"d"}`, who.email)
			count(who.ask(ctx, http.MethodPost, "/v1/tokens", []byte(body)))
		})
	}},
}

// The bodies of the floods, packed once: the machine is the server's too.
var (
	manyLoads = sync.OnceValue(func() []byte {
		return zipped([]byte(`{"loads":[` + strings.Repeat("{},", 31_999) + `{}]}`))
	})
	manyFields = sync.OnceValue(func() []byte {
		var fields strings.Builder
		for i := range 180_000 {
			fmt.Fprintf(&fields, `"k%d":1,`, i)
		}
		return zipped([]byte(`{` + fields.String() + `"x":1}`))
	})
	junk = sync.OnceValue(func() []byte { return zipped(bytes.Repeat([]byte("x\n"), 1_000_000)) })
)

func zipped(body []byte) []byte {
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write(body); err != nil {
		panic(err) // into memory it cannot fail
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
	return packed.Bytes()
}

func (a *abuser) atOnce(n int, do func()) {
	var all sync.WaitGroup
	for range n {
		all.Go(do)
	}
	all.Wait()
}

// ask sends a request, reads the answer to its end and returns its status.
func (a *abuser) ask(ctx context.Context, method, path string, body []byte, header ...string) string {
	request, err := http.NewRequestWithContext(ctx, method, a.client.base+path, bytes.NewReader(body))
	if err != nil {
		return err.Error()
	}
	request.Header.Set("Authorization", "Bearer "+a.token)
	request.Header.Set("Content-Type", "application/json")
	for i := 0; i+1 < len(header); i += 2 {
		request.Header.Set(header[i], header[i+1])
	}
	response, err := a.http.Do(request)
	if err != nil {
		return "no answer"
	}
	defer response.Body.Close()
	if _, err := io.Copy(io.Discard, response.Body); err != nil {
		return fmt.Sprintf("%d, broken off", response.StatusCode)
	}
	return fmt.Sprint(response.StatusCode)
}

// flood sends a packed body four times at once.
func (a *abuser) flood(ctx context.Context, path, media string, packed []byte, count func(string)) {
	a.atOnce(4, func() {
		count(a.ask(ctx, http.MethodPost, path, packed, "Content-Type", media, "Content-Encoding", "gzip"))
	})
}

// largestMap asks for the map that takes longest of those that are begun.
func (a *abuser) largestMap(ctx context.Context) string {
	pattern := newID()
	result, err := a.push(ctx, a.squad, []item{{Kind: "pattern", Record: fields{
		"id": pattern, "name": "Long", "length_ft": 45, "loads": []any{
			fields{
				"direction": "out", "from_board": 2, "to_board": 38, "count": 4, "ul_per_board": 50,
				"start_ft": 0, "end_ft": 45,
			},
		},
	}}})
	if err != nil || result.Outcomes[0].Outcome != "stored" {
		return "no pattern"
	}
	body := fmt.Sprintf(
		`{"subject":{"athlete_id":%q,"pattern_id":%q},"draws":64,"grid":{"laydown_step_boards":0.33,"angle_step_deg":0.031}}`,
		a.athlete, pattern,
	)
	return a.ask(ctx, http.MethodPost, "/v1/squads/"+a.squad+"/miss-maps", []byte(body))
}

// unread asks over a socket of its own and does not read beyond the status.
func (a *abuser) unread(ctx context.Context, path string, count func(string)) {
	connection, err := (&net.Dialer{}).DialContext(ctx, "tcp", strings.TrimPrefix(a.client.base, "http://"))
	if err != nil {
		count("no connection")
		return
	}
	defer connection.Close()
	stop := context.AfterFunc(ctx, func() { connection.Close() })
	defer stop()
	fmt.Fprintf(connection, "GET %s HTTP/1.1\r\nHost: laneward\r\nAuthorization: Bearer %s\r\n\r\n", path, a.token)
	status := make([]byte, len("HTTP/1.1 200"))
	if _, err := io.ReadFull(connection, status); err != nil {
		count("no answer")
		return
	}
	count(string(status[len("HTTP/1.1 "):]))
	select {
	case <-ctx.Done():
	case <-time.After(5 * time.Second):
	}
}
