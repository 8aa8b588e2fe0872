package offline

import (
	"encoding/json"
	"fmt"

	"laneward/cmd/laneward/terminal"
	"laneward/service/shot"
)

type columnsCommand struct {
	JSON bool `name:"json" help:"Print JSON."`
}

func (columnsCommand) Help() string {
	return `The columns of a practice log in CSV, with units and limits. A log may leave out all but the required ones and have them in any order; an empty cell means not measured. Numbers have a decimal point; columns are separated by commas or semicolons.

Example:

    laneward columns`
}

// Run prints the columns of a log.
func (c *columnsCommand) Run(env terminal.Environment) error {
	out := terminal.Console{Env: env, JSON: c.JSON}
	columns := shot.Columns()
	if c.JSON {
		type column struct {
			Name     string `json:"name"`
			Unit     string `json:"unit,omitempty"`
			Limits   string `json:"limits"`
			Required bool   `json:"required"`
			Meaning  string `json:"meaning"`
		}
		list := make([]column, len(columns))
		for i, one := range columns {
			list[i] = column{one.Name, one.Unit, one.Limits, one.Required, one.Meaning}
		}
		text, err := json.Marshal(list)
		if err != nil {
			return fmt.Errorf("write the columns: %w", err)
		}
		return out.PrintJSON(text)
	}
	list := terminal.NewTable("column", "unit", "values", "needed", "meaning")
	for _, one := range columns {
		needed := ""
		if one.Required {
			needed = "yes"
		}
		list.Add(one.Name, one.Unit, one.Limits, needed, one.Meaning)
	}
	return out.PrintTable(list)
}
