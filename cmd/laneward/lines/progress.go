package lines

import (
	"fmt"
	"strings"

	"laneward/cmd/laneward/terminal"
)

// stages are the stages of a computation in a person's words.
var stages = map[string]string{
	"score":       "Scoring the aims.",
	"first lines": "First lines are found.",
	"refine":      "Looking around the best.",
	"final":       "Scoring the best again.",
	"miss map":    "Mapping the aims.",
}

// Following shows a person how far a computation is: on a terminal in one line that is written
// over, elsewhere a line a stage.
func Following(out terminal.Console) (progress func(stage string, done, total int), done func()) {
	if out.Quiet {
		return func(string, int, int) {}, func() {}
	}
	screen, before := terminal.File(out.Env.Stderr), ""
	return func(name string, done, total int) {
			side, stage, sided := strings.Cut(name, ": ")
			if !sided {
				side, stage = "", name
			} else {
				side = strings.ToUpper(side) + ": "
			}
			switch {
			case screen != nil:
				fmt.Fprintf(screen, "\r\x1b[K%s%s %d of %d", side, stages[stage], done, total)
			case name != before:
				out.Say("%s%s", side, stages[stage])
			}
			before = name
		}, func() {
			if screen != nil {
				fmt.Fprint(screen, "\r\x1b[K")
			}
		}
}
