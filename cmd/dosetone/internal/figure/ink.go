package figure

import (
	"fmt"
	"image/color"
	"strconv"
	"strings"

	"example.com/dosetone/colorimetry"
)

// Ink is a color by its role, so that a figure follows the page into the dark.
// A swatch has no role: it shows a measured color and stays as it is.
type Ink struct {
	role        string // of the CSS variable; "" for a swatch
	light, dark string
}

// The roles. Paper to text contrasts are checked by a test against WCAG 2.2.
func inkText() Ink  { return Ink{"ink", "#1d2330", "#e9e6dd"} }
func inkSoft() Ink  { return Ink{"soft", "#565d70", "#a9afbd"} }
func inkRule() Ink  { return Ink{"rule", "#dcd8cc", "#353b48"} }
func inkLine() Ink  { return Ink{"line", "#2f4a8c", "#a3b8f5"} }
func inkHot() Ink   { return Ink{"hot", "#9c3a18", "#f2a07c"} }
func inkGood() Ink  { return Ink{"good", "#246344", "#86cfa4"} }
func inkPaper() Ink { return Ink{"paper", "#fbfaf6", "#14171d"} }
func inkCard() Ink  { return Ink{"card", "#f3f1e9", "#1c2028"} }

func inks() []Ink {
	return []Ink{inkPaper(), inkCard(), inkText(), inkSoft(), inkRule(), inkLine(), inkHot(), inkGood()}
}

// Variables are the CSS declarations of every role in light and in dark.
func Variables() (light, dark string) {
	for _, k := range inks() {
		light += "--" + k.role + ":" + k.light + ";"
		dark += "--" + k.role + ":" + k.dark + ";"
	}
	return light, dark
}

// Rules are the CSS rules of the classes that figures use.
func Rules() string {
	var b strings.Builder
	for _, k := range inks() {
		fmt.Fprintf(&b, ".f-%[1]s{fill:var(--%[1]s)}.s-%[1]s{stroke:var(--%[1]s)}", k.role)
	}
	b.WriteString(".fig text{font-family:system-ui,-apple-system,'Segoe UI',Roboto,'Helvetica Neue',Arial,sans-serif;font-variant-numeric:tabular-nums}" +
		".fig .halo{stroke:var(--paper);stroke-width:3px;stroke-linejoin:round;paint-order:stroke}")
	return b.String()
}

// swatch shows a color as a screen can, clipped to sRGB.
func swatch(c colorimetry.Lab) Ink { return Ink{light: Hex(c)} }

// Hex is the sRGB of a shade as "#rrggbb", as if the screen's white were that
// of its viewing.
func Hex(c colorimetry.Lab) string {
	rgb, _ := colorimetry.LabToSRGB(c)
	q := rgb.Quantize()
	return fmt.Sprintf("#%02x%02x%02x", q.R, q.G, q.B)
}

// rgb is the light color, for files that have no dark side.
func (k Ink) rgb() (r, g, b uint8) {
	v, _ := strconv.ParseUint(strings.TrimPrefix(k.light, "#"), 16, 32)
	return uint8(v >> 16), uint8(v >> 8), uint8(v)
}

func (k Ink) rgba(opacity float64) color.Color {
	r, g, b := k.rgb()
	return color.NRGBA{R: r, G: g, B: b, A: uint8(255*opacity + 0.5)}
}
