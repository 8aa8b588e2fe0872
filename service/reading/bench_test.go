package reading

import "testing"

func BenchmarkRead20(b *testing.B) {
	l := newForeign(3)
	throws, setting := l.probes(20, byEye), l.setting()
	for b.Loop() {
		if _, err := New(setting, throws); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkUpdate(b *testing.B) {
	l := newForeign(3)
	throws := l.probes(21, byEye)
	read, err := New(l.setting(), throws[:20])
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := read.Update(throws[20]); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkWatch(b *testing.B) {
	l := newForeign(3)
	read, err := New(l.setting(), l.probes(6, byEye))
	if err != nil {
		b.Fatal(err)
	}
	watch, throw := read.Watch(0, 0), Throw{Shot: l.shoot(ladder[2], byEye, 7)}
	for range lastStarts {
		watch.Add(throw)
	}
	for b.Loop() {
		watch.Add(throw)
	}
}
