package picture

import (
	"bytes"
	"flag"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden pictures anew: look at them before you commit them")

func TestGoldenPictures(t *testing.T) {
	for _, d := range demos(t) {
		t.Run(d.name, func(t *testing.T) {
			scene, err := d.picture.Scene()
			if err != nil {
				t.Fatal(err)
			}
			var raster bytes.Buffer
			if err := scene.WritePNG(&raster, 1); err != nil {
				t.Fatal(err)
			}
			svgFile, pngFile := filepath.Join("testdata", d.name+".svg"), filepath.Join("testdata", d.name+".png")
			if *update {
				for file, data := range map[string][]byte{svgFile: scene.SVG(), pngFile: raster.Bytes()} {
					if err := os.WriteFile(file, data, 0o644); err != nil {
						t.Fatal(err)
					}
				}
				return
			}
			want, err := os.ReadFile(svgFile)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), string(scene.SVG())); diff != "" {
				t.Errorf("svg differs from %s (-want +got):\n%s", svgFile, diff)
			}
			comparePixels(t, pngFile, raster.Bytes())
		})
	}
}

// comparePixels lets a pixel's channel differ by 8 of 255, as smoothing may round differently on
// another processor, and one pixel in ten thousand by more.
func comparePixels(t *testing.T, file string, got []byte) {
	t.Helper()
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	wantImage, gotImage := decode(t, want), decode(t, got)
	if wantImage.Bounds() != gotImage.Bounds() {
		t.Fatalf("%s is %v, the picture %v", file, wantImage.Bounds(), gotImage.Bounds())
	}
	off := 0
	for y := range wantImage.Bounds().Dy() {
		for x := range wantImage.Bounds().Dx() {
			if channelGap(wantImage, gotImage, x, y) > 8 {
				off++
			}
		}
	}
	if limit := wantImage.Bounds().Dx() * wantImage.Bounds().Dy() / 10000; off > limit {
		t.Errorf("%d pixels differ from %s, more than %d", off, file, limit)
	}
}

func decode(t *testing.T, data []byte) image.Image {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// channelGap is the largest difference of a channel, 0 to 255.
func channelGap(a, b image.Image, x, y int) int {
	ar, ag, ab, aa := a.At(x, y).RGBA()
	br, bg, bb, ba := b.At(x, y).RGBA()
	gap := 0
	for _, pair := range [][2]uint32{{ar, br}, {ag, bg}, {ab, bb}, {aa, ba}} {
		gap = max(gap, int(max(pair[0], pair[1])-min(pair[0], pair[1]))>>8)
	}
	return gap
}
