package colorimetry

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	_ "image/jpeg" // JPEG and PNG are the formats read
	_ "image/png"
	"io"
	"iter"
	"strconv"
	"strings"
)

// DefaultMaxPixels limits the images that are read: about what the largest
// cameras give.
const DefaultMaxPixels = 120_000_000

// maxBytesPerPixel bounds the file: no PNG or JPEG worth reading is larger.
const maxBytesPerPixel = 9

// An Image is a decoded PNG or JPEG. Its codes are taken as sRGB.
type Image struct {
	Pixels   image.Image
	Format   string  // "png" or "jpeg"
	Warnings []error // what is assumed, or in the file but not used
}

// maxMetadata bounds what a file may hold besides its pixels.
const maxMetadata = 64 << 20

// ReadImage reads a PNG or JPEG of at most maxPixels in all (0 or less means
// DefaultMaxPixels). Format and size are checked before the rest of the file is read, which
// may have at most 9 bytes per pixel and 64 MiB besides.
//
// Embedded gamma, chromaticities and ICC profiles are not applied: sRGB is
// assumed, and a warning says what was found. The EXIF orientation of a JPEG is
// applied: coordinates are those of the picture as viewers show it.
func ReadImage(r io.Reader, maxPixels int) (*Image, error) {
	if maxPixels <= 0 {
		maxPixels = DefaultMaxPixels
	}
	maxPixels = min(maxPixels, 1<<30) // keeps the limit in bytes from overflowing
	limit := int64(maxPixels)*maxBytesPerPixel + 1<<20
	var data bytes.Buffer
	config, format, err := image.DecodeConfig(io.TeeReader(io.LimitReader(r, min(limit, maxMetadata)), &data))
	if err != nil {
		if errors.Is(err, image.ErrFormat) {
			return nil, errors.New("image: neither PNG nor JPEG")
		}
		return nil, fmt.Errorf("image: %w", err)
	}
	// Compared by division, so that a forged size cannot overflow.
	if config.Width <= 0 || config.Height <= 0 || config.Width > maxPixels/config.Height {
		return nil, fmt.Errorf("image: %d by %d pixels, at most %d in all are read: crop or scale it down", config.Width, config.Height, maxPixels)
	}
	limit = min(limit, int64(config.Width*config.Height)*maxBytesPerPixel+maxMetadata)
	if _, err := data.ReadFrom(io.LimitReader(r, limit+1-int64(data.Len()))); err != nil {
		return nil, fmt.Errorf("image: %w", err)
	}
	if int64(data.Len()) > limit {
		return nil, fmt.Errorf("image: file is larger than %d bytes", limit)
	}
	pixels, _, err := image.Decode(bytes.NewReader(data.Bytes()))
	if err != nil {
		return nil, fmt.Errorf("image: %s of %d by %d pixels: %w", format, config.Width, config.Height, err)
	}
	im := &Image{Pixels: pixels, Format: format}
	for _, found := range colorMetadata(data.Bytes(), format) {
		im.Warnings = append(im.Warnings, fmt.Errorf("the %s holds %s, which is not applied: sRGB assumed; export the image as sRGB to be sure", strings.ToUpper(format), found))
	}
	if _, ok := pixels.(*image.CMYK); ok {
		im.Warnings = append(im.Warnings, errors.New("a CMYK picture is converted without its profile: its colors are not to be trusted; export the image as sRGB"))
	}
	if orientation := jpegOrientation(data.Bytes()); format == "jpeg" && orientation > 1 {
		im.Pixels = upright(pixels, orientation)
	}
	if wide(pixels) {
		im.Warnings = append(im.Warnings, errors.New("16 bits per channel are rounded to 8"))
	}
	return im, nil
}

// colorMetadata names what an image says about its color space.
func colorMetadata(data []byte, format string) []string {
	if format == "png" {
		return pngColorMetadata(data)
	}
	return jpegColorMetadata(data)
}

// pngColorMetadata walks the chunks before the pixels: length, type, data, CRC.
func pngColorMetadata(data []byte) (found []string) {
	const signature = 8
	for at := signature; at+12 <= len(data); {
		length := int64(binary.BigEndian.Uint32(data[at:]))
		switch string(data[at+4 : at+8]) {
		case "iCCP":
			found = append(found, "an ICC profile")
		case "gAMA":
			found = append(found, "a gamma value")
		case "cHRM":
			found = append(found, "chromaticities")
		case "sRGB":
			return nil // declared as sRGB; gAMA and cHRM then only repeat it
		case "IDAT", "IEND":
			return found
		}
		next := int64(at) + 12 + length
		if next > int64(len(data)) {
			break
		}
		at = int(next)
	}
	return found
}

func jpegColorMetadata(data []byte) []string {
	for marker, body := range jpegSegments(data) {
		if marker == 0xe2 && bytes.HasPrefix(body, []byte("ICC_PROFILE\x00")) {
			return []string{"an ICC profile"}
		}
	}
	return nil
}

// jpegSegments walks the segments before the scan, by marker: 0xFF, marker,
// length, data.
func jpegSegments(data []byte) iter.Seq2[byte, []byte] {
	return func(yield func(byte, []byte) bool) {
		for at := 2; at+4 <= len(data) && data[at] == 0xff; {
			marker := data[at+1]
			if marker == 0xda { // start of scan
				return
			}
			length := max(int(binary.BigEndian.Uint16(data[at+2:])), 2)
			if !yield(marker, data[at+4:min(len(data), at+2+length)]) {
				return
			}
			at += 2 + length
		}
	}
}

func wide(m image.Image) bool {
	switch m.ColorModel() {
	case color.RGBA64Model, color.NRGBA64Model, color.Gray16Model:
		return true
	}
	return false
}

// ParseRegion reads "x,y,width,height" in pixels from the top left corner of
// the image.
func ParseRegion(s string) (image.Rectangle, error) {
	parts := strings.Split(s, ",")
	if len(parts) != 4 {
		return image.Rectangle{}, fmt.Errorf("region %q: want x,y,width,height in pixels", s)
	}
	var v [4]int
	for i, part := range parts {
		n, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil || n < 0 || n > 1<<30 || i >= 2 && n == 0 {
			return image.Rectangle{}, fmt.Errorf("region %q: %q is not a whole number of pixels (width and height at least 1)", s, part)
		}
		v[i] = n
	}
	return image.Rect(v[0], v[1], v[0]+v[2], v[1]+v[3]), nil
}

// inside returns the region in the coordinates of the image; the empty region
// means all of it.
func inside(m image.Image, region image.Rectangle) (image.Rectangle, error) {
	if m == nil {
		return image.Rectangle{}, errNoImage
	}
	bounds := m.Bounds()
	if region == (image.Rectangle{}) {
		region = image.Rect(0, 0, bounds.Dx(), bounds.Dy())
	}
	moved := region.Add(bounds.Min)
	if moved.Empty() || !moved.In(bounds) {
		return image.Rectangle{}, fmt.Errorf("region %v is empty or reaches outside the image of %d by %d pixels", region, bounds.Dx(), bounds.Dy())
	}
	return moved, nil
}

// row stores the 8-bit codes of one row of a region in dst, without pixels
// that are not fully opaque, and returns how many there are.
func row(m image.Image, y, x0, x1 int, dst []SRGB8) int {
	n := 0
	switch m := m.(type) {
	case *image.NRGBA:
		n = opaqueRow(dst, m.Pix[m.PixOffset(x0, y):], x1-x0)
	case *image.RGBA: // premultiplied, which is the same for opaque pixels
		n = opaqueRow(dst, m.Pix[m.PixOffset(x0, y):], x1-x0)
	case *image.YCbCr:
		for x := x0; x < x1; x++ {
			i, j := m.YOffset(x, y), m.COffset(x, y)
			dst[n].R, dst[n].G, dst[n].B = color.YCbCrToRGB(m.Y[i], m.Cb[j], m.Cr[j])
			n++
		}
	case *image.Gray:
		for _, v := range m.Pix[m.PixOffset(x0, y):][:x1-x0] {
			dst[n] = SRGB8{v, v, v}
			n++
		}
	default:
		for x := x0; x < x1; x++ {
			r, g, b, a := m.At(x, y).RGBA() // 16 bits
			if a != 0xffff {
				continue
			}
			dst[n] = SRGB8{to8(r), to8(g), to8(b)}
			n++
		}
	}
	return n
}

func to8(v uint32) uint8 { return uint8((v*255 + 0x7fff) / 0xffff) }

func opaqueRow(dst []SRGB8, pix []uint8, width int) int {
	n := 0
	for i := range width {
		p := pix[4*i : 4*i+4 : 4*i+4]
		if p[3] != 0xff {
			continue
		}
		dst[n] = SRGB8{p[0], p[1], p[2]}
		n++
	}
	return n
}
