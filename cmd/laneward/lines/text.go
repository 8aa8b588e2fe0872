package lines

import (
	"fmt"
	"strconv"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
	"laneward/service/line"
)

func printPlan(out terminal.Console, plan *advice.Plan) error {
	if !out.Quiet {
		if err := out.Print(heading(plan.Subject)); err != nil {
			return err
		}
	}
	if len(plan.Lines) == 0 {
		text := plan.Note + "\n"
		if !out.Quiet {
			text += assumed(plan.Subject)
		}
		return out.Print(text)
	}
	if err := out.PrintTable(table(plan.Lines)); err != nil {
		return err
	}
	if out.Quiet {
		return nil
	}
	var b strings.Builder
	b.WriteString("\n")
	if plan.Note != "" {
		fmt.Fprintf(&b, "%s\n", plan.Note)
	}
	if plan.Ties != "" {
		fmt.Fprintf(&b, "%s\n", plan.Ties)
	}
	for _, one := range plan.Lines {
		fmt.Fprintf(&b, "%d: %s\n", one.Rank, one.Reason)
	}
	if plan.OutOfBoundsBoard > 0 {
		fmt.Fprintf(
			&b,
			"Beyond 30 ft a ball outside board %.1f does not come back.\n",
			plan.OutOfBoundsBoard,
		)
	}
	return out.Print(b.String() + assumed(plan.Subject))
}

func table(lines []advice.PlannedLine) *terminal.Table {
	list := terminal.NewTable(
		"rank>",
		"feet>",
		"target>",
		"laydown>",
		"launch>",
		"breakpoint>",
		"entry>",
		"pins/frame>",
		"pocket>",
		"head pin>",
		"split>",
		"gutter>",
		"room>",
		"drill",
	)
	for _, one := range lines {
		list.Add(
			strconv.Itoa(one.Rank)+equalMark(one),
			terminal.Decimals(one.FeetBoard, 1),
			terminal.Decimals(one.TargetBoard, 1),
			terminal.Decimals(one.LaydownBoard, 1),
			terminal.Decimals(one.LaunchAngleDeg, 2)+" deg",
			breakpointText(one),
			fmt.Sprintf("%.1f, %.1f deg", one.Path.PinBoard, one.Path.EntryAngleDeg),
			fmt.Sprintf("%.1f +- %.1f", one.Pins, one.StandardError),
			terminal.Percent(one.PocketShare),
			terminal.Percent(one.HeadPinShare),
			terminal.Percent(one.SplitShare),
			terminal.Percent(one.GutterShare),
			fmt.Sprintf("%g / %g", one.RoomOutsideBoards, one.RoomInsideBoards),
			drillText(one),
		)
	}
	return list
}

// equalMark marks the lines that cannot be distinguished from one another.
func equalMark(one advice.PlannedLine) string {
	if one.Equal {
		return "="
	}
	return ""
}

func breakpointText(one advice.PlannedLine) string {
	if one.Breakpoint == nil {
		return "none"
	}
	return fmt.Sprintf("%.1f at %.0f ft", one.Breakpoint.Board, one.Breakpoint.Ft)
}

// drillText is the drill of a line, and what aiming perfectly would keep of it.
func drillText(one advice.PlannedLine) string {
	if one.Drill == nil {
		return "none: the typical delivery misses the pocket's boards"
	}
	return fmt.Sprintf(
		"%s (aiming perfectly keeps %s)",
		one.Drill.Sentences[0],
		terminal.Percent(one.Drill.KeptShare),
	)
}

// heading says whose line it is, with what, on what.
func heading(s advice.Subject) string {
	worn := ""
	if s.Wear != nil {
		worn = fmt.Sprintf(", worn by %d shots", s.Wear.Passes)
	}
	r, side := s.Release, string(s.Athlete.Side)
	return fmt.Sprintf(
		"%s on %s (%g ft, %.1f mL, %s%s) with %s\n"+
			"%s-handed, %g mph, %g rpm, rotation %g, tilt %g degrees; scatter at the arrows %.1f boards, %s\n\n",
		s.Athlete.Heading(),
		s.Pattern.Name,
		s.Pattern.LengthFt,
		s.Pattern.VolumeUL/1000,
		s.Pattern.Class,
		worn,
		s.Ball.Name,
		strings.ToUpper(side[:1])+side[1:],
		r.SpeedMPH,
		r.RevRateRPM,
		r.RotationDeg,
		r.TiltDeg,
		s.Scatter.ArrowsBoards,
		scatterText(s.Scatter),
	)
}

// scatterText says where a scatter comes from.
func scatterText(s advice.SubjectScatter) string {
	switch {
	case s.Stated:
		return "as stated"
	case s.Shots == 0:
		return "assumed: no shots are stored"
	}
	return "from " + terminal.Things(s.Shots, "stored shot")
}

// assumed lists the assumptions, once where several subjects share one.
func assumed(subjects ...advice.Subject) string {
	var b strings.Builder
	b.WriteString("\nAssumptions:\n")
	listed := make(map[string]bool)
	for _, s := range subjects {
		for _, assumption := range s.Assumptions {
			if !listed[assumption] {
				fmt.Fprintf(&b, "  %s\n", assumption)
			}
			listed[assumption] = true
		}
	}
	return b.String()
}

func printStudy(out terminal.Console, s *advice.Study) error {
	misses := terminal.NewTable("miss>", "side", "toward", "what it does", "pins>", "entry>", "outermost>")
	for _, miss := range s.Misses {
		pins, entry := "", ""
		if miss.PinBoard != 0 {
			pins, entry = terminal.Decimals(miss.PinBoard, 1), terminal.Decimals(miss.EntryAngleDeg, 1)+" deg"
		}
		misses.Add(
			strconv.Itoa(miss.Boards),
			miss.Side,
			miss.Toward,
			string(miss.Hit),
			pins,
			entry,
			terminal.Decimals(miss.BreakpointBoard, 1),
		)
	}
	text := misses.Text(out.Width(), out.Colourful())
	if out.Quiet {
		return out.Print(text)
	}
	lines := []advice.PlannedLine{{Line: s.Line, Drill: s.Drill}}
	above := heading(s.Subject) + table(lines).Text(out.Width(), out.Colourful())
	return out.Print(above + "\n" + s.Reason + "\n\n" + text + assumed(s.Subject))
}

func printComparison(out terminal.Console, both *advice.Comparison) error {
	var b strings.Builder
	for _, side := range sidesOf(both) {
		if !out.Quiet {
			fmt.Fprintf(&b, "%s: %s", side.name, heading(side.plan.Subject))
		}
		if len(side.plan.Lines) > 0 {
			b.WriteString(table(side.plan.Lines).Text(out.Width(), out.Colourful()))
		} else {
			b.WriteString(side.plan.Note + "\n")
		}
		if side.carried != nil && !out.Quiet {
			fmt.Fprintf(
				&b,
				"\nThe line of %s here: %.1f pins a frame, %s of the shots reach the pocket, the typical delivery ends %s.\n",
				side.other,
				side.carried.Pins,
				terminal.Percent(side.carried.PocketShare),
				hitText(side.carried.Hit, side.carried.PinBoard, side.carried.EntryAngleDeg),
			)
		}
		b.WriteString("\n")
	}
	b.WriteString(both.Summary + "\n")
	if !out.Quiet {
		b.WriteString(assumed(both.A.Subject, both.B.Subject))
	}
	return out.Print(b.String())
}

// comparedSide is one side of a comparison, and the other one's line as it runs there.
type comparedSide struct {
	name, other string
	plan        *advice.Plan
	carried     *line.Carried
}

func sidesOf(both *advice.Comparison) []comparedSide {
	return []comparedSide{{"A", "B", both.A, both.BOnA}, {"B", "A", both.B, both.AOnB}}
}

func hitText(hit line.Hit, pinBoard, entryAngleDeg float64) string {
	if pinBoard == 0 {
		return string(hit)
	}
	return fmt.Sprintf("at board %.1f and %.1f degrees (%s)", pinBoard, entryAngleDeg, hit)
}

func printMissMap(out terminal.Console, m *advice.MissMap) error {
	list := terminal.NewTable(
		"laydown>",
		"best angle>",
		"pins/frame>",
		"pocket>",
		"gutter>",
		"typical delivery",
		"half as good from>",
		"to>",
	)
	for i, laydown := range m.Grid.LaydownBoards {
		best := 0
		for j, cell := range m.Cells[i] {
			if cell.PocketShare > m.Cells[i][best].PocketShare {
				best = j
			}
		}
		cell := m.Cells[i][best]
		if cell.PocketShare == 0 {
			list.Add(terminal.Decimals(laydown, 1), "", "", terminal.Percent(0), "", "", "", "")
			continue
		}
		from, to := best, best
		for from > 0 && m.Cells[i][from-1].PocketShare >= cell.PocketShare/2 {
			from--
		}
		for to+1 < len(m.Cells[i]) && m.Cells[i][to+1].PocketShare >= cell.PocketShare/2 {
			to++
		}
		angle := func(j int) string { return terminal.Decimals(m.Grid.LaunchAnglesDeg[j], 1) + " deg" }
		list.Add(
			terminal.Decimals(laydown, 1),
			angle(best),
			terminal.Decimals(cell.Pins, 1),
			terminal.Percent(cell.PocketShare),
			terminal.Percent(cell.GutterShare),
			hitText(cell.Hit, cell.PinBoard, cell.EntryAngleDeg),
			angle(from),
			angle(to),
		)
	}
	text := list.Text(out.Width(), out.Colourful())
	if out.Quiet {
		return out.Print(text)
	}
	best := ""
	if len(m.Lines) > 0 {
		best = "\nThe best lines:\n" + table(m.Lines).Text(out.Width(), out.Colourful())
	}
	return out.Print(heading(m.Subject) + text + best + assumed(m.Subject))
}
