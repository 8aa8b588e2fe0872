package remote

import (
	"reflect"
	"testing"

	"laneward/service/shot"
)

// Every number that is measured of a shot can be changed by a flag of its own.
func TestEveryMeasureHasAFlag(t *testing.T) {
	flags := make(map[string]string)
	for flag := range reflect.TypeFor[shotFlags]().Fields() {
		flags[flag.Tag.Get("field")] = flag.Name
	}
	for _, m := range shot.Measures() {
		if !m.IsError() && flags[m.Field] == "" {
			t.Errorf("shotFlags has no flag for %s", m.Field)
		}
	}
}
