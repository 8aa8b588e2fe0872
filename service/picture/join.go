package picture

import "fmt"

// Join sets scenes beside each other, or below each other, into one scene with a title of its own.
func Join(title string, beside bool, scenes ...Scene) Scene {
	joined := Scene{Title: clean(title)}
	for i, s := range scenes {
		dx, dy := 0.0, 0.0
		if i > 0 && beside {
			dx = joined.Width
		} else if i > 0 {
			dy = joined.Height
		}
		for _, element := range s.Elements {
			element.Shape = moved(element.Shape, dx, dy)
			joined.Elements = append(joined.Elements, element)
		}
		joined.Width, joined.Height = max(joined.Width, dx+s.Width), max(joined.Height, dy+s.Height)
		if i > 0 {
			joined.Desc += " "
		}
		joined.Desc += s.Title + ": " + s.Desc
	}
	return joined
}

// moved returns the shape at another place.
func moved(shape Shape, dx, dy float64) Shape {
	switch s := shape.(type) {
	case Rect:
		s.X, s.Y = s.X+dx, s.Y+dy
		return s
	case Rects:
		list := make(Rects, len(s))
		for i, r := range s {
			list[i] = moved(r, dx, dy).(Rect)
		}
		return list
	case Circle:
		s.X, s.Y = s.X+dx, s.Y+dy
		return s
	case Text:
		s.X, s.Y = s.X+dx, s.Y+dy
		return s
	case Poly:
		lines := make([][]XY, len(s.Lines))
		for i, line := range s.Lines {
			lines[i] = make([]XY, len(line))
			for k, p := range line {
				lines[i][k] = XY{p.X + dx, p.Y + dy}
			}
		}
		s.Lines = lines
		return s
	}
	panic(fmt.Sprintf("picture: a %T cannot be moved", shape))
}
