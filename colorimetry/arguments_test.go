package colorimetry

import (
	"image"
	"strings"
	"testing"
)

// A spectrum written as a struct may lack values. Where a function returns an
// error it says so, and no sum is taken over what is there.
func TestSpectrumWithoutItsValues(t *testing.T) {
	g := Grid{400, 10, 31}
	w, err := NewWeights(Viewing{D65, TenDegree}, g)
	if err != nil {
		t.Fatal(err)
	}
	good := Spectrum{g, flat(31, 0.5)}
	for _, n := range []int{0, 30, 32} {
		s := Spectrum{g, flat(n, 0.5)}
		for name, f := range map[string]func() error{
			"At":                   func() error { _, err := s.At(500); return err },
			"Resample":             func() error { _, err := s.Resample(Grid{400, 20, 16}); return err },
			"KubelkaMunk.At":       func() error { _, err := KubelkaMunk{}.At(s, 500); return err },
			"KubelkaMunk.Peak":     func() error { _, _, err := KubelkaMunk{}.Peak(s, 500, 600); return err },
			"KubelkaMunk.Mean":     func() error { _, err := KubelkaMunk{}.Mean(s, 500, 600); return err },
			"KubelkaMunk.Weighted": func() error { _, err := KubelkaMunk{}.Weighted(s, w); return err },
			"OfSpectra, standard":  func() error { _, err := MetamerismIndex{}.OfSpectra(s, good, w, w); return err },
			"OfSpectra, sample":    func() error { _, err := MetamerismIndex{}.OfSpectra(good, s, w, w); return err },
		} {
			if err := f(); err == nil || !strings.Contains(err.Error(), "want 31") {
				t.Errorf("%s of %d values: error %v, want one that names the 31 of the grid", name, n, err)
			}
		}
	}
	if _, err := (Spectrum{Grid{400, 300, 2}, flat(2, 0.5)}).Resample(Grid{400, 20, 16}); err == nil {
		t.Error("a spectrum of two values is resampled")
	}
	if _, err := (MetamerismIndex{}).OfSpectra(good, good, nil, w); err == nil {
		t.Error("no error without weights")
	}
}

// wantPanic wants a panic whose message names what is wrong.
func wantPanic(t *testing.T, names string, f func()) {
	t.Helper()
	defer func() {
		t.Helper()
		v := recover()
		if s, ok := v.(string); !ok || !strings.HasPrefix(s, "colorimetry: ") || !strings.Contains(s, names) {
			t.Errorf("panic %v, want one that names %q", v, names)
		}
	}()
	f()
}

func TestWrongArgumentsAreNamed(t *testing.T) {
	w, err := NewWeights(Viewing{D65, TenDegree}, Grid{400, 10, 31})
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range []int{-1, 31} {
		wantPanic(t, "Weights.At: i =", func() { w.At(i) })
	}
	wantPanic(t, "Coefficients", func() { (&ChartCorrection{}).Apply(XYZ{50, 50, 50}) })

	im := &Image{Pixels: image.NewGray(image.Rect(0, 0, 4, 4))}
	for name, c := range map[string]struct {
		f    func() error
		want string
	}{
		"no image": {func() error { _, err := MeasureSwatch(nil, image.Rectangle{}, SwatchOptions{}); return err }, "no image"},
		"no pixels": {func() error { _, err := MeasureSwatch(&Image{}, image.Rectangle{}, SwatchOptions{}); return err },
			"no image"},
		"mean of no image": {func() error { _, _, err := MeanColor(nil, image.Rectangle{}); return err }, "no image"},
		"empty correction": {func() error {
			_, err := MeasureSwatch(im, image.Rectangle{}, SwatchOptions{Correction: &ChartCorrection{}})
			return err
		}, "Coefficients"},
		"chart model": {func() error { _, err := FitChart(ChartModel(9), make([]ChartPatch, 20)); return err }, "model 9"},
	} {
		if err := c.f(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one that names %q", name, err, c.want)
		}
	}
}
