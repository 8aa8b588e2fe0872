package offline

import (
	"fmt"
	"strconv"
	"time"

	"laneward/cmd/laneward/terminal"
	"laneward/service/drill"
	"laneward/service/shot"
)

// ruleRows has a row a rule: what was read, and the values that keep it.
func ruleRows(asked drill.Drill, sentences []string) [][]string {
	rows := [][]string{{"rule", "sentence", "from", "to", "unit"}}
	for i, rule := range asked.Rules {
		kept := rangeOf(rule)
		rows = append(
			rows,
			[]string{
				strconv.Itoa(i + 1),
				sentences[i],
				terminal.Number(kept.From),
				terminal.Number(kept.To),
				kept.Unit,
			},
		)
	}
	return rows
}

// judgementColumns are those of one rule of a shot.
var judgementColumns = []string{
	"verdict", "value", "standard_error", "margin", "probability_kept", "miss", "basis", "reason",
}

// judgedRows has a row a shot: what came of it, and of each rule.
func judgedRows(rules int, shots []shot.Shot, judged []drill.ShotJudgement) [][]string {
	header := []string{"order", "time", "verdict", "probability_kept"}
	for i := range rules {
		for _, name := range judgementColumns {
			header = append(header, fmt.Sprintf("rule_%d_%s", i+1, name))
		}
	}
	rows := [][]string{header}
	for i, one := range judged {
		row := []string{
			strconv.Itoa(shots[i].Order),
			shots[i].Time.Format(time.RFC3339),
			string(one.Verdict),
			chanceCell(one.Verdict, one.ProbabilityKept),
		}
		for _, rule := range one.Reports() {
			row = append(
				row,
				string(rule.Verdict),
				numberCell(rule.Value),
				numberCell(rule.StandardError),
				numberCell(rule.Margin),
				chanceCell(rule.Verdict, rule.ProbabilityKept),
				string(rule.Miss),
				string(rule.Basis),
				rule.Reason,
			)
		}
		rows = append(rows, row)
	}
	return rows
}

// numberCell writes a number with nine significant digits, "" for nil.
func numberCell(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', 9, 64)
}

// chanceCell is empty for what was not measured: nothing is known of it.
func chanceCell(verdict drill.Verdict, kept float64) string {
	if verdict == drill.Unknown {
		return ""
	}
	return strconv.FormatFloat(kept, 'g', 6, 64)
}
