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

func readReference(t testing.TB, name string) []referenceShot {
	t.Helper()
	file, err := os.Open(filepath.Join(testdata, name))
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
		v := map[string]float64{}
		for i, column := range records[0][1:] {
			if v[column], err = strconv.ParseFloat(record[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		shots = append(shots, referenceShot{
			pattern:  record[0],
			release:  Release{v["laydown_board"], v["angle_deg"], v["mph"], v["rpm"], v["rot_deg"], v["tilt_deg"]},
			pinBoard: v["pin_board"], entryDeg: v["entry_deg"],
			rollS: v["t_roll_s"], rollFt: v["x_roll_ft"], pinsS: v["t_pins_s"],
		})
	}
	return shots
}

// lawWithoutSlip is the law of the first 40 reference shots: one exponential, the same at any slip.
func lawWithoutSlip() Friction { return Friction{MuDry: 0.24, MuOil: 0.004, Q0: 1} }

// Source of the expected values: SciPy DOP853 on the full 6-state equations, see
// testdata/motion/README.md.
var references = []struct {
	file     string
	friction Friction
	shots    int
}{
	{"reference-shots.csv", lawWithoutSlip(), 40},
	{"slip-law-shots.csv", NominalFriction(), 20},
}

func TestReferenceShots(t *testing.T) {
	for _, reference := range references {
		var worstBoard, worstAngle float64
		shots := readReference(t, reference.file)
		if len(shots) != reference.shots {
			t.Fatalf("%s: %d shots, want %d", reference.file, len(shots), reference.shots)
		}
		for i, shot := range shots {
			t.Run(fmt.Sprintf("%s %d %s", reference.file, i+1, shot.pattern), func(t *testing.T) {
				path, err := Trace(
					FilmSurface(readFilm(t, shot.pattern), reference.friction, lane.Right),
					DefaultBall(),
					shot.release,
					nil,
				)
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
		t.Logf("%s: worst error %.2g board, %.2g deg", reference.file, worstBoard, worstAngle)
	}
}

// The fast path keeps its promise on the same shots.
func TestTableAgainstReference(t *testing.T) {
	for _, reference := range references {
		tables := map[string]*Table{}
		for _, name := range []string{"house-like", "flat-long"} {
			table, err := NewTable(readFilm(t, name), reference.friction, lane.Right)
			if err != nil {
				t.Fatal(err)
			}
			tables[name] = table
		}
		for i, shot := range readReference(t, reference.file) {
			got := tables[shot.pattern].Run(DefaultBall(), shot.release)
			near(t, fmt.Sprintf("%s, shot %d: board", reference.file, i+1), got.PinBoard, shot.pinBoard, 0.05)
			near(t, fmt.Sprintf("%s, shot %d: angle", reference.file, i+1), got.EntryAngleDeg, shot.entryDeg, 0.05)
		}
	}
}
