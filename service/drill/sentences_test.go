package drill

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
)

// The table of sentences is what this package promises to read, and what it refuses.
func TestTableOfSentences(t *testing.T) {
	file, err := os.Open("../../testdata/drill/sentences.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	names := BallNames{ballA: "Blue", ballB: "Red Two"}
	read, refused := 0, 0
	for lines := bufio.NewScanner(file); lines.Scan(); {
		sentence, want, ok := strings.Cut(lines.Text(), " => ")
		if !ok {
			continue
		}
		t.Run(sentence, func(t *testing.T) {
			reading, err := Read(sentence, names)
			if why, isRefused := strings.CutPrefix(want, "? "); isRefused {
				refused++
				if err == nil {
					t.Fatalf("read as %q", reading.Sentences(names))
				}
				if !strings.Contains(err.Error(), why) {
					t.Errorf("refused without %q: %v", why, err)
				}
				return
			}
			read++
			if err != nil {
				t.Fatal(err)
			}
			got := strings.Join(reading.Sentences(names), " + ")
			if reading.Reps != 0 || reading.PassShare != 0 {
				got += fmt.Sprintf(" [%d shots, %.0f %%]", reading.Reps, math.Round(100*reading.PassShare))
			}
			if got != want {
				t.Errorf("read as %q, want %q", got, want)
			}
		})
	}
	t.Logf("%d sentences are read, %d refused", read, refused)
	if read < 150 || refused < 80 {
		t.Errorf("the table holds %d sentences to read and %d to refuse", read, refused)
	}
}
