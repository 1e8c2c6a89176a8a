// Command photo reads the color of a garment from a picture that shows a color
// chart beside it: the chart's known patches tell what the camera and the light
// did, and the correction says how far it can be trusted.
//
//	go run ./examples/photo
//
// The picture is generated: an invented garment and twelve invented patches as
// a camera with a warm cast and too little exposure might see them. With a
// picture of your own, read it with colorimetry.ReadImage and take the patches'
// known colors from your chart's data sheet, computed for D65/2.
package main

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"io"
	"os"

	"example.com/dosetone/colorimetry"
)

func main() {
	if err := run(os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "photo:", err)
		os.Exit(1)
	}
}

func run(w io.Writer) error {
	file, err := takePicture()
	if err != nil {
		return err
	}
	picture, err := colorimetry.ReadImage(bytes.NewReader(file), 0)
	if err != nil {
		return err
	}
	raw, corrected, c, err := measure(picture)
	if err != nil {
		return err
	}
	fmt.Fprintln(w, "generated picture of an invented garment; all values under", colorimetry.SRGBViewing())
	fmt.Fprintf(w, "as photographed  L* %.1f  a* %.1f  b* %.1f\n", raw.Mean.L, raw.Mean.A, raw.Mean.B)
	fmt.Fprintf(w, "corrected        L* %.1f  a* %.1f  b* %.1f\n", corrected.Mean.L, corrected.Mean.A, corrected.Mean.B)
	fmt.Fprintf(w, "patches predicted from the others: ΔE00 %.1f on average, %.1f at worst\n", c.LeaveOneOutMean, c.LeaveOneOutMax)
	d := colorimetry.CIEDE2000{}.Diff(standard(), corrected.Mean)
	fmt.Fprintf(w, "ΔE00 %.1f from the standard L* %.1f  a* %.1f  b* %.1f\n", d, standard().L, standard().A, standard().B)
	return nil
}

// standard is the buyer's shade, invented.
func standard() colorimetry.Lab { return colorimetry.Lab{L: 48, A: -2.6, B: -9} }

// measure reads the garment with and without the chart's correction.
func measure(picture *colorimetry.Image) (raw, corrected *colorimetry.Swatch, c *colorimetry.ChartCorrection, err error) {
	if raw, err = colorimetry.MeasureSwatch(picture, garmentArea(), colorimetry.SwatchOptions{}); err != nil {
		return nil, nil, nil, err
	}
	var patches []colorimetry.ChartPatch
	for i, known := range chart() {
		away := patchArea(i).Inset(8) // from the edges
		patch, err := colorimetry.ReadPatch(fmt.Sprint(i+1), colorimetry.SRGB8ToXYZ(known), picture.Pixels, away)
		if err != nil {
			return nil, nil, nil, err
		}
		patches = append(patches, patch)
	}
	if c, err = colorimetry.FitChart(colorimetry.Linear, patches); err != nil {
		return nil, nil, nil, err
	}
	corrected, err = colorimetry.MeasureSwatch(picture, garmentArea(), colorimetry.SwatchOptions{Correction: c})
	return raw, corrected, c, err
}

// chart is twelve colors spread over what cloth shows: grays, blues, casts.
func chart() []colorimetry.SRGB8 {
	return []colorimetry.SRGB8{
		{R: 30, G: 30, B: 32}, {R: 80, G: 80, B: 80}, {R: 130, G: 130, B: 128}, {R: 185, G: 185, B: 187}, {R: 232, G: 232, B: 230}, {R: 40, G: 50, B: 80},
		{R: 70, G: 95, B: 135}, {R: 140, G: 165, B: 195}, {R: 120, G: 85, B: 60}, {R: 190, G: 165, B: 90}, {R: 90, G: 130, B: 90}, {R: 150, G: 70, B: 75},
	}
}

func patchArea(i int) image.Rectangle {
	return image.Rect(0, 0, 40, 40).Add(image.Pt(40*(i%6), 40*(i/6)))
}

func garmentArea() image.Rectangle { return image.Rect(0, 80, 240, 200) }

// garment is the true color of the invented garment.
func garment() colorimetry.SRGB8 { return colorimetry.SRGB8{R: 98, G: 117, B: 130} }

// takePicture draws chart and garment as the camera sees them.
func takePicture() ([]byte, error) {
	m := image.NewNRGBA(image.Rect(0, 0, 240, 200))
	fill := func(area image.Rectangle, c colorimetry.SRGB8) {
		for y := area.Min.Y; y < area.Max.Y; y++ {
			for x := area.Min.X; x < area.Max.X; x++ {
				seen := camera(c, x, y)
				copy(m.Pix[m.PixOffset(x, y):], []uint8{seen.R, seen.G, seen.B, 255})
			}
		}
	}
	for i, c := range chart() {
		fill(patchArea(i), c)
	}
	fill(garmentArea(), garment())
	var b bytes.Buffer
	err := png.Encode(&b, m)
	return b.Bytes(), err
}

// camera mixes the channels in linear light, underexposes, and adds a grain.
func camera(c colorimetry.SRGB8, x, y int) colorimetry.SRGB8 {
	q := colorimetry.SRGB8ToXYZ(c)
	seen := colorimetry.XYZ{X: 0.78*q.X + 0.04*q.Y, Y: 0.03*q.X + 0.74*q.Y + 0.01*q.Z, Z: 0.60 * q.Z}
	lab := seen.Lab(colorimetry.SRGBToXYZ(colorimetry.SRGB{R: 1, G: 1, B: 1}))
	lab.L += float64((x*7+y*13)%5-2) * 0.6
	rgb, _ := colorimetry.LabToSRGB(lab)
	return rgb.Quantize()
}
