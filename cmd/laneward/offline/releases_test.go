package offline

import "testing"

func FuzzReadReleases(f *testing.F) {
	f.Add("laydown_board,angle_deg,mph,rpm,rot_deg,tilt_deg\n20,2,17,300,45,12\n")
	f.Add("\ufefflaydown_board;angle_deg;mph;rpm;rot_deg;tilt_deg;id\n20;2;17;300;45;12;a\n")
	f.Add("a,b\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		file, err := readReleases([]byte(text))
		if err != nil {
			return
		}
		if len(file.rows) == 0 || len(file.rows) != len(file.releases) {
			t.Fatalf("%d rows, %d releases", len(file.rows), len(file.releases))
		}
		for i, release := range file.releases {
			if err := release.Validate(); err != nil {
				t.Errorf("row %d: %v", i+1, err)
			}
			if len(file.rows[i]) != len(file.columns) {
				t.Errorf("row %d has %d cells", i+1, len(file.rows[i]))
			}
		}
	})
}
