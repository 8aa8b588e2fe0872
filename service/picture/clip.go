package picture

func (r Rect) holds(p XY) bool {
	return p.X >= r.X && p.X <= r.X+r.W && p.Y >= r.Y && p.Y <= r.Y+r.H
}

// clipLine returns the parts of a line inside a rectangle, after Liang and Barsky (1984): each
// stretch is cut by its parameter at the four edges.
func clipLine(line []XY, r Rect) [][]XY {
	var parts [][]XY
	open := false
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		from, to := 0.0, 1.0
		visible := true
		for _, edge := range [][2]float64{
			{a.X - b.X, a.X - r.X},
			{b.X - a.X, r.X + r.W - a.X},
			{a.Y - b.Y, a.Y - r.Y},
			{b.Y - a.Y, r.Y + r.H - a.Y},
		} {
			slope, room := edge[0], edge[1]
			switch {
			case slope == 0:
				visible = visible && room >= 0
			case slope < 0:
				from = max(from, room/slope)
			default:
				to = min(to, room/slope)
			}
		}
		if !visible || from > to {
			open = false
			continue
		}
		at := func(t float64) XY { return XY{a.X + t*(b.X-a.X), a.Y + t*(b.Y-a.Y)} }
		if !open || from > 0 {
			parts = append(parts, []XY{at(from)})
		}
		parts[len(parts)-1] = append(parts[len(parts)-1], at(to))
		open = to == 1
	}
	return parts
}
