package colorimetry

import (
	"bytes"
	"encoding/binary"
	"image"
)

// jpegOrientation returns the orientation 1..8 of the EXIF data [15], 1 (as
// stored) without it or with one that cannot be read.
func jpegOrientation(data []byte) int {
	for marker, body := range jpegSegments(data) {
		if exif, ok := bytes.CutPrefix(body, []byte("Exif\x00\x00")); ok && marker == 0xe1 {
			return tiffOrientation(exif)
		}
	}
	return 1
}

// tiffOrientation reads the first directory of TIFF data: byte order, 42, where
// the directory is; there the number of entries of 12 bytes, each with tag, type,
// count and value.
func tiffOrientation(data []byte) int {
	const (
		header, entry  = 8, 12
		orientationTag = 0x0112
		short          = 3 // type of 16 bits
	)
	if len(data) < header {
		return 1
	}
	var order binary.ByteOrder = binary.BigEndian
	if string(data[:2]) == "II" {
		order = binary.LittleEndian
	}
	at := int64(order.Uint32(data[4:]))
	if order.Uint16(data[2:]) != 42 || at < header || at+2 > int64(len(data)) {
		return 1
	}
	directory := data[at+2:]
	for n := order.Uint16(data[at:]); n > 0 && len(directory) >= entry; n-- {
		if order.Uint16(directory) == orientationTag && order.Uint16(directory[2:]) == short {
			if v := int(order.Uint16(directory[8:])); v >= 1 && v <= 8 {
				return v
			}
			return 1
		}
		directory = directory[entry:]
	}
	return 1
}

// upright returns an opaque image as an orientation 2..8 has it shown. The codes
// are those that [row] reads of the stored image.
func upright(m image.Image, orientation int) image.Image {
	b := m.Bounds()
	w, h := b.Dx(), b.Dy()
	shown := image.Rect(0, 0, w, h)
	if orientation >= 5 { // rows are shown as columns
		shown = image.Rect(0, 0, h, w)
	}
	out := image.NewNRGBA(shown)
	line := make([]SRGB8, w)
	for y := range h {
		for x, c := range line[:row(m, b.Min.Y+y, b.Min.X, b.Max.X, line)] {
			p := place(orientation, x, y, w, h)
			copy(out.Pix[out.PixOffset(p.X, p.Y):], []uint8{c.R, c.G, c.B, 0xff})
		}
	}
	return out
}

// place returns where the pixel x, y of an image of w by h stored pixels is
// shown, by the table of [15] that says on which sides the first row and the
// first column are.
func place(orientation, x, y, w, h int) image.Point {
	right, bottom := w-1-x, h-1-y // counted from the last column and row
	switch orientation {
	case 2: // first row at the top, first column at the right
		return image.Pt(right, y)
	case 3: // bottom, right
		return image.Pt(right, bottom)
	case 4: // bottom, left
		return image.Pt(x, bottom)
	case 5: // left, top
		return image.Pt(y, x)
	case 6: // right, top
		return image.Pt(bottom, x)
	case 7: // right, bottom
		return image.Pt(bottom, right)
	case 8: // left, bottom
		return image.Pt(y, right)
	}
	return image.Pt(x, y) // top, left
}
