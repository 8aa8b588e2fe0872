package motion

// Zone is a stretch of lane of one friction coefficient that ends at ToFt.
type Zone struct {
	ToFt float64
	Mu   float64
}

// Zones is a lane of zones from the foul line on, by rising ToFt; the last one reaches on without
// end.
func Zones(zones ...Zone) Surface {
	var breaks []float64
	for _, zone := range zones {
		breaks = append(breaks, zone.ToFt)
	}
	return NewSurface(func(_, ft float64) float64 {
		for _, zone := range zones {
			if ft < zone.ToFt {
				return zone.Mu
			}
		}
		return zones[len(zones)-1].Mu
	}, breaks...)
}
