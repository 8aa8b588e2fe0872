package shot_test

import (
	"encoding/json"
	"testing"

	"pgregory.net/rapid"
)

// The fast writer is the slow one, byte for byte: payload hashes and stored versions depend on it.
func TestAppendJSONIsEncodingJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyShot(t)
		want, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		if got := string(s.AppendJSON([]byte("before "))) + "}"; got != "before "+string(want) {
			t.Fatalf("got  %s\nwant %s", got, want)
		}
	})
}

func BenchmarkAppendJSON(b *testing.B) {
	log := benchShots()
	var buffer []byte
	for b.Loop() {
		buffer = log[0].AppendJSON(buffer[:0])
	}
}
