package colorimetry

import (
	"encoding/binary"
	"errors"
	"image"
)

// MeanColor returns the mean of a region in linear light (D65/2) and the number
// of pixels in it. The region is in pixels from the top left corner, and the
// empty one means the whole image; one that reaches outside is an error. Pixels
// that are not fully opaque are left out; none left is an error.
//
// Averaging codes instead of light would make a mix of dark and pale come out
// too dark: half black, half white reflects 50 %, code 188, not 128.
func MeanColor(m image.Image, region image.Rectangle) (XYZ, int, error) {
	c, n, _, err := meanColor(m, region)
	return c, n, err
}

// meanColor is MeanColor with what is clipped.
func meanColor(m image.Image, region image.Rectangle) (XYZ, int, Clipping, error) {
	r, err := inside(m, region)
	if err != nil {
		return XYZ{}, 0, Clipping{}, err
	}
	// Counting codes is exact and leaves 256 values to linearize.
	h := new(histogram)
	line := make([]SRGB8, r.Dx())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		h.add(m, y, r.Min.X, r.Max.X, line)
	}
	c, n := h.mean()
	if n == 0 {
		return XYZ{}, 0, Clipping{}, errTransparent
	}
	return c.xyz(), n, h.clipping(n), nil
}

var (
	errTransparent = errors.New("the region has no opaque pixel")
	errNoImage     = errors.New("there is no image to measure")
)

// histogram counts the codes of each channel. Even and odd pixels are counted
// apart, so that equal neighbors need not wait for each other's count.
type histogram [2][3][256]uint32

func (h *histogram) add(m image.Image, y, x0, x1 int, line []SRGB8) {
	switch m := m.(type) {
	case *image.NRGBA:
		h.addOpaque(m.Pix[m.PixOffset(x0, y):][:4*(x1-x0)])
	case *image.RGBA:
		h.addOpaque(m.Pix[m.PixOffset(x0, y):][:4*(x1-x0)])
	default:
		for _, p := range line[:row(m, y, x0, x1, line)] {
			h.count(0, uint32(p.R)|uint32(p.G)<<8|uint32(p.B)<<16)
		}
	}
}

// addOpaque counts pixels of four bytes, two at a time.
func (h *histogram) addOpaque(pix []uint8) {
	for len(pix) >= 8 {
		two := binary.LittleEndian.Uint64(pix)
		if two&(0xff<<56|0xff<<24) == 0xff<<56|0xff<<24 {
			h.count(0, uint32(two))
			h.count(1, uint32(two>>32))
		} else {
			h.countOpaque(uint32(two))
			h.countOpaque(uint32(two >> 32))
		}
		pix = pix[8:]
	}
	if len(pix) >= 4 {
		h.countOpaque(binary.LittleEndian.Uint32(pix))
	}
}

func (h *histogram) countOpaque(rgba uint32) {
	if rgba>>24 == 0xff {
		h.count(0, rgba)
	}
}

func (h *histogram) count(part int, rgb uint32) {
	h[part][0][uint8(rgb)]++
	h[part][1][uint8(rgb>>8)]++
	h[part][2][uint8(rgb>>16)]++
}

func (h *histogram) mean() (c linearRGB, n int) {
	t := linearTable()
	var sum [3]float64
	for code := range 256 {
		for channel := range 3 {
			count := uint64(h[0][channel][code]) + uint64(h[1][channel][code])
			sum[channel] += float64(count) * t[code]
			if channel == 0 {
				n += int(count)
			}
		}
	}
	return linearRGB{sum[0], sum[1], sum[2]}.over(n), n
}

func (c linearRGB) over(n int) linearRGB {
	k := 1 / float64(max(n, 1))
	return linearRGB{c.r * k, c.g * k, c.b * k}
}
