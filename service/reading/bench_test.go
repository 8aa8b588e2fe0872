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
