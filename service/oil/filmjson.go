package oil

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"laneward/service/lane"
)

// unitText and layoutText are written into every film file, so that it explains itself.
const (
	unitText   = "1 unit = 0.0167 mL/ft^2 (=1.4809 uL per board-foot)"
	layoutText = "film[board-1][row]; row j covers j..j+1 ft from the foul line, value at j+0.5 ft; board 1 = right edge"
)

// statedVolumeTolerance is how far a file's volume_ml may lie from the sum of its cells: rounding
// of printed cells stays under it, a wrong unit (1.48 times) or a lost row does not.
const statedVolumeTolerance = 0.01

type filmFile struct {
	Name     string      `json:"name"`
	LengthFt *float64    `json:"length_ft,omitempty"`
	Unit     string      `json:"unit"`
	Layout   string      `json:"layout"`
	VolumeML *float64    `json:"volume_ml,omitempty"`
	Film     [][]float64 `json:"film"`
}

// MarshalJSON writes name, length_ft, unit, layout, volume_ml and film[board-1][row] in oil units.
func (f Film) MarshalJSON() ([]byte, error) {
	volumeML := f.VolumeUL() / 1000
	file := filmFile{Name: f.Name, LengthFt: &f.LengthFt, Unit: unitText, Layout: layoutText, VolumeML: &volumeML}
	for b := range f.UL {
		row := make([]float64, Rows)
		for j := range row {
			row[j] = f.UL[b][j] / UnitULPerBoardFoot
		}
		file.Film = append(file.Film, row)
	}
	return json.Marshal(file)
}

// UnmarshalJSON reads what [Film.MarshalJSON] writes. Only film is required; other keys are
// ignored, so a file may carry notes. Refused, with [Faults] that name every place: a table that is
// not 39 x 60, a cell that cannot be oil, another unit, a volume_ml more than 1 % off the cells'
// sum. A missing length_ft becomes the end of the film.
func (f *Film) UnmarshalJSON(data []byte) error {
	var file filmFile
	if err := json.Unmarshal(data, &file); err != nil {
		return fmt.Errorf(
			"film file: film must be %d boards of %d numbers each, in oil units: %w",
			lane.Boards,
			Rows,
			err,
		)
	}
	var faults Faults
	if file.Unit != "" && !strings.HasPrefix(file.Unit, "1 unit = 0.0167 mL/ft^2") {
		faults = append(
			faults,
			Fault{
				Column: "unit",
				Reason: fmt.Sprintf("%q is not known: give oil units and write %q", file.Unit, unitText),
			},
		)
	}
	film, shape := fromUnits(file.Film)
	faults = append(faults, shape...)
	film.Name = file.Name
	if file.LengthFt != nil {
		film.LengthFt = *file.LengthFt
	} else {
		film.LengthFt = film.OiledFt(0)
	}
	if len(faults) == 0 {
		if err := film.Validate(); err != nil {
			return err
		}
		faults = append(faults, volumeFault(film, file.VolumeML)...)
	}
	if len(faults) > 0 {
		return faults
	}
	*f = film
	return nil
}

// fromUnits makes a film of a table units[board-1][row] in oil units.
func fromUnits(units [][]float64) (Film, Faults) {
	var film Film
	var faults Faults
	if len(units) != lane.Boards {
		faults = append(
			faults,
			Fault{Column: "film", Reason: fmt.Sprintf("%d boards given: a film has %d", len(units), lane.Boards)},
		)
	}
	for b, row := range units {
		if len(row) != Rows {
			reason := fmt.Sprintf("%d values given: a board has %d, one a foot", len(row), Rows)
			faults = append(faults, Fault{Row: b + 1, Column: "film", Reason: reason})
		}
		if b >= lane.Boards {
			continue
		}
		for j := range min(len(row), Rows) {
			film.UL[b][j] = row[j] * UnitULPerBoardFoot
		}
	}
	return film, faults
}

func volumeFault(film Film, statedML *float64) Faults {
	if statedML == nil {
		return nil
	}
	sumML := film.VolumeUL() / 1000
	if math.Abs(*statedML-sumML) <= statedVolumeTolerance*sumML {
		return nil
	}
	reason := fmt.Sprintf(
		"%.4g mL is stated but the cells hold %.4g mL: mend the cells' unit or leave volume_ml out",
		*statedML,
		sumML,
	)
	return Faults{{Column: "volume_ml", Reason: reason}}
}
