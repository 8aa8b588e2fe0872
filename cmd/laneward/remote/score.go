package remote

import (
	"context"
	"fmt"
	"os"
	"strconv"
	"strings"

	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/service/drill"
	"laneward/service/lane"
)

type scoreCommand struct {
	squadFlags
	Drill   string `arg:"" help:"The drill, by name or id."`
	Athlete string `placeholder:"NAME" help:"Only this athlete."`
	Session string `placeholder:"NAME" help:"Only the shots of this session, by name, day or id."`
}

func (scoreCommand) Help() string {
	return `Did they do as asked, or just get lucky? One row an athlete:

    kept     shots that kept all rules, of those that were measured
    share    the share kept, allowing for measurement error
    95 %     its interval, which may be read after every shot
    out, in  misses on either side of the corridor
    margin   mean distance to the rule's edge in its unit, negative when broken
    run      longest run of shots kept

The verdict weighs the pass mark against 20 points less, and looks again when all shots are thrown.

Examples:

    laneward score "Play inside"
    laneward score "Play inside" --athlete Rhea --session 2026-11-20`
}

// Run prints a drill's scores.
func (c *scoreCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	asked, err := conn.scope(ctx, c.Drill, c.Athlete, c.Session)
	if err != nil {
		return err
	}
	scores, err := conn.Adherence(ctx, conn.squad, asked.drill.ID, asked.athlete, asked.session)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(scores.JSON)
	}
	return conn.printScores(scores.Value)
}

func (c *squadConnection) printScores(scores openapi.DrillAdherence) error {
	if !c.Quiet {
		if err := c.Print(drillHeading(scores.Drill)); err != nil {
			return err
		}
	}
	if len(scores.Athletes) == 0 {
		c.Say("No athlete has this drill: assign it with laneward assign %q --to NAME.", scores.Drill.Name)
		return nil
	}
	if err := c.PrintTable(scoreTable(scores.Athletes)); err != nil {
		return err
	}
	if c.Quiet {
		return nil
	}
	var b strings.Builder
	for _, a := range scores.Athletes {
		b.WriteString("\n" + c.Paragraph(a.Name+": "+a.Reading, ""))
		if !a.Assigned {
			b.WriteString(c.Paragraph("The drill is not assigned to "+a.Name+".", "  "))
		}
		if next := nextStep(a); next != "" {
			b.WriteString(c.Paragraph(next, "  "))
		}
	}
	return c.Print(b.String())
}

func drillHeading(drill openapi.Drill) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %d shots, %s to pass\n", drill.Name, drill.Reps, terminal.Percent(drill.PassShare))
	for _, sentence := range sentencesOf(drill) {
		fmt.Fprintf(&b, "  %s.\n", sentence)
	}
	return b.String() + "\n"
}

func scoreTable(athletes []openapi.AthleteAdherence) *terminal.Table {
	list := terminal.NewTable(
		"athlete",
		"verdict",
		"kept>",
		"share>",
		"95 %>",
		"out>",
		"in>",
		"margin>",
		"run>",
	)
	list.Style("verdict", func(verdict string) string {
		switch openapi.AthleteAdherenceVerdict(verdict) {
		case openapi.Met:
			return terminal.Green
		case openapi.NotMet:
			return terminal.Red
		}
		return terminal.Yellow
	})
	for _, a := range athletes {
		margin := ""
		if a.MeanMargin != nil {
			margin = fmt.Sprintf("%+.1f", *a.MeanMargin)
		}
		if a.Shots == 0 {
			list.Add(a.Name, string(a.Verdict), "no shots", "", "", "", "", "", "")
			continue
		}
		list.Add(
			a.Name,
			string(a.Verdict),
			countOf(a.KeptShare),
			shareWords(a.TrueShare.Share),
			fmt.Sprintf("%.0f-%s", 100*a.TrueShare.Low, terminal.Percent(a.TrueShare.High)),
			strconv.Itoa(
				a.OutsideMisses,
			),
			strconv.Itoa(a.InsideMisses),
			margin,
			strconv.Itoa(a.LongestRun),
		)
	}
	return list
}

func countOf(p openapi.Proportion) string { return fmt.Sprintf("%d of %d", p.Count, p.Of) }

func shareWords(share *float64) string {
	if share == nil {
		return ""
	}
	return terminal.Percent(*share)
}

// nextStep says after which shot the result was clear, or what would settle it.
func nextStep(a openapi.AthleteAdherence) string {
	var parts []string
	if a.Evidence.DecidedAt > 0 {
		parts = append(parts, "the result was clear after "+countWords(a.Evidence.DecidedAt, "shot"))
	}
	if a.Shots > 0 && a.Coverage < 1 {
		parts = append(parts, terminal.Percent(a.Coverage)+" of the shots were measured")
	}
	if a.RepsLeft > 0 {
		parts = append(parts, countWords(a.RepsLeft, "shot")+" to go")
	}
	if a.Verdict == openapi.TooFewShots && a.Evidence.KeptToMet != nil && a.Evidence.BrokenToNotMet != nil {
		parts = append(parts, fmt.Sprintf("%d more good shots and it is met, %d more misses and it is not",
			*a.Evidence.KeptToMet, *a.Evidence.BrokenToNotMet))
	}
	if len(parts) == 0 {
		return ""
	}
	text := strings.Join(parts, "; ") + "."
	return strings.ToUpper(text[:1]) + text[1:]
}

func countWords(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

type judgementsCommand struct {
	squadFlags
	Drill   string `arg:"" help:"The drill, by name or id."`
	Athlete string `arg:"" optional:"" help:"The athlete, by name or id; an athlete's own when left out."`
	Session string `placeholder:"NAME" help:"Only the shots of this session, by name, day or id."`
}

func (judgementsCommand) Help() string {
	return `Each shot that counts for the drill, with what was measured, by how much it kept or broke the rule, and the chance that it was kept given the measurement's error.

Examples:

    laneward judgements "Play inside" Rhea
    laneward judgements "Play inside" Rhea --session 2026-11-20 --json`
}

// Run prints a judgement a shot.
func (c *judgementsCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	asked, err := conn.scope(ctx, c.Drill, c.Athlete, c.Session)
	if err != nil {
		return err
	}
	if asked.athlete == nil {
		asked.athlete = conn.athlete
	}
	if asked.athlete == nil {
		return terminal.Usage("say which athlete: laneward judgements DRILL ATHLETE")
	}
	judged, err := conn.Judgements(ctx, conn.squad, asked.drill.ID, *asked.athlete, asked.session)
	if err != nil {
		return err
	}
	if conn.JSON {
		return conn.PrintJSON(judged.JSON)
	}
	return conn.printJudgements(judged.Value)
}

func (c *squadConnection) printJudgements(judged openapi.Judgements) error {
	if !c.Quiet {
		if err := c.Print(drillHeading(judged.Drill)); err != nil {
			return err
		}
	}
	if len(judged.Items) == 0 {
		c.Say("No shot counts for this drill yet.")
		return nil
	}
	list, reports, err := c.judgementTable(judged)
	if err != nil {
		return err
	}
	if err := c.PrintTable(list); err != nil || c.Quiet {
		return err
	}
	return c.Print(offline.ChanceWords(c.Console, reports))
}

// judgementTable has a row a rule of each shot, and the judgements in it.
func (c *squadConnection) judgementTable(
	judged openapi.Judgements,
) (list *terminal.Table, reports []drill.JudgementReport, err error) {
	list = terminal.NewTable(
		"time",
		"shot>",
		"verdict",
		"rule>",
		"value>",
		"margin>",
		"chance kept>",
		"miss",
		"standing",
		"why",
	)
	list.Style("verdict", func(verdict string) string {
		return map[openapi.Verdict]string{
			openapi.Kept:   terminal.Green,
			openapi.Broken: terminal.Red,
		}[openapi.Verdict(verdict)]
	})
	several := len(judged.Drill.Rules) > 1
	for _, item := range judged.Items {
		for i, rule := range item.Rules {
			report := judgementOf(rule)
			reports = append(reports, report)
			cells := offline.JudgementCells(report)
			if several {
				cells[1] = strconv.Itoa(i + 1)
			}
			first := []string{c.Env.ClockTime(item.Shot.Time), strconv.Itoa(item.Shot.Order)}
			standing := ""
			if i > 0 {
				first = []string{"", ""}
			} else if item.Shot.Standing != nil {
				left, err := lane.Pins(*item.Shot.Standing...)
				if err != nil {
					return nil, nil, err
				}
				standing = left.String()
			}
			row := append(append(first, cells[:6]...), standing, cells[6])
			list.Add(row...)
		}
	}
	return list, reports, nil
}

// judgementOf is a judgement as the domain has it.
func judgementOf(r openapi.RuleJudgement) drill.JudgementReport {
	return drill.JudgementReport{
		Verdict:         drill.Verdict(r.Verdict),
		Basis:           drill.Basis(terminal.Word(r.Basis)),
		Value:           r.Value,
		StandardError:   r.StandardError,
		Margin:          r.Margin,
		ProbabilityKept: r.ProbabilityKept,
		Miss:            drill.Miss(terminal.Word(r.Miss)),
		Reason:          terminal.Word(r.Reason),
	}
}

type pictureCommand struct {
	squadFlags
	Drill   string `arg:"" help:"The drill, by name or id."`
	Athlete string `arg:"" optional:"" help:"The athlete, by name or id; an athlete's own when left out."`
	Session string `placeholder:"NAME" help:"Only the shots of this session, by name, day or id."`
	Output  string `short:"o" type:"path" placeholder:"FILE" help:"Write to this file rather than to stdout."`
}

func (pictureCommand) Help() string {
	return `The lane with the corridor and the shots over it, as SVG: kept and broken are told apart by shape and colour.

Examples:

    laneward picture "Play inside" Rhea > lane.svg
    laneward picture "Play inside" Rhea -o lane.svg`
}

// Run prints a picture.
func (c *pictureCommand) Run(ctx context.Context, env terminal.Environment) error {
	if c.Output == "" && terminal.File(env.Stdout) != nil {
		return terminal.Usage("use -o FILE: a picture cannot be printed")
	}
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	asked, err := conn.scope(ctx, c.Drill, c.Athlete, c.Session)
	if err != nil {
		return err
	}
	if asked.athlete == nil {
		asked.athlete = conn.athlete
	}
	if asked.athlete == nil {
		return terminal.Usage("say which athlete: laneward picture DRILL ATHLETE")
	}
	svg, err := conn.Picture(ctx, conn.squad, asked.drill.ID, *asked.athlete, asked.session)
	if err != nil {
		return err
	}
	if c.Output == "" {
		return conn.Print(string(svg))
	}
	if err := os.WriteFile(c.Output, svg, 0o644); err != nil { //nolint:gosec // a picture is for showing
		return fmt.Errorf("write the picture: %w", err)
	}
	conn.Say("Wrote %s.", c.Output)
	return nil
}
