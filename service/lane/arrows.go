package lane

import "math"

// Arrows are the distances of the seven arrows from the foul line in feet: those on boards 5 and
// 35, 10 and 30, 15 and 25, and the one on board 20.
type Arrows [4]float64

// DefaultArrows is 12.5, 13.6, 14.7 and 15.8 ft: from memory, with low confidence; makers differ.
func DefaultArrows() Arrows { return Arrows{12.5, 13.6, 14.7, 15.8} }

// Ft returns where a target on a board lies among the arrows: on the straight line between the two
// arrows beside it, outside boards 5 and 35 as far as those.
func (a Arrows) Ft(board float64) float64 {
	place := min(max((CentreBoard-math.Abs(board-CentreBoard))/5-1, 0), 3)
	i := min(int(place), 2)
	return a[i] + (place-float64(i))*(a[i+1]-a[i])
}
