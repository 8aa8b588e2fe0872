package offline

import (
	"fmt"
	"strconv"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
)

// PrintFilm describes a film to a person.
func PrintFilm(out terminal.Console, r advice.FilmReport) error {
	name := r.Name
	if name == "" {
		name = "Film"
	}
	var b strings.Builder
	fmt.Fprintf(
		&b,
		"%s: %g ft, oil to %g ft, %.3f mL, class %s (%s)\n\n",
		name,
		r.LengthFt,
		r.OiledFt,
		r.VolumeUL/1000,
		r.Class,
		advice.RatioText(r.Ratios[0]),
	)
	ratios := terminal.NewTable("ratio", "value>", "right>", "left>", "inside uL>", "outside uL>", "taken as")
	for _, ratio := range r.Ratios {
		ratios.Add(
			ratio.Definition.Key,
			advice.RatioText(ratio),
			terminal.Decimals(ratio.RightValue, 2),
			terminal.Decimals(ratio.LeftValue, 2),
			terminal.Decimals(ratio.InsideUL, 1),
			terminal.Decimals(
				ratio.OutsideUL,
				1,
			),
			fmt.Sprintf("%s; %s (%s)", ratio.Definition.Text, ratio.Definition.Source, ratio.Definition.Date),
		)
	}
	classes := terminal.NewTable("class", "thresholds", "sport to>", "house from>", "date and source")
	for _, one := range r.Classes {
		house := ""
		if one.Thresholds.HouseMin > 0 {
			house = terminal.Decimals(one.Thresholds.HouseMin, 0)
		}
		classes.Add(
			string(one.Class),
			one.Thresholds.Key,
			terminal.Decimals(one.Thresholds.SportMax, 0),
			house,
			one.Thresholds.Date+"; "+one.Thresholds.Source,
		)
	}
	for _, list := range []*terminal.Table{ratios, classes, boardTable(r), footTable(r)} {
		b.WriteString(list.Text(out.Width(), out.Colourful()) + "\n")
	}
	for _, assumption := range r.Assumptions {
		fmt.Fprintf(&b, "%s\n", assumption)
	}
	return out.Print(b.String())
}

// boardTable has a board from the right gutter and its counterpart from the left one a row, with
// what lies on each.
func boardTable(r advice.FilmReport) *terminal.Table {
	list := terminal.NewTable("board>", "right uL>", "left uL>")
	boards := len(r.BoardUL)
	for i := range (boards + 1) / 2 {
		left := ""
		if i != boards-1-i {
			left = terminal.Decimals(r.BoardUL[boards-1-i], 1)
		}
		list.Add(strconv.Itoa(i+1), terminal.Decimals(r.BoardUL[i], 1), left)
	}
	return list
}

// footTable has the volume of each ten feet, foot by foot.
func footTable(r advice.FilmReport) *terminal.Table {
	const across = 10
	names := []string{"feet>"}
	for i := range across {
		names = append(names, fmt.Sprintf("+%d uL>", i))
	}
	list := terminal.NewTable(names...)
	for from := 0; from < len(r.FootUL); from += across {
		row := []string{strconv.Itoa(from)}
		for _, ul := range r.FootUL[from : from+across] {
			row = append(row, terminal.Decimals(ul, 1))
		}
		list.Add(row...)
	}
	return list
}
