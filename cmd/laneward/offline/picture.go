package offline

import (
	"bytes"
	"fmt"

	"laneward/cmd/laneward/terminal"
	"laneward/service/advice"
	"laneward/service/picture"
)

// PictureFlags are the files that a picture is written to.
type PictureFlags struct {
	SVG     string `name:"svg" type:"path" placeholder:"FILE" help:"Write the picture to this file as SVG."`
	PNG     string `name:"png" type:"path" placeholder:"FILE" help:"Write the picture to this file as PNG."`
	WidthPx int    `name:"width-px" default:"390" placeholder:"PX" help:"How wide the picture is laid out, 320 to 1600 (${default}: a phone)."`
}

// Draw writes a picture to the files that were asked for.
func (f PictureFlags) Draw(out terminal.Console, draw func() (picture.Scene, error)) error {
	if f.SVG == "" && f.PNG == "" {
		return nil
	}
	scene, err := draw()
	if err != nil {
		return fmt.Errorf("draw the picture: %w", err)
	}
	if f.SVG != "" {
		if err := out.WriteFile(f.SVG, scene.SVG()); err != nil {
			return err
		}
	}
	if f.PNG != "" {
		var png bytes.Buffer
		if err := scene.WritePNG(&png, advice.PNGScale); err != nil {
			return fmt.Errorf("draw the picture: %w", err)
		}
		return out.WriteFile(f.PNG, png.Bytes())
	}
	return nil
}
