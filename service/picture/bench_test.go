package picture

import (
	"bytes"
	"testing"
)

// Each benchmark lays out and writes one demo: all of what a request for the picture costs.

func BenchmarkSVG(b *testing.B) {
	for _, d := range demos(b) {
		b.Run(d.name, func(b *testing.B) {
			for b.Loop() {
				scene, err := d.picture.Scene()
				if err != nil {
					b.Fatal(err)
				}
				b.SetBytes(int64(len(scene.SVG())))
			}
		})
	}
}

func BenchmarkPNG(b *testing.B) {
	for _, d := range demos(b) {
		b.Run(d.name, func(b *testing.B) {
			for b.Loop() {
				scene, err := d.picture.Scene()
				if err != nil {
					b.Fatal(err)
				}
				var out bytes.Buffer
				if err := scene.WritePNG(&out, 2); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
