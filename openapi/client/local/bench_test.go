package local_test

import (
	"testing"

	"laneward/openapi/client"
)

// A shot that is logged: on the disk when it returns.
func BenchmarkPut(b *testing.B) {
	c := newWorld(b).newSquad()
	base := c.newBase()
	n := 0
	for b.Loop() {
		n++
		c.log(base, n)
	}
}

const benchShots = 5000

// Sending a queue of shots, and another device's first copy of them.
func BenchmarkSync(b *testing.B) {
	c := newWorld(b).newSquad()
	base := c.newBase()
	c.once()
	n := 0
	sent, copied := 0.0, 0.0
	for b.Loop() {
		b.StopTimer()
		for range benchShots {
			n++
			c.log(base, n%100_000+1)
		}
		b.StartTimer()
		before := b.Elapsed()
		c.once()
		sent += (b.Elapsed() - before).Seconds()
		b.StopTimer()
		other := c.another(c.address)
		b.StartTimer()
		before = b.Elapsed()
		other.once()
		copied += (b.Elapsed() - before).Seconds()
		if shots, err := other.store.Records(b.Context(), other.squad, client.Shot); err != nil || len(shots) != n {
			b.Fatalf("%d shots, %v; want %d", len(shots), err, n)
		}
	}
	b.ReportMetric(float64(n)/sent, "sent/s")
	b.ReportMetric(float64(benchShots)*float64(b.N)*float64(b.N+1)/2/copied, "copied/s")
}
