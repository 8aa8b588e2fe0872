package line

import (
	"context"
	"testing"
	"time"
)

// A full miss map: 33 x 91 aims, 64 draws each and the usual delivery.
func BenchmarkMap(b *testing.B) {
	request, grid := usual(b, "house_like.json"), DefaultGrid()
	request.Draws = 64
	for range b.N {
		if _, err := Map(context.Background(), request, grid, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*33*91*65/b.Elapsed().Seconds(), "paths/s")
}

// A plan over 12 lanes that may be, and the time to its first ranked lines.
func BenchmarkFind(b *testing.B) {
	for _, film := range []string{"house_like.json", "flat_long.json"} {
		b.Run(film, func(b *testing.B) {
			request := freshLanes(readFilm(b, film), athletes()[0])
			var first time.Duration
			for range b.N {
				start := time.Now()
				_, err := Find(context.Background(), request, func(p Progress) {
					if len(p.Lines) > 0 {
						first += time.Since(start)
					}
				})
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(first.Microseconds())/1000/float64(b.N), "ms-to-first-lines")
		})
	}
}
