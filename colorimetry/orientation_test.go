package colorimetry

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"slices"
	"strings"
	"testing"
)

// withEXIF inserts an APP1 segment with that orientation after the first marker.
func withEXIF(data []byte, order binary.AppendByteOrder, orientation uint16) []byte {
	tiff := []byte("MM")
	if order == binary.AppendByteOrder(binary.LittleEndian) {
		tiff = []byte("II")
	}
	tiff = order.AppendUint16(tiff, 42)
	tiff = order.AppendUint32(tiff, 8) // the directory follows
	tiff = order.AppendUint16(tiff, 2)
	for _, e := range [][2]uint16{{0x0100, 7}, {0x0112, orientation}} { // a width first, which must be passed over
		tiff = order.AppendUint16(tiff, e[0])
		tiff = order.AppendUint16(tiff, 3)
		tiff = order.AppendUint32(tiff, 1)
		tiff = order.AppendUint16(tiff, e[1])
		tiff = order.AppendUint16(tiff, 0)
	}
	tiff = order.AppendUint32(tiff, 0)
	body := append([]byte("Exif\x00\x00"), tiff...)
	segment := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(body)+2))
	return slices.Concat(data[:2], segment, body, data[2:])
}

// Six gray squares A to F are stored as ABC over DEF. How they are shown follows,
// by hand, from where each orientation has the first row and column [15].
func TestEXIFOrientation(t *testing.T) {
	const side = 16 // a block of a JPEG: the squares keep their codes
	grays := map[byte]uint8{'A': 20, 'B': 60, 'C': 100, 'D': 140, 'E': 180, 'F': 220}
	stored := image.NewNRGBA(image.Rect(0, 0, 3*side, 2*side))
	for i, name := range []byte("ABCDEF") {
		at := image.Rect(0, 0, side, side).Add(image.Pt(i%3*side, i/3*side))
		draw.Draw(stored, at, image.NewUniform(color.Gray{grays[name]}), image.Point{}, draw.Src)
	}
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, stored, &jpeg.Options{Quality: 100}); err != nil {
		t.Fatal(err)
	}
	for orientation, want := range map[uint16]string{
		0: "ABC DEF",  // not defined: as stored
		1: "ABC DEF",  // first row at the top, first column at the left
		2: "CBA FED",  // top, right
		3: "FED CBA",  // bottom, right
		4: "DEF ABC",  // bottom, left
		5: "AD BE CF", // left, top
		6: "DA EB FC", // right, top
		7: "FC EB DA", // right, bottom
		8: "CF BE AD", // left, bottom
		9: "ABC DEF",
	} {
		for _, order := range []binary.AppendByteOrder{binary.BigEndian, binary.LittleEndian} {
			im, err := ReadImage(bytes.NewReader(withEXIF(jpg.Bytes(), order, orientation)), 0)
			if err != nil {
				t.Fatal(err)
			}
			rows := strings.Fields(want)
			if size := im.Pixels.Bounds().Size(); size != image.Pt(len(rows[0])*side, len(rows)*side) {
				t.Fatalf("orientation %d: %v pixels", orientation, size)
			}
			for y, row := range rows {
				for x, name := range []byte(row) {
					got, n, err := MeanColor(im.Pixels, image.Rect(0, 0, side, side).Add(image.Pt(x*side, y*side)))
					g := grays[name]
					if err != nil || n != side*side || farXYZ(got, SRGB8ToXYZ(SRGB8{g, g, g}), 0.8) { // a code of rounding; squares are 40 apart
						t.Errorf("orientation %d (%v): square %d of row %d is %v, want %c (%v)", orientation, order, x, y, got, name, err)
					}
				}
			}
		}
	}
}

// EXIF data cut anywhere, or pointing anywhere, leave the picture as stored or turned, without a panic.
func TestEXIFCutShort(t *testing.T) {
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, image.NewGray(image.Rect(0, 0, 8, 8)), nil); err != nil {
		t.Fatal(err)
	}
	exif := withEXIF(jpg.Bytes(), binary.LittleEndian, 6)[2+4+6:][:8+2+24+4]
	if got := tiffOrientation(exif); got != 6 {
		t.Fatalf("orientation %d, want 6", got)
	}
	for n := range len(exif) {
		want := 1
		if n >= 8+2+24 { // both entries are there
			want = 6
		}
		if got := tiffOrientation(exif[:n]); got != want {
			t.Errorf("%d bytes: orientation %d, want %d", n, got, want)
		}
	}
	for _, offset := range []uint32{0, 7, 37, 1 << 31, 1<<32 - 1} {
		binary.LittleEndian.PutUint32(exif[4:], offset)
		if got := tiffOrientation(exif); got != 1 {
			t.Errorf("directory at %d: orientation %d, want 1", offset, got)
		}
	}
}
