package offline

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/service/drill"
	"laneward/service/lane"
	"laneward/service/shot"
)

type ruleCommand struct {
	terminal.FormatFlag
	Sentence []string        `arg:"" help:"The rule in words; several are several rules of one drill."`
	Shots    string          `       help:"Judge this log by it: CSV with the columns of laneward columns, - for stdin."                  placeholder:"FILE"`
	Reps     int             `       help:"How many shots are asked for; what the sentence says, or 30."                                  placeholder:"SHOTS"`
	Pass     *terminal.Share `       help:"The share of them that should keep the rules, such as 80%; what the sentence says, or 80%."    placeholder:"SHARE"`
	Side     string          `       help:"The hand that bowls, right or left (${default}): a left-hander's leaves are the mirror image."                     enum:"right,left" default:"right"`
	Ball     []string        `       help:"A ball that a sentence names and the log does not; repeat it for more."                        placeholder:"NAME"`
	JSON     bool            `       help:"Print JSON, as the server answers it."                                                                                                               name:"json"`
}

func (ruleCommand) Help() string {
	return `Reads a rule and prints it as it would be judged. With --shots it judges a log by it, with the score and the judgement of each shot that the server would give. Needs no server.

The columns of --format csv with --shots, a row a shot: order, time, verdict (kept, broken or unknown), probability_kept (of all rules), and of each rule, beginning with rule_1_, rule_2_ and so on: verdict, value, standard_error, margin (negative when broken), probability_kept, miss, basis and reason. Without --shots, a row a rule: rule, sentence, from, to, unit.

Examples:

    laneward rule "play inside, keep the ball at board 10 or inside"
    laneward rule "board 10 or inside, at least 24 of 30" --shots tonight.csv
    laneward rule "do not leave the 10" "speed at least 17 mph" --shots tonight.csv --reps 30 --pass 0.8 --side left --json
    laneward rule "board 10 or inside" --shots tonight.csv --format csv > judged.csv`
}

// Run reads the rule, and judges the log when there is one.
func (c *ruleCommand) Run(env terminal.Environment) error {
	out := terminal.Console{Env: env, JSON: c.JSON}
	if err := c.Check(&out); err != nil {
		return err
	}
	names := make(drill.BallNames)
	for _, name := range c.Ball {
		names[ballID(name)] = name
	}
	var shots []shot.Shot
	if c.Shots != "" {
		text, err := env.ReadInput(c.Shots)
		if err != nil {
			return err
		}
		if shots, err = readShots(text, names); err != nil {
			return fmt.Errorf("%s: %w", c.Shots, err)
		}
	}
	asked, sentences, err := c.drill(names)
	if err != nil {
		return err
	}
	if c.Shots == "" {
		return c.print(out, asked, sentences)
	}
	if err := asked.Validate(); err != nil {
		return terminal.Usage("the drill cannot be: %w", err)
	}
	asked = asked.For(lane.Side(c.Side))
	judged := asked.Judge(shots)
	score := asked.Score(shots, judged)
	switch {
	case c.CSV():
		return out.PrintCSV(judgedRows(len(asked.Rules), shots, judged))
	case out.JSON:
		return printJSON(out, judgedReport(c.report(asked, sentences), score, shots, judged))
	}
	return printJudged(out, asked, sentences, score, shots, judged)
}

// drill reads the sentences as one drill; flags go before what a sentence asks for.
func (c *ruleCommand) drill(names drill.BallNames) (asked drill.Drill, sentences []string, err error) {
	asked = drill.Drill{Reps: 30, PassShare: 0.8}
	for _, sentence := range c.Sentence {
		reading, err := drill.Read(sentence, names)
		if err != nil {
			return asked, nil, err
		}
		asked.Rules = append(asked.Rules, reading.Rules...)
		sentences = append(sentences, reading.Sentences(names)...)
		if reading.Reps > 0 {
			asked.Reps = reading.Reps
		}
		if reading.PassShare > 0 {
			asked.PassShare = reading.PassShare
		}
	}
	if c.Reps != 0 {
		asked.Reps = c.Reps
	}
	if c.Pass != nil {
		asked.PassShare = float64(*c.Pass)
	}
	return asked, sentences, nil
}

// logID is the session and the athlete of a log that names none.
var logID = uuid.NewSHA1(uuid.NameSpaceURL, []byte("log"))

// ballID names a ball of a log, whatever the case of its name.
func ballID(name string) uuid.UUID {
	return uuid.NewSHA1(logID, []byte(strings.ToLower(strings.Join(strings.Fields(name), " "))))
}

// readShots reads one athlete's log, and adds its balls to the names. Every row has to be right.
func readShots(text []byte, names drill.BallNames) ([]shot.Shot, error) {
	return readLog(text, names, func(*shot.Row, shot.Fault) bool { return false })
}

// readLog reads one athlete's log, and adds its balls to the names. Every row has to be right, but
// for faults that are forgiven, which takes them out of the row.
func readLog(
	text []byte,
	names drill.BallNames,
	forgive func(row *shot.Row, fault shot.Fault) bool,
) (shots []shot.Shot, err error) {
	options := shot.Options{
		SessionID: logID,
		AthleteID: logID,
		Athlete:   func(name string) (uuid.UUID, error) { return ballID("athlete " + name), nil },
		Drill:     func(string) (uuid.UUID, error) { return logID, nil },
		Ball: func(_ uuid.UUID, name string) (uuid.UUID, error) {
			id := ballID(name)
			if names[id] == "" {
				names[id] = name
			}
			return id, nil
		},
	}
	var faults []error
	for row, err := range shot.ReadCSV(bytes.NewReader(text), options) {
		if err != nil {
			return nil, err
		}
		row.Faults = slices.DeleteFunc(row.Faults, func(fault shot.Fault) bool { return forgive(&row, fault) })
		for _, fault := range row.Faults {
			faults = append(faults, fmt.Errorf("row %d, %w", row.Number, fault))
		}
		if len(row.Faults) == 0 {
			shots = append(shots, row.Shot)
		}
		if len(shots) > 0 && shots[len(shots)-1].AthleteID != shots[0].AthleteID {
			return nil, fmt.Errorf("row %d is of another athlete: judge each athlete's log on its own", row.Number)
		}
	}
	return shots, errors.Join(faults...)
}

// ruleReport is what a sentence was read as, and the range of values that keep each rule.
type ruleReport struct {
	Rules     []drill.Rule `json:"rules"`
	Sentences []string     `json:"sentences"`
	Kept      []ruleRange  `json:"kept"`
	Reps      int          `json:"reps"`
	PassShare float64      `json:"pass_share"`
	// Of a log only.
	Adherence *drill.ScoreReport `json:"adherence,omitempty"`
	Items     []judgedShot       `json:"items,omitempty"`
}

// ruleRange is the range a value has to lie in, ends included; an open end is left out, and both
// are for a rule on something else than a number.
type ruleRange struct {
	From *float64 `json:"from,omitempty"`
	To   *float64 `json:"to,omitempty"`
	Unit string   `json:"unit,omitempty"`
}

type judgedShot struct {
	Shot            shot.Shot               `json:"shot"`
	Verdict         drill.Verdict           `json:"verdict"`
	ProbabilityKept float64                 `json:"probability_kept"`
	Rules           []drill.JudgementReport `json:"rules"`
}

func rangeOf(r drill.Rule) ruleRange {
	low, high := r.Edges()
	kept := ruleRange{Unit: r.Unit()}
	if !math.IsInf(low, -1) {
		kept.From = &low
	}
	if !math.IsInf(high, 1) {
		kept.To = &high
	}
	return kept
}

func (r ruleRange) words() string {
	switch {
	case r.From != nil && r.To != nil:
		return fmt.Sprintf("kept from %s to %s %s", terminal.Number(r.From), terminal.Number(r.To), r.Unit)
	case r.From != nil:
		return fmt.Sprintf("kept from %s %s on", terminal.Number(r.From), r.Unit)
	case r.To != nil:
		return fmt.Sprintf("kept up to %s %s", terminal.Number(r.To), r.Unit)
	}
	return ""
}

func (c *ruleCommand) report(asked drill.Drill, sentences []string) *ruleReport {
	report := &ruleReport{Rules: asked.Rules, Sentences: sentences, Reps: asked.Reps, PassShare: asked.PassShare}
	for _, rule := range asked.Rules {
		report.Kept = append(report.Kept, rangeOf(rule))
	}
	return report
}

func judgedReport(
	report *ruleReport,
	score drill.Adherence,
	shots []shot.Shot,
	judged []drill.ShotJudgement,
) *ruleReport {
	adherence := score.Report(report.Sentences)
	report.Adherence = &adherence
	for i, one := range judged {
		report.Items = append(report.Items, judgedShot{shots[i], one.Verdict, one.ProbabilityKept, one.Reports()})
	}
	return report
}

func printJSON(out terminal.Console, value any) error {
	text, err := json.Marshal(value)
	if err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	return out.PrintJSON(text)
}

func (c *ruleCommand) print(out terminal.Console, asked drill.Drill, sentences []string) error {
	switch {
	case c.CSV():
		return out.PrintCSV(ruleRows(asked, sentences))
	case out.JSON:
		return printJSON(out, c.report(asked, sentences))
	}
	return out.Print(ruleWords(asked, sentences))
}

// ruleWords writes each rule with the values that keep it.
func ruleWords(asked drill.Drill, sentences []string) string {
	var b strings.Builder
	for i, rule := range asked.Rules {
		fmt.Fprintf(&b, "%s.\n", sentences[i])
		if words := rangeOf(rule).words(); words != "" {
			fmt.Fprintf(&b, "  %s%s.\n", strings.ToUpper(words[:1]), words[1:])
		}
	}
	return b.String()
}

func printJudged(
	out terminal.Console,
	asked drill.Drill,
	sentences []string,
	score drill.Adherence,
	shots []shot.Shot,
	judged []drill.ShotJudgement,
) error {
	list := terminal.NewTable("shot>", "verdict", "rule>", "value>", "margin>", "chance kept>", "miss", "why")
	for i, one := range judged {
		for j, rule := range one.Rules {
			cells := JudgementCells(rule.Report())
			if len(one.Rules) > 1 {
				cells[1] = strconv.Itoa(j + 1)
			}
			list.Add(append([]string{strconv.Itoa(shots[i].Order)}, cells...)...)
		}
	}
	words := fmt.Sprintf(
		"%s%d shots, %s to pass\n\n",
		ruleWords(asked, sentences),
		asked.Reps,
		terminal.Percent(asked.PassShare),
	)
	if err := out.Print(words); err != nil {
		return err
	}
	if err := out.PrintTable(list); err != nil {
		return err
	}
	var reports []drill.JudgementReport
	for _, one := range judged {
		reports = append(reports, one.Reports()...)
	}
	return out.Print(ChanceWords(out, reports) + "\n" + out.Paragraph(score.Reading, ""))
}

// ChanceWords explain the chances under a table of judgements, where one needs it.
func ChanceWords(out terminal.Console, judgements []drill.JudgementReport) string {
	note := drill.ChanceNote(judgements)
	if note == "" {
		return ""
	}
	return "\n" + out.Paragraph(note, "")
}

// JudgementCells are verdict, rule (to be filled in), value, margin, chance, miss, why.
func JudgementCells(rule drill.JudgementReport) []string {
	cells := []string{string(rule.Verdict), "", "", "", "", "", ""}
	if rule.Value != nil {
		cells[2] = strconv.FormatFloat(*rule.Value, 'f', 1, 64)
	}
	if rule.Margin != nil {
		cells[3] = fmt.Sprintf("%+.1f", *rule.Margin)
	}
	if rule.Verdict != drill.Unknown {
		cells[4] = terminal.Percent(rule.ProbabilityKept)
	}
	cells[5] = string(rule.Miss)
	cells[6] = cmp.Or(rule.Reason, string(rule.Basis))
	return cells
}
