// Package lines prints what the planner answers, whether a server or this computer computed it, and
// plans on films in files.
package lines

import (
	"encoding/json"
	"fmt"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
)

// Printer prints one kind of answer.
type Printer[Answer any] struct {
	text func(out terminal.Console, answer *Answer) error
	rows func(answer *Answer) [][]string // of the CSV, its header first
}

// The printers of what the planner answers.
var (
	Plan       = Printer[advice.Plan]{printPlan, planRows}
	Study      = Printer[advice.Study]{printStudy, studyRows}
	Comparison = Printer[advice.Comparison]{printComparison, comparisonRows}
	MissMap    = Printer[advice.MissMap]{printMissMap, missMapRows}
)

// Print prints an answer that was computed here. JSON is the server's for the same answer.
func (p Printer[Answer]) Print(out terminal.Console, f terminal.FormatFlag, answer *Answer) error {
	switch {
	case out.JSON:
		text, err := json.Marshal(answer)
		if err != nil {
			return fmt.Errorf("write the answer: %w", err)
		}
		return out.PrintJSON(text)
	case f.CSV():
		return out.PrintCSV(p.rows(answer))
	}
	return p.text(out, answer)
}

// PrintReceived prints an answer of a server.
func (p Printer[Answer]) PrintReceived(out terminal.Console, f terminal.FormatFlag, text []byte) error {
	if out.JSON {
		return out.PrintJSON(text)
	}
	var answer Answer
	if err := json.Unmarshal(text, &answer); err != nil {
		return fmt.Errorf("read the answer: %w", err)
	}
	return p.Print(out, f, &answer)
}
