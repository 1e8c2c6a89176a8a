package colorimetry

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func encodePNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withChunk inserts a PNG chunk after the header (8 bytes signature, 25 bytes IHDR).
func withChunk(data []byte, kind string, body []byte) []byte {
	chunk := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	chunk = append(append(chunk, kind...), body...)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	return slices.Concat(data[:33], chunk, data[33:])
}

func checker(w, h int) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.NRGBA{A: 255}
			if (x+y)%2 == 0 {
				c = color.NRGBA{255, 255, 255, 255}
			}
			m.SetNRGBA(x, y, c)
		}
	}
	return m
}

// Half black, half white reflects half the light: Y = 50, L* = 76.0693 (worked
// value of a gray of Y 50 in published.LabsOfXYZ). Each pixel is L* 0 or 100.
func TestSwatchOfBlackAndWhite(t *testing.T) {
	im, err := ReadImage(bytes.NewReader(encodePNG(t, checker(40, 20))), 0)
	if err != nil {
		t.Fatal(err)
	}
	s, err := MeasureSwatch(im, image.Rectangle{}, SwatchOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if farXYZ(s.XYZ, XYZ{95.047 / 2, 50, 108.883 / 2}, 1e-9) || far(s.Mean.L, 76.06926101415557, 1e-9) {
		t.Errorf("mean %v %v, want Y 50, L* 76.0693", s.XYZ, s.Mean)
	}
	n := 800.0
	if far(s.SDL, 50*math.Sqrt(n/(n-1)), 1e-9) || far(s.SDA, 0, 1e-9) || far(s.SDB, 0, 1e-9) {
		t.Errorf("spread %v %v %v, want 50 0 0", s.SDL, s.SDA, s.SDB)
	}
	if s.Pale != 0.5 || s.Dark != 0.5 || far(s.L5, 0, binWidth) || far(s.L95, 100, binWidth) {
		t.Errorf("pale %v, dark %v, L* %v to %v", s.Pale, s.Dark, s.L5, s.L95)
	}
	// Every 5 by 2 (or 3) cell is half black within one pixel; cells of 10
	// pixels exactly half.
	if s.Pixels != 800 || s.Transparent != 0 || len(s.Cells) != 64 {
		t.Errorf("%d pixels, %d transparent, %d cells", s.Pixels, s.Transparent, len(s.Cells))
	}
	if s.Calibrated || len(s.Warnings) == 0 {
		t.Error("an uncalibrated picture does not say so")
	}
}

func TestSwatchUniformity(t *testing.T) {
	m := image.NewNRGBA(image.Rect(0, 0, 80, 60))
	draw.Draw(m, m.Bounds(), image.NewUniform(color.NRGBA{70, 90, 130, 255}), image.Point{}, draw.Src)
	im := &Image{Pixels: m}
	s, err := MeasureSwatch(im, image.Rect(0, 0, 80, 60), SwatchOptions{Columns: 8, Rows: 6})
	if err != nil {
		t.Fatal(err)
	}
	if s.WorstDE > 1e-9 || s.SDL > 1e-6 || s.Pale != 0 || s.Dark != 0 {
		t.Errorf("a plain picture is not uniform: %+v", s)
	}
	if want := SRGB8ToLab(SRGB8{70, 90, 130}); farLab(s.Mean, want, 1e-9) {
		t.Errorf("mean %v, want %v", s.Mean, want)
	}
	draw.Draw(m, image.Rect(50, 20, 60, 30), image.NewUniform(color.NRGBA{200, 200, 210, 255}), image.Point{}, draw.Src)
	s, err = MeasureSwatch(im, image.Rectangle{}, SwatchOptions{Columns: 8, Rows: 6})
	if err != nil {
		t.Fatal(err)
	}
	if s.WorstColumn != 5 || s.WorstRow != 2 || far(s.Pale, 1.0/48, 1e-12) || s.Dark != 0 {
		t.Errorf("the pale spot is seen at column %d, row %d, pale %v, dark %v", s.WorstColumn, s.WorstRow, s.Pale, s.Dark)
	}
}

// The counted mean against a plain loop over m.At, for every kind of image.
func TestMeanColorOfEveryImageKind(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	b := image.Rect(3, 5, 40, 36) // an image need not begin at 0, 0
	source := image.NewNRGBA(b)
	for i := range source.Pix {
		source.Pix[i] = uint8(r.IntN(256))
		if i%4 == 3 {
			source.Pix[i] = 255
		}
	}
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, source, nil); err != nil {
		t.Fatal(err)
	}
	decoded, err := jpeg.Decode(&jpg)
	if err != nil {
		t.Fatal(err)
	}
	images := []image.Image{source, decoded, image.NewRGBA(b), image.NewGray(b), image.NewNRGBA64(b), image.NewGray16(b),
		image.NewPaletted(b, color.Palette{color.Black, color.White, color.NRGBA{50, 60, 100, 255}})}
	for _, m := range images[2:] {
		draw.Draw(m.(draw.Image), b, source, b.Min, draw.Src)
	}
	region := image.Rect(2, 1, 30, 29)
	for _, m := range images {
		before := encodePNG(t, m)
		got, n, err := MeanColor(m, region)
		if err != nil {
			t.Fatal(err)
		}
		var want XYZ
		for y := region.Min.Y; y < region.Max.Y; y++ {
			for x := region.Min.X; x < region.Max.X; x++ {
				cr, cg, cb, _ := m.At(x+m.Bounds().Min.X, y+m.Bounds().Min.Y).RGBA()
				want = want.plus(SRGBToXYZ(SRGB{float64(cr) / 65535, float64(cg) / 65535, float64(cb) / 65535}))
			}
		}
		want = want.over(region.Dx() * region.Dy())
		tol := 1e-9
		switch _, jpeg := m.(*image.YCbCr); {
		case wide(m):
			tol = 0.02 // rounded to 8 bits, averaged over 784 pixels
		case jpeg:
			tol = 0.1 // m.At keeps 16 bits; the codes of a JPEG are 8 bits, at most one off
		}
		if n != region.Dx()*region.Dy() || farXYZ(got, want, tol) {
			t.Errorf("%T: mean %v of %d, want %v", m, got, n, want)
		}
		s, err := MeasureSwatch(&Image{Pixels: m}, region, SwatchOptions{})
		if err != nil || farXYZ(s.XYZ, got, 1e-9) {
			t.Errorf("%T: swatch mean %v, counted mean %v (%v)", m, s.XYZ, got, err)
		}
		if !bytes.Equal(before, encodePNG(t, m)) {
			t.Errorf("%T: the image was changed", m)
		}
	}
}

func TestSwatchDoesNotDependOnWorkers(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	m := image.NewNRGBA(image.Rect(0, 0, 64, 64))
	for i := range m.Pix {
		m.Pix[i] = uint8(r.IntN(256)) | 0xf0*uint8(i%4/3)
	}
	for i := 3; i < len(m.Pix); i += 4 {
		m.Pix[i] = 255
	}
	one, err := MeasureSwatch(&Image{Pixels: m}, image.Rectangle{}, SwatchOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, workers := range []int{-1, 3, 100} {
		many, err := MeasureSwatch(&Image{Pixels: m}, image.Rectangle{}, SwatchOptions{Workers: workers})
		if err != nil {
			t.Fatal(err)
		}
		if one.Mean != many.Mean || one.SDL != many.SDL || !slices.Equal(one.Cells, many.Cells) {
			t.Errorf("%d workers: %v, one: %v", workers, many.Mean, one.Mean)
		}
	}
}

func TestTransparentPixelsAreLeftOut(t *testing.T) {
	m := image.NewNRGBA(image.Rect(0, 0, 10, 10))
	if _, _, err := MeanColor(m, image.Rectangle{}); err == nil {
		t.Error("an empty picture has a mean")
	}
	if _, err := MeasureSwatch(&Image{Pixels: m}, image.Rectangle{}, SwatchOptions{}); err == nil {
		t.Error("an empty picture has a swatch")
	}
	m.SetNRGBA(4, 4, color.NRGBA{10, 20, 30, 255})
	m.SetNRGBA(5, 5, color.NRGBA{200, 200, 200, 254})
	s, err := MeasureSwatch(&Image{Pixels: m}, image.Rectangle{}, SwatchOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Pixels != 1 || s.Transparent != 99 || farLab(s.Mean, SRGB8ToLab(SRGB8{10, 20, 30}), 1e-9) {
		t.Errorf("%d pixels, %d transparent, %v", s.Pixels, s.Transparent, s.Mean)
	}
}

// endless is a stream of one byte that counts what was read of it.
type endless struct {
	b    byte
	read int
}

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = e.b
	}
	e.read += len(p)
	return len(p), nil
}

// What is no picture is known by its first bytes, and what follows one is limited by
// its size.
func TestReadImageReadsNoMoreThanItNeeds(t *testing.T) {
	blanks := &endless{b: ' '}
	if _, err := ReadImage(blanks, 0); err == nil || !strings.Contains(err.Error(), "neither PNG nor JPEG") {
		t.Errorf("blanks: %v", err)
	}
	if blanks.read > 1<<16 {
		t.Errorf("%d bytes of blanks were read", blanks.read)
	}
	after := &endless{}
	if _, err := ReadImage(io.MultiReader(bytes.NewReader(encodePNG(t, checker(40, 20))), after), 0); err == nil || !strings.Contains(err.Error(), "larger than") {
		t.Errorf("a small picture in an endless file: %v", err)
	}
	if after.read > maxMetadata+maxMetadata/4 {
		t.Errorf("%d bytes were read for 800 pixels", after.read)
	}
}

func TestReadImageErrorsAndWarnings(t *testing.T) {
	good := encodePNG(t, checker(4, 4))
	for name, c := range map[string]struct {
		data []byte
		max  int
		want string
	}{
		"not an image": {[]byte("hello"), 0, "neither PNG nor JPEG"},
		"empty":        {nil, 0, "neither PNG nor JPEG"},
		"cut short":    {good[:len(good)-20], 0, "4 by 4"},
		"too large":    {good, 15, "at most 15"},
	} {
		if _, err := ReadImage(bytes.NewReader(c.data), c.max); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", name, err, c.want)
		}
	}
	for kind, want := range map[string]string{"gAMA": "gamma", "cHRM": "chromaticities", "iCCP": "ICC profile"} {
		body := make([]byte, 4)
		if kind == "cHRM" {
			body = make([]byte, 32)
		}
		im, err := ReadImage(bytes.NewReader(withChunk(good, kind, body)), 0)
		if err != nil || len(im.Warnings) != 1 || !strings.Contains(im.Warnings[0].Error(), want) {
			t.Errorf("%s: %v, want a warning about %s", kind, err, want)
		}
	}
	im, err := ReadImage(bytes.NewReader(withChunk(withChunk(good, "gAMA", make([]byte, 4)), "sRGB", []byte{0})), 0)
	if err != nil || len(im.Warnings) != 0 {
		t.Errorf("a picture declared sRGB gives %v, %v", im.Warnings, err)
	}

	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, checker(8, 8), nil); err != nil {
		t.Fatal(err)
	}
	profile := append([]byte{0xff, 0xe2, 0, 18}, "ICC_PROFILE\x00\x01\x01ab"...)
	data := slices.Concat(jpg.Bytes()[:2], profile, jpg.Bytes()[2:])
	im, err = ReadImage(bytes.NewReader(data), 0)
	if err != nil || len(im.Warnings) != 1 || !strings.Contains(im.Warnings[0].Error(), "ICC profile") {
		t.Errorf("JPEG with a profile: %v", err)
	}
	im, err = ReadImage(bytes.NewReader(encodePNG(t, image.NewGray16(image.Rect(0, 0, 2, 2)))), 0)
	if err != nil || len(im.Warnings) != 1 {
		t.Errorf("16 bits: %v, %v", im, err)
	}
}

func TestRegions(t *testing.T) {
	got, err := ParseRegion(" 1, 2,3,4")
	if err != nil || got != image.Rect(1, 2, 4, 6) {
		t.Errorf("%v, %v", got, err)
	}
	for _, s := range []string{"", "1,2,3", "1,2,3,4,5", "-1,0,2,2", "0,0,0,2", "a,0,1,1", "0,0,99999999999,1"} {
		if _, err := ParseRegion(s); err == nil {
			t.Errorf("region %q is accepted", s)
		}
	}
	m := checker(10, 10)
	for _, r := range []image.Rectangle{image.Rect(0, 0, 11, 5), image.Rect(5, 5, 5, 6), image.Rect(-1, 0, 5, 5)} {
		if _, _, err := MeanColor(m, r); err == nil {
			t.Errorf("region %v is accepted", r)
		}
	}
	for _, opt := range []SwatchOptions{{Columns: 11}, {Rows: -1}, {Contrast: -1}, {Contrast: math.NaN()}} {
		if _, err := MeasureSwatch(&Image{Pixels: m}, image.Rectangle{}, opt); err == nil {
			t.Errorf("options %+v are accepted", opt)
		}
	}
}

// Whatever the bytes are: an error or an image within the limit, never a panic.
func FuzzReadImage(f *testing.F) {
	good := encodePNG(f, checker(5, 3))
	f.Add(good)
	f.Add(withChunk(good, "iCCP", []byte("x\x00\x00")))
	f.Add(good[:40])
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, checker(9, 9), nil); err != nil {
		f.Fatal(err)
	}
	f.Add(jpg.Bytes())
	f.Add(withEXIF(jpg.Bytes(), binary.BigEndian, 6))
	f.Add([]byte{0xff, 0xd8, 0xff, 0xe2, 0, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		const limit = 1 << 14
		pngColorMetadata(data)
		jpegColorMetadata(data)
		jpegOrientation(data)
		im, err := ReadImage(bytes.NewReader(data), limit)
		if err != nil {
			return
		}
		if n := im.Pixels.Bounds().Dx() * im.Pixels.Bounds().Dy(); n <= 0 || n > limit {
			t.Fatalf("%d pixels read, limit %d", n, limit)
		}
		s, err := MeasureSwatch(im, image.Rectangle{}, SwatchOptions{})
		if err != nil {
			return
		}
		for _, v := range []float64{s.Mean.L, s.Mean.A, s.Mean.B, s.SDL, s.UniformityDE, s.Pale, s.Dark} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("not finite: %+v", s)
			}
		}
		if s.Mean.L < -1e-9 || s.Mean.L > 100+1e-9 || s.Pale+s.Dark > 1+1e-9 || s.Pixels+s.Transparent != im.Pixels.Bounds().Dx()*im.Pixels.Bounds().Dy() {
			t.Fatalf("impossible swatch %+v", s)
		}
	})
}

// A region that runs onto the background is said to be uneven, with the place; a
// strong grain alone is not, in cells of any size, for a cell of few pixels
// differs from the mean by chance.
func TestUnevenRegion(t *testing.T) {
	cloth := func(size, grain int) *image.Gray {
		m := image.NewGray(image.Rect(0, 0, size, size))
		r := rand.New(rand.NewPCG(5, 2))
		for i := range m.Pix {
			m.Pix[i] = uint8(110 + r.IntN(2*grain+1) - grain)
		}
		return m
	}
	background := func(m *image.Gray, area image.Rectangle) *image.Gray {
		draw.Draw(m, area, image.NewUniform(color.Gray{50}), image.Point{}, draw.Src)
		return m
	}
	for name, c := range map[string]struct {
		m      *image.Gray
		region image.Rectangle
		says   string // "" means no warning
	}{
		"cloth":                   {cloth(160, 10), image.Rectangle{}, ""},
		"coarse grain":            {cloth(160, 100), image.Rectangle{}, ""},
		"coarse grain, 4 a cell":  {cloth(16, 100), image.Rectangle{}, ""},
		"a pixel a cell":          {cloth(8, 60), image.Rectangle{}, ""},
		"right edge":              {background(cloth(160, 10), image.Rect(140, 0, 160, 160)), image.Rectangle{}, "begins at 140,"},
		"a corner of the region":  {background(cloth(160, 10), image.Rect(0, 0, 40, 40)), image.Rect(20, 20, 100, 100), "begins at 20,"},
		"background left outside": {background(cloth(160, 10), image.Rect(140, 0, 160, 160)), image.Rect(0, 0, 140, 160), ""},
	} {
		s, err := MeasureSwatch(&Image{Pixels: c.m}, c.region, SwatchOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if says(s.Warnings, "uneven: ") != (c.says != "") || !says(s.Warnings, c.says) {
			t.Errorf("%s: worst %.1f, %v; want %q", name, s.WorstDE, s.Warnings, c.says)
		}
	}
}
