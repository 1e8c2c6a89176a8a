package main

import (
	"bytes"
	"fmt"
	"image"
	"path/filepath"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
)

// isImage recognizes PNG and JPEG by their first bytes.
func isImage(data []byte) bool {
	return bytes.HasPrefix(data, []byte("\x89PNG\r\n")) || bytes.HasPrefix(data, []byte("\xff\xd8\xff"))
}

// otherPicture names the format of a picture that is not read, "" of anything else.
// The first bytes are those of the formats' specifications (from memory).
func otherPicture(data []byte) string {
	at := func(i int, text string) bool { return len(data) >= i && bytes.HasPrefix(data[i:], []byte(text)) }
	switch {
	case at(0, "II*\x00"), at(0, "MM\x00*"):
		return "TIFF or raw"
	case at(0, "RIFF") && at(8, "WEBP"):
		return "WebP"
	case at(0, "GIF8"):
		return "GIF"
	case at(4, "ftypavif"), at(4, "ftypavis"):
		return "AVIF"
	case at(4, "ftyphei"), at(4, "ftyphev"), at(4, "ftypmif1"), at(4, "ftypmsf1"):
		return "HEIC"
	}
	return ""
}

// swatchJSON is what an image region tells beside its mean.
type swatchJSON struct {
	Region       [4]int  `json:"region"` // x, y, width, height
	Pixels       int     `json:"pixels"`
	SDL          float64 `json:"sd_L"`
	SDA          float64 `json:"sd_a"`
	SDB          float64 `json:"sd_b"`
	Pale         float64 `json:"pale"`
	Dark         float64 `json:"dark"`
	UniformityDE float64 `json:"uniformity_de"`
	WorstDE      float64 `json:"worst_de"`
	Calibrated   bool    `json:"calibrated"`

	ClippedLow  float64    `json:"clipped_low"` // shares of pixels with code 0 and 255
	ClippedHigh float64    `json:"clipped_high"`
	Chart       *chartJSON `json:"chart,omitempty"`
}

// imageColors measures an image, or a region of it.
func (e *env) imageColors(name string, data []byte, f convertFlags) ([]color, *swatchJSON, error) {
	srgb := colorimetry.SRGBViewing()
	for _, v := range f.viewings {
		if v != srgb {
			return nil, nil, usage("%s is an image, whose colors are %s by definition; measure spectra for %s", shown(name), srgb, v)
		}
	}
	im, err := colorimetry.ReadImage(bytes.NewReader(data), 0)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", shown(name), err)
	}
	e.warnAll(im.Warnings)
	var region image.Rectangle
	if f.region != "" {
		if region, err = colorimetry.ParseRegion(f.region); err != nil {
			return nil, nil, usage("--region: %w", err)
		}
	}
	opt := colorimetry.SwatchOptions{Workers: -1}
	if f.chart != "" {
		if f.region == "" {
			return nil, nil, usage("--chart needs --region, the place of the cloth beside the chart")
		}
		if opt.Correction, err = e.chart(f, im, region); err != nil {
			return nil, nil, err
		}
	}
	s, err := colorimetry.MeasureSwatch(im, region, opt)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", shown(name), err)
	}
	e.warnAll(s.Warnings)
	r := s.Region
	return []color{{id: filepath.Base(shown(name)), viewing: srgb, xyz: s.XYZ, lab: s.Mean}},
		&swatchJSON{[4]int{r.Min.X, r.Min.Y, r.Dx(), r.Dy()}, s.Pixels, s.SDL, s.SDA, s.SDB, s.Pale, s.Dark, s.UniformityDE, s.WorstDE, s.Calibrated,
			s.Clipped.Low, s.Clipped.High, newChartJSON(opt.Correction)}, nil
}

// text says in words what the spread means.
func (s *swatchJSON) text() string {
	t := report.Table{Left: []bool{true, true}}
	t.Add("region", fmt.Sprintf("%d × %d pixels at %d,%d", s.Region[2], s.Region[3], s.Region[0], s.Region[1]))
	t.Add("spread of pixels", fmt.Sprintf("sd of L* %.1f, a* %.1f, b* %.1f", s.SDL, s.SDA, s.SDB))
	t.Add("salt and pepper", fmt.Sprintf("%s pale, %s dark (more than 10 in L* from the mean)", report.Percent(s.Pale), report.Percent(s.Dark)))
	t.Add("uniformity", fmt.Sprintf("mean ΔE00 %.2f of the cells from the whole, worst %.2f", s.UniformityDE, s.WorstDE))
	if c := s.Chart; c != nil {
		t.Add("calibration", fmt.Sprintf("%s, by %d patches: each predicted from the others with ΔE00 %.1f on average, %.1f at most (patch %s)", c.Model, c.Patches, c.LOOMean, c.LOOMax, c.Worst))
	} else {
		t.Add("calibration", "none: the numbers are as good as the camera's sRGB; with a color chart in the picture, --chart corrects them")
	}
	return t.String()
}
