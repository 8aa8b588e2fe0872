package synctest

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"
)

// cutPush sends a push that says it has more bytes than come, and then no more, as a proxy does
// whose client has gone. It returns the status and as much of the answer as came.
func cutPush(t *testing.T, coach *person, squad string, body []byte, missing int, headers ...string) (int, string, error) {
	t.Helper()
	connection, err := net.Dial("tcp", strings.TrimPrefix(coach.base, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer connection.Close()
	if err := connection.SetDeadline(time.Now().Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	head := fmt.Sprintf(
		"POST /v1/squads/%s/push HTTP/1.1\r\nHost: laneward\r\nAuthorization: Bearer %s\r\nContent-Length: %d\r\n%s\r\n\r\n",
		squad, coach.token, len(body)+missing, strings.Join(headers, "\r\n"),
	)
	if _, err := connection.Write(append([]byte(head), body...)); err != nil {
		t.Fatal(err)
	}
	if err := connection.(*net.TCPConn).CloseWrite(); err != nil {
		t.Fatal(err)
	}
	response, err := http.ReadResponse(bufio.NewReader(connection), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	answer, err := io.ReadAll(response.Body)
	return response.StatusCode, string(answer), err
}

// A push that is cut off or damaged is answered 400 and never with its last line; what had come
// whole is stored.
func TestPushCutShort(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	packed := func(body []byte) []byte {
		var out bytes.Buffer
		w := gzip.NewWriter(&out)
		if _, err := w.Write(body); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	const ndjson, gzipped = "Content-Type: application/x-ndjson", "Content-Encoding: gzip"
	next := 1
	shots := func(n int) []byte {
		body := lines(t, b.shots(n, next))
		next += n
		return body
	}
	half := func(body []byte) []byte { return append(body, `{"kind":"shot","record":{`...) }
	damaged := packed(shots(3))
	damaged[len(damaged)-5] ^= 1 // of the checksum (RFC 1952)
	big := packed(shots(900))
	for name, tc := range map[string]struct {
		body    []byte
		missing int
		headers []string
		status  int
		stored  int // at least
		says    string
	}{
		"whole":                    {shots(3), 0, []string{ndjson}, 200, 3, `{"rev":`},
		"in the last line":         {half(shots(3)), 50, []string{ndjson}, 400, 3, "after 3 whole lines"},
		"after a line":             {shots(3), 50, []string{ndjson}, 400, 3, "after 3 whole lines"},
		"before the first end":     {half(nil), 50, []string{ndjson}, 400, 0, "after 0 whole lines"},
		"before anything":          {nil, 50, []string{ndjson}, 400, 0, "after 0 whole lines"},
		"in the second piece":      {half(shots(1_500)), 50, []string{ndjson}, 200, 1_500, `"index":999`},
		"packed, and cut":          {big[:len(big)/2], 0, []string{ndjson, gzipped}, 400, 100, "cut off or damaged"},
		"packed, a wrong checksum": {damaged, 0, []string{ndjson, gzipped}, 400, 3, "cut off or damaged"},
		"a document": {
			[]byte(`{"items":[` + strings.Join(strings.Split(strings.TrimSpace(string(shots(2))), "\n"), ",")),
			50,
			[]string{"Content-Type: application/json"},
			400, 0, "ends in the middle: nothing was stored",
		},
	} {
		t.Run(name, func(t *testing.T) {
			before, _, err := coach.digests(t.Context(), b.squad)
			if err != nil {
				t.Fatal(err)
			}
			status, answer, broken := cutPush(t, coach, b.squad, tc.body, tc.missing, tc.headers...)
			if status != tc.status || !strings.Contains(answer, tc.says) {
				t.Errorf("%d %s, want %d and %q", status, answer[:min(len(answer), 500)], tc.status, tc.says)
			}
			ended := slices.ContainsFunc(
				strings.Split(answer, "\n"), func(line string) bool { return strings.HasPrefix(line, `{"rev":`) },
			)
			if whole := name == "whole"; ended != whole || status == 200 && !whole && broken == nil {
				t.Errorf("the last line came: %t; the answer broke off with %v", ended, broken)
			}
			after, _, err := coach.digests(t.Context(), b.squad)
			if err != nil {
				t.Fatal(err)
			}
			if stored := int(after["shot"].Count - before["shot"].Count); stored < tc.stored ||
				tc.stored == 0 && stored > 0 {
				t.Errorf("%d shots were stored, want %d", stored, tc.stored)
			}
		})
	}
}

// TestPushItemsAreBounded: a push that is too long is refused while it is read, and the refusals of
// one are counted when they are many.
func TestPushItemsAreBounded(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	var result struct {
		pushResult
		Refused int `json:"refused"`
	}
	path := "/v1/squads/" + b.squad + "/push"
	items := make([]any, 3_000)
	for i := range items {
		items[i] = fields{"kind": "ball", "record": fields{"id": newID(), "name": "b"}}
	}
	if err := coach.call(t.Context(), http.MethodPost, path, fields{"items": items}, &result); err != nil {
		t.Fatal(err)
	}
	said := 0
	for i, o := range result.Outcomes {
		if o.Outcome != "refused" || o.Index != i {
			t.Fatalf("outcome %d: %+v", i, o)
		}
		said += min(1, len(o.Errors))
	}
	if len(result.Outcomes) != 3_000 || result.Refused != 3_000 || said != 1_000 {
		t.Errorf("%d outcomes, %d refused, %d say why", len(result.Outcomes), result.Refused, said)
	}
	err := coach.call(t.Context(), http.MethodPost, path, fields{"items": make([]int, 100_001)}, nil)
	if statusOf(err) != http.StatusRequestEntityTooLarge {
		t.Errorf("100,001 items: %v, want 413", err)
	}
	line := []byte(`{"kind":"ball","record":{"name":"b"}}` + "\n")
	read := 0
	each := func(outcome) { read++ }
	_, err = coach.pushLines(t.Context(), b.squad, bytes.NewReader(bytes.Repeat(line, 110_000)), each)
	if err == nil || read != 100_000 {
		t.Errorf("110,000 lines: %d outcomes and %v, want 100,000 and an answer that breaks off", read, err)
	}
	// A body that is not a push is not read to its end.
	_, err = coach.pushLines(t.Context(), b.squad, bytes.NewReader(bytes.Repeat([]byte("x\n"), 110_000)), each)
	if statusOf(err) != http.StatusBadRequest || read != 100_000 {
		t.Errorf("110,000 lines of junk: %v, want 400", err)
	}
}

// TestPushBase: the revision that a change is based on may be given by the item as well as by its
// record, once and not below 0.
func TestPushBase(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	coach := signUp(t, directClient(s.handler), "Coach")
	b := coach.newBase(t)
	id := newID()
	pattern := func(name string) fields { return fields{"id": id, "name": name, "length_ft": 40} }
	rev := coach.mustPush(t, b.squad, []item{{Kind: "pattern", Record: pattern("first")}}, "stored").Rev
	for _, tc := range []struct {
		name  string
		item  item
		want  string
		wrong string // the pointer of the fault
	}{
		{"by the item", item{Kind: "pattern", Rev: rev, Record: pattern("second")}, "stored", ""},
		{"below 0", item{Kind: "pattern", Rev: -5, Record: pattern("third")}, "refused", "/rev"},
		{"below 0 in the record", item{Kind: "pattern", Record: merge(pattern("third"), "rev", -5)}, "refused", "/record/rev"},
		{"two of them", item{Kind: "pattern", Rev: 1, Record: merge(pattern("third"), "rev", 2)}, "refused", "/record/rev"},
		{"another case", item{Kind: "pattern", Record: fields{"id": newID(), "Name": "p", "length_ft": 40}}, "refused", "/Name"},
		{"the record in another case", item{Kind: "pattern", Record: fields{"ID": newID(), "name": "p", "length_ft": 40}}, "refused", "/ID"},
	} {
		push := coach.push
		if tc.wrong != "" { // as it is
			push = func(ctx context.Context, squad string, items []item) (pushResult, error) {
				return coach.pushSeen(ctx, squad, "", items)
			}
		}
		result, err := push(t.Context(), b.squad, []item{tc.item})
		if err != nil {
			t.Fatal(err)
		}
		got := result.Outcomes[0]
		if got.Outcome != tc.want || tc.wrong != "" && (len(got.Errors) != 1 || got.Errors[0].Pointer != tc.wrong) {
			t.Errorf("%s: %+v, want %s %s", tc.name, got, tc.want, tc.wrong)
		}
	}
}
