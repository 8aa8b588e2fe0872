package trend

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// table reads a CSV of published values; lines that begin with # name their source.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "trend", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 {
		t.Fatalf("%s holds no values", name)
	}
	return rows[1:]
}

func whole(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func decimal(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func checkInterval(t *testing.T, got Interval, low, high string) {
	t.Helper()
	const rounding = 0.5e-4 + 1e-12 // the tables have four decimals
	if wantLow := decimal(t, low); math.Abs(got.Low-wantLow) > rounding {
		t.Errorf("low = %.6f, want %s", got.Low, low)
	}
	if wantHigh := decimal(t, high); math.Abs(got.High-wantHigh) > rounding {
		t.Errorf("high = %.6f, want %s", got.High, high)
	}
}

// Source: Newcombe 1998, Stat. Med. 17:857-872; see the head of the file.
func TestWilsonAgainstNewcombesTable(t *testing.T) {
	for _, row := range table(t, "wilson.csv") {
		t.Run(row[0]+" of "+row[1], func(t *testing.T) {
			checkInterval(t, Wilson(whole(t, row[0]), whole(t, row[1]), Z95), row[2], row[3])
		})
	}
}

// Source: Newcombe 1998, Stat. Med. 17:873-890; see the head of the file.
func TestNewcombeAgainstNewcombesTable(t *testing.T) {
	for _, row := range table(t, "newcombe.csv") {
		t.Run(row[0], func(t *testing.T) {
			got := Newcombe(whole(t, row[1]), whole(t, row[2]), whole(t, row[3]), whole(t, row[4]), Z95)
			checkInterval(t, got, row[5], row[6])
		})
	}
}

func TestNothingKnownFromNoShots(t *testing.T) {
	if got := Wilson(0, 0, Z95); got != (Interval{0, 1}) {
		t.Errorf("Wilson of nothing = %v, want 0 to 1", got)
	}
	if got := Newcombe(3, 4, 0, 0, Z95); got != (Interval{-1, 1}) {
		t.Errorf("Newcombe against nothing = %v, want -1 to 1", got)
	}
}

func TestImpossibleCountsPanic(t *testing.T) {
	for name, call := range map[string]func(){
		"more than all": func() { Wilson(5, 4, Z95) },
		"negative":      func() { Wilson(-1, 4, Z95) },
		"no quantile":   func() { Wilson(1, 4, math.NaN()) },
		"second sample": func() { Newcombe(1, 2, 3, 2, Z95) },
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			call()
		})
	}
}

func TestIntervalLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		of := rapid.IntRange(1, 500).Draw(t, "of")
		count := rapid.IntRange(0, of).Draw(t, "count")
		ofB := rapid.IntRange(1, 500).Draw(t, "ofB")
		countB := rapid.IntRange(0, ofB).Draw(t, "countB")
		interval := Wilson(count, of, Z95)
		share := float64(count) / float64(of)
		if interval.Low < 0 || interval.High > 1 || !interval.Contains(share) {
			t.Fatalf("Wilson(%d, %d) = %v does not hold %v within 0 to 1", count, of, interval, share)
		}
		mirrored := Wilson(of-count, of, Z95)
		if math.Abs(mirrored.Low-(1-interval.High)) > 1e-12 || math.Abs(mirrored.High-(1-interval.Low)) > 1e-12 {
			t.Fatalf("misses have %v, hits %v: not each other's complement", mirrored, interval)
		}
		there, back := Newcombe(count, of, countB, ofB, Z95), Newcombe(countB, ofB, count, of, Z95)
		if math.Abs(there.Low+back.High) > 1e-12 || math.Abs(there.High+back.Low) > 1e-12 {
			t.Fatalf("%v and %v are not each other's negative", there, back)
		}
		if difference := share - float64(countB)/float64(ofB); !there.Contains(difference) {
			t.Fatalf("%v does not hold the difference %v", there, difference)
		}
	})
}
