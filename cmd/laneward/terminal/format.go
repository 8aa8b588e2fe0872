package terminal

import "encoding/csv"

// FormatFlag says how an answer is printed, for commands that print CSV too.
type FormatFlag struct {
	Format string `enum:"text,json,csv" default:"text" help:"text, json or csv (${default})."`
}

// CSV reports whether CSV was asked for.
func (f FormatFlag) CSV() bool { return f.Format == "csv" }

// Check has --format json mean what --json does; it fails when --json goes with CSV.
func (f FormatFlag) Check(out *Console) error {
	if out.JSON && f.CSV() {
		return Usage("--json and --format csv: write one of them")
	}
	out.JSON = out.JSON || f.Format == "json"
	return nil
}

// PrintCSV prints rows, the header first.
func (c Console) PrintCSV(rows [][]string) error { return csv.NewWriter(c.Env.Stdout).WriteAll(rows) }
