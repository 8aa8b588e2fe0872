package remote

import (
	"context"
	"errors"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
)

type importCommand struct {
	squadFlags
	File    string  `arg:"" help:"The log: .csv, .ndjson, .jsonl or .json; - for stdin."`
	Session string  `required:"" placeholder:"NAME" help:"The session the shots belong to, by name, day or id."`
	Athlete string  `placeholder:"NAME" help:"Whose shots these are, where the rows do not say; an athlete's own by default."`
	Drill   string  `placeholder:"NAME" help:"The drill they were thrown for, where the rows do not say."`
	Format  *string `enum:"csv,ndjson,json" placeholder:"FORMAT" help:"csv, ndjson or json, where the file name does not say."`
}

func (importCommand) Help() string {
	return `At most 10,000 shots at once. Each row is stored, the same as before, in conflict with a stored shot, or refused with the reason; a bad row never holds up the good ones. It is safe to import the same log again, after fixing rows or when the network failed: rows already stored stay as they are. laneward columns lists the columns.

Exit code 6 means that some rows were not stored.

Examples:

    laneward import rhea.csv --session 2026-11-20 --athlete Rhea
    laneward import shots.ndjson --session Practice --drill "Play inside"
    sensor-export | laneward import - --format csv --session Practice --athlete Rhea`
}

// Run imports a log.
func (c *importCommand) Run(ctx context.Context, env terminal.Environment) error {
	format, err := c.format()
	if err != nil {
		return err
	}
	text, err := env.ReadInput(c.File)
	if err != nil {
		return err
	}
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	log := client.Log{Format: format, Text: text, Athlete: conn.athlete}
	session, err := conn.find(ctx, client.Session, c.Session)
	if err != nil {
		return err
	}
	log.Session = session.ID
	if c.Athlete != "" {
		if log.Athlete, err = conn.findID(ctx, client.Athlete, c.Athlete); err != nil {
			return err
		}
	}
	if log.Drill, err = conn.findID(ctx, client.Drill, c.Drill); err != nil {
		return err
	}
	result, err := conn.upload(ctx, log)
	if errors.Is(err, context.Canceled) {
		return errors.New(
			"stopped. Nothing is lost: import the same log again, and rows already stored stay as they are",
		)
	}
	if err != nil {
		return err
	}
	if conn.JSON {
		err = conn.PrintJSON(result.JSON)
	} else {
		err = conn.printOutcomes(c.Session, format, result.Value)
	}
	counts := result.Value.Counts
	if err == nil && counts.Refused+counts.Conflict > 0 {
		return terminal.ErrPartial
	}
	return err
}

func (c *importCommand) format() (client.Format, error) {
	name := strings.ToLower(strings.TrimPrefix(filepath.Ext(c.File), "."))
	if c.Format != nil {
		name = *c.Format
	}
	switch name {
	case "csv":
		return client.CSV, nil
	case "ndjson", "jsonl":
		return client.NDJSON, nil
	case "json":
		return client.JSON, nil
	}
	return "", terminal.Usage("the name %s does not show the log's format: add --format csv, ndjson or json", c.File)
}

// longUpload is the compressed size, in bytes, from which progress is shown.
const longUpload = 64 << 10

// upload sends a log and, where a person watches and it may take a while, shows how far it has got.
func (c *squadConnection) upload(ctx context.Context, log client.Log) (client.Answer[openapi.UploadResult], error) {
	if c.Quiet || terminal.File(c.Env.Stderr) == nil {
		return c.Upload(ctx, c.squad, log, nil)
	}
	var bar *progressbar.ProgressBar
	shown := 0
	answer, err := c.Upload(ctx, c.squad, log, func(sent, total int) {
		if total < longUpload || sent == shown {
			return
		}
		if bar == nil || sent < shown { // the first attempt, or another
			bar = progressbar.NewOptions(
				total,
				progressbar.OptionSetWriter(c.Env.Stderr),
				progressbar.OptionSetDescription("sending"),
				progressbar.OptionShowBytes(
					true,
				),
				progressbar.OptionClearOnFinish(),
				progressbar.OptionThrottle(100*time.Millisecond),
			)
		}
		shown = sent
		if err := bar.Set(sent); err == nil && sent == total {
			c.Say("Sent; the server is storing the rows.")
		}
	})
	if err != nil && bar != nil && !bar.IsFinished() {
		err = errors.Join(err, bar.Clear())
	}
	return answer, err
}

// printOutcomes prints what became of a log. session is the session as the person named it.
func (c *squadConnection) printOutcomes(session string, format client.Format, result openapi.UploadResult) error {
	counts := result.Counts
	if !c.Quiet {
		summary := terminal.NewTable("outcome", "rows>", "meaning")
		summary.Add("stored", strconv.Itoa(counts.Stored), "new")
		summary.Add("same", strconv.Itoa(counts.Same), "stored before, unchanged")
		summary.Add("conflict", strconv.Itoa(counts.Conflict), "another shot has that place; not stored")
		summary.Add("refused", strconv.Itoa(counts.Refused), "needs fixing; not stored")
		if err := c.PrintTable(summary); err != nil {
			return err
		}
	}
	if counts.Refused+counts.Conflict == 0 {
		return nil
	}
	rows := terminal.NewTable("row>", "column", "problem, and how to fix it")
	for _, outcome := range result.Outcomes {
		if outcome.Errors == nil {
			continue
		}
		for _, fault := range *outcome.Errors {
			rows.Add(strconv.Itoa(outcome.Row), terminal.PlaceOf(fault.Pointer), fault.Detail)
		}
	}
	if err := c.Print("\n" + rows.Text(c.Width(), c.Colourful())); err != nil {
		return err
	}
	if counts.Refused > 0 {
		first := ""
		if format == client.CSV {
			first = "Row 1 is the first below the header. "
		}
		c.Say("\n%sFix these rows and import the log again: the others stay as they are.", first)
	}
	if counts.Conflict > 0 {
		c.Say("\nTo correct a shot that is stored: laneward edit shot NUMBER --session %q --help", session)
	}
	return nil
}
