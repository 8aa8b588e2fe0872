package logger_test

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"laneward/service/shot"
)

// The page's table of measures is service/shot's; -update writes it.
func TestMeasuresTable(t *testing.T) {
	const path = "page/measures.js"
	var b strings.Builder
	b.WriteString("// What is measured of a shot: service/shot's list, written by go test -run MeasuresTable -update.\n" +
		"export const measures = [\n")
	for _, m := range shot.Measures() {
		if m.IsError() {
			continue
		}
		line, err := json.Marshal(struct {
			Field string `json:"field"`
			Label string `json:"label"`
			Unit  string `json:"unit"`
			Said  string `json:"said"`
		}{m.Field, m.Label, m.Unit, m.Said})
		must(t, err)
		b.WriteString("  " + string(line) + ",\n")
	}
	b.WriteString("];\n")
	if *update {
		must(t, os.WriteFile(path, []byte(b.String()), 0o644))
	}
	is, err := os.ReadFile(path)
	must(t, err)
	if diff := cmp.Diff(b.String(), string(is)); diff != "" {
		t.Errorf("%s (-want +is):\n%s", path, diff)
	}
}
