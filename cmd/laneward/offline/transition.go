package offline

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"

	"laneward/cmd/laneward/terminal"
	"laneward/service/reading"
)

type transitionCommand struct {
	terminal.FormatFlag
	laneFlags
	Probes   int  `default:"6" placeholder:"N" help:"Read the lane from so many shots at first (${default}), and watch it from then on."`
	Athletes int  `            placeholder:"N" help:"How many athletes bowl on the lane, this one counted; unknown when left out."`
	JSON     bool `                            help:"Print JSON."                                                                       name:"json"`
}

func (transitionCommand) Help() string {
	return `Has the lane changed, since when, and by how much? Reads it from the first shots, as laneward read does, and scores each later shot by how far it went from where the read puts it: breakpoint and entry together, in boards at the pins, inside positive. An alarm is raised when a jump, or a drift as the tracks rolled on the lane let one expect, has become far likelier than scatter: about one false alarm per 300 shots. It stands until the last shot. Needs no server.

The columns of --format csv, a row a shot in the order of the file: order, score_boards, score_se_boards (its standard error, by the readings of this shot), alarm (true or false), since_order (of the shot with which a jump likeliest began; a drift has no such shot), size_boards. The shots that the lane is read from have no score, nor has a gutter ball; since and size are empty without an alarm.

Examples:

    laneward transition --film sport.csv --shots tonight.csv --mph 17.5 --rpm 320 --rot-deg 45 --tilt-deg 12
    laneward transition --film sport.csv --shots tonight.csv --mph 17.5 --rpm 320 --rot-deg 45 --tilt-deg 12 --athletes 6
    laneward transition --film sport.csv --shots tonight.csv --mph 17.5 --rpm 320 --rot-deg 45 --tilt-deg 12 --probes 8 --format csv`
}

// Run reads the lane, watches it and prints what it found.
func (c *transitionCommand) Run(env terminal.Environment) error {
	out := terminal.Console{Env: env, JSON: c.JSON}
	if err := c.Check(&out); err != nil {
		return err
	}
	switch {
	case c.Probes < 1:
		return terminal.Usage("--probes %d: write how many shots the lane is read from, for example 6", c.Probes)
	case c.Athletes < 0:
		return terminal.Usage("--athletes %d: write how many bowl on the lane, for example 6", c.Athletes)
	}
	setting, err := c.setting(env)
	if err != nil {
		return err
	}
	throws, err := c.throws(out)
	if err != nil {
		return err
	}
	probes := min(c.Probes, len(throws))
	read, err := reading.New(setting, throws[:probes])
	if err != nil {
		return err
	}
	report := read.Report(throws[:probes])
	watch := read.Watch(0, float64(c.Athletes))
	list := make([]reading.Standing, len(throws))
	for i, throw := range throws {
		if list[i].Order = throw.Shot.Order; i >= probes {
			list[i] = watch.Add(throw)
		}
	}
	sentence := watch.Sentence()
	switch {
	case c.CSV() && report.Refused:
		out.Warn("%s", report.Sentence)
		fallthrough
	case c.CSV():
		return out.PrintCSV(standingRows(list))
	case report.Refused:
		sentence, list = report.Sentence, list[:0]
	}
	return printTransition(out, sentence, list)
}

// standingRows has a row a shot.
func standingRows(list []reading.Standing) [][]string {
	rows := [][]string{{"order", "score_boards", "score_se_boards", "alarm", "since_order", "size_boards"}}
	for _, one := range list {
		since, size := "", ""
		if one.Alarm {
			since, size = strconv.Itoa(one.SinceOrder), numberCell(&one.SizeBoards)
		}
		rows = append(rows, []string{
			strconv.Itoa(one.Order), numberCell(one.ScoreBoards), numberCell(one.ScoreSE),
			strconv.FormatBool(one.Alarm), since, size,
		})
	}
	return rows
}

// printTransition prints the words and a table of the shots that were watched.
func printTransition(out terminal.Console, sentence string, list []reading.Standing) error {
	if out.JSON {
		text, err := json.Marshal(struct {
			Sentence string             `json:"sentence"`
			Shots    []reading.Standing `json:"shots"`
		}{sentence, list})
		if err != nil {
			return fmt.Errorf("write the transition: %w", err)
		}
		return out.PrintJSON(text)
	}
	if err := out.Print(out.Paragraph(sentence, "")); err != nil {
		return err
	}
	scored := func(one reading.Standing) bool { return one.ScoreBoards != nil }
	if !slices.ContainsFunc(list, scored) {
		return nil
	}
	table := terminal.NewTable("shot>", "off>", "+->", "alarm", "size>")
	for _, one := range list {
		if !scored(one) {
			continue
		}
		alarm, size := "", ""
		if one.Alarm {
			alarm, size = "drifting", terminal.Decimals(one.SizeBoards, 1)
		}
		if one.Change == reading.Jump {
			alarm = "changed since shot " + strconv.Itoa(one.SinceOrder)
		}
		table.Add(
			strconv.Itoa(one.Order), terminal.Decimals(*one.ScoreBoards, 1), terminal.Decimals(*one.ScoreSE, 1),
			alarm, size,
		)
	}
	if err := out.Print("\nBoards at the pins by which each ball went farther inside than the read has it:\n"); err != nil {
		return err
	}
	return out.PrintTable(table)
}
