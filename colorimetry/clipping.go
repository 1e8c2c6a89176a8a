package colorimetry

import (
	"fmt"
	"strings"
)

// Clipping is how much of a region lies at the ends of the scale, where a camera
// cuts light off: shares 0..1 of the pixels with code 0 and with code 255, each
// in the channel that has most of them.
type Clipping struct{ Low, High float64 }

// Shares from which on clipping is warned of. What was lighter than 255 may have
// been lighter by any amount, so one pixel in a hundred counts. Code 0 of a color
// inside sRGB hides at most 0.5/255/12.92 = 0.015 % of the light; only many of
// them tell of a picture too dark, or of a color outside sRGB, such as a deep
// blue, whose negative channel was cut off. (Both by that arithmetic; no source.)
const (
	clippedHigh = 0.01
	clippedLow  = 0.10
)

// Warning returns nil, or says that so many pixels are clipped that their mean
// is doubtful: more than 1 % with code 255, or more than 10 % with code 0.
func (c Clipping) Warning() error {
	var parts []string
	if c.High > clippedHigh {
		parts = append(parts, fmt.Sprintf("%.0f %% of the pixels have a channel at 255, where the camera cuts lighter colors off: expose less", 100*c.High))
	}
	if c.Low > clippedLow {
		parts = append(parts, fmt.Sprintf("%.0f %% of the pixels have a channel at 0: the picture is too dark, or the color lies outside sRGB", 100*c.Low))
	}
	if parts == nil {
		return nil
	}
	return fmt.Errorf("clipped: %s", strings.Join(parts, "; "))
}

// clipping returns the shares of the ends of the scale among n pixels.
func (h *histogram) clipping(n int) Clipping {
	var c Clipping
	for channel := range 3 {
		share := func(code int) float64 {
			return float64(uint64(h[0][channel][code])+uint64(h[1][channel][code])) / float64(max(n, 1))
		}
		c.Low, c.High = max(c.Low, share(0)), max(c.High, share(255))
	}
	return c
}
