package trend

import (
	"fmt"
	"math"
)

// OddsRatio is how many times higher the odds of a hit are in one sample than in another.
type OddsRatio struct {
	Ratio float64 `json:"ratio"`
	Interval
}

// Odds returns the odds ratio of hitsA among ofA against hitsB among ofB with Woolf's interval at
// normal quantile z, on the log scale. Where a cell is empty, half a shot is added to each (Haldane
// and Anscombe), so that the ratio is finite. It panics unless 0 <= hits <= of and z > 0.
//
// Sources: B. Woolf 1955, Ann. Hum. Genet. 19:251-253; J. B. S. Haldane 1956, ibid. 20:309-311
// (from memory).
func Odds(hitsA, ofA, hitsB, ofB int, z float64) OddsRatio {
	if hitsA < 0 || hitsA > ofA || hitsB < 0 || hitsB > ofB || !(z > 0) {
		panic(fmt.Sprintf("trend: there are no odds of %d of %d against %d of %d at z = %v", hitsA, ofA, hitsB, ofB, z))
	}
	cells := [4]float64{float64(hitsA), float64(ofA - hitsA), float64(hitsB), float64(ofB - hitsB)}
	if cells[0] == 0 || cells[1] == 0 || cells[2] == 0 || cells[3] == 0 {
		for i := range cells {
			cells[i] += 0.5
		}
	}
	ratio := cells[0] * cells[3] / (cells[1] * cells[2])
	half := z * math.Sqrt(1/cells[0]+1/cells[1]+1/cells[2]+1/cells[3])
	return OddsRatio{ratio, Interval{ratio * math.Exp(-half), ratio * math.Exp(half)}}
}
