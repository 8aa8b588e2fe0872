package advice

import (
	"errors"
	"math"
	"testing"

	"laneward/service/oil"
	"laneward/service/record"
)

func TestLayOil(t *testing.T) {
	t.Parallel()
	loads := []oil.Load{
		{Direction: oil.Out, FromBoard: 2, ToBoard: 38, Count: 2, ULPerBoard: 45, StartFt: 0, EndFt: 40},
	}
	table, err := LayOil(OilQuery{Name: "Given", Loads: loads})
	if err != nil || table.VolumeUL < 37*90-1e-9 || table.VolumeUL > 37*90+1e-9 || table.LengthFt != 40 ||
		table.Name != "Given" {
		t.Errorf("%g uL, %g ft, %q, %v", table.VolumeUL, table.LengthFt, table.Name, err)
	}
	mapped, err := LayOil(OilQuery{Film: table.FilmUL})
	if err != nil || math.Abs(mapped.VolumeUL-table.VolumeUL) > 1e-9 || mapped.LengthFt != 40 {
		t.Errorf("the film map: %g uL, %g ft, %v", mapped.VolumeUL, mapped.LengthFt, err)
	}
	for _, c := range []struct {
		name  string
		given OilQuery
		at    string
	}{
		{"nothing", OilQuery{}, ""},
		{"both", OilQuery{Loads: loads, Film: table.FilmUL}, "/film"},
		{"a bad load", OilQuery{Loads: []oil.Load{loads[0], {Direction: oil.Out, FromBoard: 2, ToBoard: 50, Count: 1, ULPerBoard: 4, EndFt: 40}}}, "/loads/1/to_board"},
		{"negative oil", OilQuery{Loads: []oil.Load{{Direction: oil.Out, FromBoard: 2, ToBoard: 5, Count: 1, ULPerBoard: -4, EndFt: 40}}}, "/loads/0/ul_per_board"},
		{"a short film", OilQuery{Film: table.FilmUL[:38]}, "/film"},
		{"another length", OilQuery{Loads: loads, LengthFt: 30}, "/length_ft"},
	} {
		_, err := LayOil(c.given)
		if err == nil {
			t.Errorf("%s is laid", c.name)
			continue
		}
		var faults record.Faults
		if !errors.As(err, &faults) || faults[0].Pointer != c.at {
			t.Errorf("%s: %v, want a fault at %q", c.name, err, c.at)
		}
	}
}
