package motion

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"laneward/service/lane"
	"laneward/service/oil"
)

const testdata = "../../testdata/motion"

func readFilm(t testing.TB, name string) *oil.Film {
	t.Helper()
	if name == "invented-41" {
		return layFilm(t)
	}
	files := map[string]string{"house-like": "house_like.json", "flat-long": "flat_long.json"}
	data, err := os.ReadFile(filepath.Join(testdata, files[name]))
	if err != nil {
		t.Fatal(err)
	}
	var film oil.Film
	if err := json.Unmarshal(data, &film); err != nil {
		t.Fatal(err)
	}
	return &film
}

// layFilm lays a load table: unlike the two smooth maps it has sharp edges across and along the
// lane.
func layFilm(t testing.TB) *oil.Film {
	t.Helper()
	file, err := os.Open("../../testdata/oil/invented-41.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	table, err := oil.ReadTableCSV("invented 41", file)
	if err != nil {
		t.Fatal(err)
	}
	film, err := table.Film()
	if err != nil {
		t.Fatal(err)
	}
	return film
}

type referenceShot struct {
	pattern                          string
	release                          Release
	pinBoard, entryDeg, rollS, pinsS float64
	rollFt                           float64
}

func readReference(t testing.TB) []referenceShot {
	t.Helper()
	file, err := os.Open(filepath.Join(testdata, "reference-shots.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var shots []referenceShot
	for _, record := range records[1:] {
		var v [11]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(record[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		shots = append(shots, referenceShot{
			pattern: record[0], release: Release{v[0], v[1], v[2], v[3], v[4], v[5]},
			pinBoard: v[6], entryDeg: v[7], rollS: v[8], rollFt: v[9], pinsS: v[10],
		})
	}
	return shots
}

// Source of the expected values: SciPy DOP853 on the full 6-state equations, see
// testdata/motion/README.md.
func TestReferenceShots(t *testing.T) {
	var worstBoard, worstAngle float64
	shots := readReference(t)
	if len(shots) != 40 {
		t.Fatalf("%d shots, want 40", len(shots))
	}
	for i, shot := range shots {
		t.Run(fmt.Sprintf("%d %s", i+1, shot.pattern), func(t *testing.T) {
			surface := FilmSurface(readFilm(t, shot.pattern), NominalFriction(), lane.Right)
			path, err := Trace(surface, DefaultBall(), shot.release, nil)
			if err != nil {
				t.Fatal(err)
			}
			if !path.Reaches() {
				t.Fatal("does not reach the pins")
			}
			near(t, "board", path.PinBoard, shot.pinBoard, 0.01)
			near(t, "angle", path.EntryAngleDeg, shot.entryDeg, 0.005)
			near(t, "time to the pins", path.PinTimeS, shot.pinsS, 1e-4)
			worstBoard = max(worstBoard, math.Abs(path.PinBoard-shot.pinBoard))
			worstAngle = max(worstAngle, math.Abs(path.EntryAngleDeg-shot.entryDeg))
			if path.Rolls == math.IsNaN(shot.rollS) {
				t.Fatalf("rolls %v, the reference %v", path.Rolls, !math.IsNaN(shot.rollS))
			}
			if path.Rolls {
				near(t, "time to roll", path.RollTimeS, shot.rollS, 1e-4)
				near(t, "distance to roll", path.RollFt, shot.rollFt, 2e-3)
			}
		})
	}
	t.Logf("worst error %.2g board, %.2g deg", worstBoard, worstAngle)
}

// The fast path keeps its promise on the same shots.
func TestTableAgainstReference(t *testing.T) {
	tables := map[string]*Table{}
	for _, name := range []string{"house-like", "flat-long"} {
		table, err := NewTable(readFilm(t, name), NominalFriction(), lane.Right)
		if err != nil {
			t.Fatal(err)
		}
		tables[name] = table
	}
	for i, shot := range readReference(t) {
		got := tables[shot.pattern].Run(DefaultBall(), shot.release)
		near(t, fmt.Sprintf("shot %d: board", i+1), got.PinBoard, shot.pinBoard, 0.05)
		near(t, fmt.Sprintf("shot %d: angle", i+1), got.EntryAngleDeg, shot.entryDeg, 0.05)
	}
}
