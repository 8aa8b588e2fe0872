package synctest

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"strings"
	"testing"
)

// gzipped packs a body.
func gzipped(t testing.TB, body []byte) []byte {
	t.Helper()
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write(body); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return packed.Bytes()
}

// TestPackedPush packs a push on the way in and reads the answer and the feed packed, and knows a
// body that is not what it says.
func TestPackedPush(t *testing.T) {
	t.Parallel()
	_, coach, b := newWire(t)
	stored := 0
	_, err := coach.pushLines(
		t.Context(),
		b.squad,
		bytes.NewReader(gzipped(t, lines(t, b.shots(2_500, 1)))),
		func(o outcome) {
			if o.Outcome == "stored" {
				stored++
			}
		},
		"Content-Encoding",
		"gzip",
	)
	if err != nil || stored != 2_500 {
		t.Errorf("%d stored, %v", stored, err)
	}
	path := "/v1/squads/" + b.squad
	var plain, packed int64
	for _, encoding := range []string{"identity", "gzip"} {
		response, err := coach.send(
			t.Context(),
			http.MethodGet,
			path+"/snapshot",
			nil,
			"Accept",
			"application/x-ndjson",
			"Accept-Encoding",
			encoding,
		)
		if err != nil {
			t.Fatal(err)
		}
		n, err := io.Copy(io.Discard, response.Body)
		_ = response.Body.Close() // read to its end
		if err != nil {
			t.Fatal(err)
		}
		if got := response.Header.Get(
			"Content-Encoding",
		); (got == "gzip") != (encoding == "gzip") ||
			!strings.Contains(response.Header.Get("Vary"), "Accept-Encoding") {
			t.Errorf("asked for %s: Content-Encoding %q, Vary %q", encoding, got, response.Header.Get("Vary"))
		}
		if encoding == "gzip" {
			packed = n
		} else {
			plain = n
		}
	}
	if packed*3 > plain {
		t.Errorf("the snapshot is %d bytes plain and %d packed", plain, packed)
	}
}

// TestBodiesThatAreNotTaken sends bodies that are too large, also when it only shows on unpacking,
// or not what they say. Each is told as the client's to mend, and none is the server's failure.
func TestBodiesThatAreNotTaken(t *testing.T) {
	t.Parallel()
	s, coach, b := newWire(t)
	line := lines(t, b.shots(1, 1))
	good := gzipped(t, line)
	zeros := make([]byte, 64<<20)
	spaces := bytes.Repeat([]byte("\n"), 64<<20)
	for name, tc := range map[string]struct {
		body      []byte
		mediaType string
		encoding  string
		want      int
	}{
		"a bomb as JSON":             {gzipped(t, append([]byte(`{"items":[`), spaces...)), "application/json", "gzip", http.StatusRequestEntityTooLarge},
		"a bomb of lines":            {gzipped(t, spaces), "application/x-ndjson", "gzip", http.StatusRequestEntityTooLarge},
		"a bomb in one line":         {gzipped(t, zeros), "application/x-ndjson", "gzip", http.StatusRequestEntityTooLarge},
		"too large":                  {spaces, "application/x-ndjson", "", http.StatusRequestEntityTooLarge},
		"not gzip":                   {line, "application/x-ndjson", "gzip", http.StatusBadRequest},
		"gzip with a fault":          {append(append(bytes.Clone(good[:len(good)-8]), 1, 2, 3, 4), good[len(good)-4:]...), "application/x-ndjson", "gzip", http.StatusBadRequest},
		"gzip with a fault, as JSON": {append(bytes.Clone(good[:20]), 0xff, 0xff, 0xff, 0xff, 0xff), "application/json", "gzip", http.StatusBadRequest},
		"another packing":            {line, "application/x-ndjson", "br", http.StatusUnsupportedMediaType},
		"another format":             {line, "text/plain", "", http.StatusUnsupportedMediaType},
		"not JSON":                   {[]byte("shots"), "application/json", "", http.StatusBadRequest},
		"JSON without items":         {[]byte(`{"shots":[]}`), "application/json", "", http.StatusBadRequest},
		"JSON and more":              {[]byte(`{"items":[]} {"items":[]}`), "application/json", "", http.StatusBadRequest},
		"empty":                      {nil, "application/json", "", http.StatusBadRequest},
	} {
		t.Run(name, func(t *testing.T) {
			header := []string{"Content-Type", tc.mediaType}
			if tc.encoding != "" {
				header = append(header, "Content-Encoding", tc.encoding)
			}
			response, err := coach.send(
				t.Context(),
				http.MethodPost,
				"/v1/squads/"+b.squad+"/push",
				bytes.NewReader(tc.body),
				header...)
			if err == nil {
				text, _ := io.ReadAll(response.Body) // to say what came
				_ = response.Body.Close()            // as above
				t.Fatalf("answered %d: %.300s", response.StatusCode, text)
			}
			if statusOf(err) != tc.want {
				t.Errorf("%v, want %d", err, tc.want)
			}
		})
	}
	if failures := s.log.lines(`"level":"ERROR"`); len(failures) > 0 {
		t.Errorf("the server failed: %s", failures[0])
	}
}

// TestTextsThatCannotBeStored sends the one character that Postgres has no place for where no
// record holds it up.
func TestTextsThatCannotBeStored(t *testing.T) {
	t.Parallel()
	s := newServer(t, 2)
	somebody := directClient(s.handler)
	for _, field := range []string{"email", "name", "device"} {
		body := fields{"email": "nobody@invented.example", "name": "Nobody", "password": password, "device": "phone"}
		body[field] = body[field].(string) + "\x00"
		if err := somebody.call(
			t.Context(),
			http.MethodPost,
			"/v1/users",
			body,
			nil,
		); statusOf(
			err,
		) != http.StatusBadRequest {
			t.Errorf("NUL in %s: %v, want 400", field, err)
		}
	}
}
