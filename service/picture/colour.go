package picture

import (
	"encoding/hex"
	"fmt"
	"math"
)

// Colour is a straight (not premultiplied) sRGB colour; alpha 0 is not drawn.
type Colour struct{ R, G, B, A uint8 }

// Hex returns the colour as #rrggbb, without its alpha.
func (c Colour) Hex() string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// alpha returns the colour with an opacity of 0 to 1.
func (c Colour) alpha(opacity float64) Colour {
	c.A = uint8(math.Round(255 * opacity))
	return c
}

func rgb(hexCode uint32) Colour {
	return Colour{R: uint8(hexCode >> 16), G: uint8(hexCode >> 8), B: uint8(hexCode), A: 255} //nolint:gosec // a byte each
}

// The palette. Blue and vermilion are those of Okabe and Ito's set for colour-blind readers (Color
// Universal Design, 2008; values from memory), darkened to a contrast of 4.5:1 against white.
var (
	white     = rgb(0xffffff)
	ink       = rgb(0x18212b) // text, lines
	inkSoft   = rgb(0x4a5563) // secondary text
	maple     = rgb(0xf7ecd8) // bare lane
	mapleSeam = rgb(0xe3d2b2)
	mapleDark = rgb(0x8a6a3a) // arrows
	gutter    = rgb(0xb4bcc6)
	blue      = rgb(0x005a96)
	vermilion = rgb(0xb83a00)
	notKnown  = rgb(0xd9dde2)
	amber     = rgb(0xffd23f) // breakpoints
	mist      = rgb(0xeef1f5) // pin deck, empty part of a bar
)

// Cividis returns the colour of a share 0 to 1 (clamped; NaN counts as 0) on the cividis map, dark
// blue to yellow, whose perceived lightness rises evenly for readers with and without colour-vision
// deficiency. Source: Nuñez, Anderton and Renslow, PLoS ONE 13(7): e0199239 (2018); the 256
// published values as distributed with Matplotlib 3.6, linearly interpolated.
func Cividis(share float64) Colour {
	if !(share > 0) {
		share = 0
	}
	at := min(share, 1) * 255
	low := min(int(at), 254)
	part := at - float64(low)
	mix := func(a, b byte) uint8 { return uint8(math.Round(float64(a) + part*(float64(b)-float64(a)))) }
	a, b := cividis[3*low:], cividis[3*low+3:]
	return Colour{R: mix(a[0], b[0]), G: mix(a[1], b[1]), B: mix(a[2], b[2]), A: 255}
}

var cividis = decodeCividis()

func decodeCividis() []byte {
	values, err := hex.DecodeString(cividisHex)
	if err != nil || len(values) != 3*256 {
		panic(fmt.Sprintf("picture: the cividis table holds %d bytes, want 768: %v", len(values), err))
	}
	return values
}

const cividisHex = "" +
	"00224e00234f00245100255300255400265600275800285900285b00295d002a5f002a61002b62002c64002c66002d68002e6a002e6c002f6d00306f" +
	"0030700031700031710132710533710833700c34700f357012357014367016377018376f1a386f1c396f1e3a6f203a6f213b6e233c6e243c6e263d6e" +
	"273e6e293f6e2a3f6d2b406d2d416d2e416d2f426d31436d32436d33446d34456c35456c36466c38476c39486c3a486c3b496c3c4a6c3d4a6c3e4b6c" +
	"3f4c6c404c6c414d6c424e6c434e6c444f6c45506c46516c47516c48526c49536c4a536c4b546c4c556c4d556c4e566c4f576c50576c51586d52596d" +
	"535a6d545a6d555b6d555c6d565c6d575d6d585e6d595e6e5a5f6e5b606e5c616e5d616e5e626e5e636f5f636f60646f61656f62656f636670646770" +
	"656870656870666970676a71686a71696b716a6c716b6d726c6d726c6e726d6f726e6f736f7073707173717274727274727374737475747475757575" +
	"7676767777767777777878777979777a7a787b7a787c7b787d7c787e7c787e7d787f7e78807f78817f78828079838179848279858279868379878478" +
	"8885788985788a86788b87788c88788d88788e89788f8a78908b78918b78928c78928d78938e78948e77958f779690779791779892779992779a9376" +
	"9b94769c95769d95769e96769f9775a09875a19975a29975a39a74a49b74a59c74a69c74a79d73a89e73a99f73aaa073aba072aca172ada272aea371" +
	"afa471b0a571b1a570b3a670b4a76fb5a86fb6a96fb7a96eb8aa6eb9ab6dbaac6dbbad6dbcae6cbdae6cbeaf6bbfb06bc0b16ac1b26ac2b369c3b369" +
	"c4b468c5b568c6b667c7b767c8b866c9b965cbb965ccba64cdbb63cebc63cfbd62d0be62d1bf61d2c060d3c05fd4c15fd5c25ed6c35dd7c45cd9c55c" +
	"dac65bdbc75adcc859ddc858dec958dfca57e0cb56e1cc55e2cd54e4ce53e5cf52e6d051e7d150e8d24fe9d34eead34cebd44bedd54aeed649efd748" +
	"f0d846f1d945f2da44f3db42f5dc41f6dd3ff7de3ef8df3cf9e03afbe138fce236fde334fee434fee535fee636fee838"
