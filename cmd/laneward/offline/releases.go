package offline

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"laneward/service/motion"
)

// releaseColumns are the columns a file of releases must have, in any order.
var releaseColumns = []string{"laydown_board", "angle_deg", "mph", "rpm", "rot_deg", "tilt_deg"}

// pathColumns are the columns that computing the paths adds.
var pathColumns = []string{"pin_board", "entry_deg", "t_roll_s", "x_roll_ft", "t_pins_s", "gutter"}

// releaseFile is a file of releases: its own columns, and each row as it was written and as it was
// read.
type releaseFile struct {
	columns  []string
	rows     [][]string
	releases []motion.Release
}

const (
	maxReleases   = 1_000_000
	maxTellFaults = 20
)

// releaseFaults are the rows that are not releases, as one error. Row 1 is the first below the
// header.
type releaseFaults struct {
	told []string
	more int
}

func (f *releaseFaults) add(row int, format string, values ...any) {
	if len(f.told) == maxTellFaults {
		f.more++
		return
	}
	f.told = append(f.told, fmt.Sprintf("row %d, ", row)+fmt.Sprintf(format, values...))
}

func (f *releaseFaults) Error() string {
	text := strings.Join(f.told, "\n  ")
	if f.more > 0 {
		text += fmt.Sprintf("\n  and %d more", f.more)
	}
	return "fix these rows (row 1 is the first below the header); nothing was computed:\n  " + text
}

// readReleases reads releases from CSV with a header row, comma or semicolon between the columns.
// Columns beyond the needed ones are carried along, so that a row can be known again. The error
// names every bad row, or says why the text is not such a file.
func readReleases(text []byte) (releaseFile, error) {
	reader, header, err := openColumns(text, releaseColumns)
	if err != nil {
		return releaseFile{}, err
	}
	if err := checkReleaseHeader(header); err != nil {
		return releaseFile{}, err
	}
	file := releaseFile{columns: header}
	var faults releaseFaults
	for row := 1; ; row++ {
		cells, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if row > maxReleases {
			return releaseFile{}, fmt.Errorf("more than %d rows: split the file", maxReleases)
		}
		if err != nil {
			faults.add(row, "the line is not CSV: %v", err)
			break // what follows a broken quotation mark is not to be trusted
		}
		file.add(row, cells, &faults)
	}
	switch {
	case len(faults.told) > 0:
		return releaseFile{}, &faults
	case len(file.rows) == 0:
		return releaseFile{}, errors.New("the file has a header and no rows: write one release a row")
	}
	return file, nil
}

func checkReleaseHeader(header []string) error {
	for i, name := range header {
		switch {
		case slices.Contains(header[:i], name):
			return fmt.Errorf("column %q appears twice", name)
		case slices.Contains(pathColumns, name):
			return fmt.Errorf(
				"column %q is one of those to be computed (%s): rename or remove it",
				name,
				strings.Join(pathColumns, ", "),
			)
		}
	}
	for _, name := range releaseColumns {
		if !slices.Contains(header, name) {
			return fmt.Errorf(
				"column %s is missing: a file of releases has the columns %s",
				name,
				strings.Join(releaseColumns, ","),
			)
		}
	}
	return nil
}

// add reads one row, or notes every fault of it.
func (f *releaseFile) add(row int, cells []string, faults *releaseFaults) {
	if len(cells) != len(f.columns) {
		faults.add(row, "%d cells are there and the header has %d", len(cells), len(f.columns))
		return
	}
	var release motion.Release
	values := []*float64{
		&release.LaydownBoard,
		&release.LaunchAngleDeg,
		&release.SpeedMPH,
		&release.RevRPM,
		&release.RotationDeg,
		&release.TiltDeg,
	}
	read := true
	for i, name := range releaseColumns {
		cell := strings.TrimSpace(cells[slices.Index(f.columns, name)])
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			faults.add(row, "column %s: %q is not a number: write digits with a decimal point, such as 17.5", name, cell)
			read = false
			continue
		}
		*values[i] = v
	}
	if !read {
		return
	}
	if err := release.Validate(); err != nil {
		for reason := range strings.SplitSeq(err.Error(), "\n") {
			faults.add(row, "column %s", inReleaseWords.Replace(reason))
		}
		return
	}
	f.rows = append(f.rows, cells)
	f.releases = append(f.releases, release)
}

// inReleaseWords turns the model's names of a release into those of the file's columns.
var inReleaseWords = strings.NewReplacer(
	"launch_angle_deg",
	"angle_deg",
	"speed_mph",
	"mph",
	"rev_rpm",
	"rpm",
	"rotation_deg",
	"rot_deg",
)
