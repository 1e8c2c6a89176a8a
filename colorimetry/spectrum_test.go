package colorimetry

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"example.com/dosetone/datasets/published"
)

func flat(n int, r float64) []float64 { return slices.Repeat([]float64{r}, n) }

func TestNewSpectrumErrors(t *testing.T) {
	g := Grid{400, 10, 31}
	with := func(i int, r float64) []float64 { v := flat(31, 0.5); v[i] = r; return v }
	for name, c := range map[string]struct {
		grid   Grid
		values []float64
		want   []string
	}{
		"negative":     {g, with(3, -0.01), []string{"430 nm", "-0.01", "negative"}},
		"NaN":          {g, with(30, math.NaN()), []string{"700 nm", "NaN"}},
		"infinite":     {g, with(0, math.Inf(1)), []string{"400 nm", "Inf"}},
		"percent":      {g, with(15, 45.2), []string{"550 nm", "45.2", "percent"}},
		"dark percent": {g, percentOfBlack(), []string{"1.3 or more at every wavelength", "percent", "white"}},
		"too few":      {g, flat(30, 0.5), []string{"31", "30"}},
		"short range":  {Grid{420, 10, 29}, flat(29, 0.5), []string{"420-700/10", "400-700"}},
		"too wide":     {Grid{350, 10, 36}, flat(36, 0.5), []string{"350-700/10", "360-830"}},
		"unusual step": {Grid{400, 4, 76}, flat(76, 0.5), []string{"step 4 nm"}},
	} {
		_, err := NewSpectrum(c.grid, c.values)
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		for _, want := range c.want {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: error %q does not name %q", name, err, want)
			}
		}
	}
}

// percentOfBlack is a dark cloth in percent, 1.3 to 1.6 %, invented.
func percentOfBlack() []float64 {
	v := flat(31, 1.3)
	for i := range v {
		v[i] += 0.01 * float64(i)
	}
	return v
}

// A white standard read slightly too bright, and cloth that exceeds 1 in one band,
// are no percent.
func TestSpectraAboveOne(t *testing.T) {
	for _, v := range [][]float64{flat(31, 1.005), append(flat(30, 1.9), 0.9)} {
		if _, err := NewSpectrum(Grid{400, 10, 31}, v); err != nil {
			t.Errorf("%v: %v", v, err)
		}
	}
}

func TestLampWarning(t *testing.T) {
	v := flat(31, 0.9)
	plain := Spectrum{Grid{400, 10, 31}, slices.Clone(v)}
	v[4] = 1.3
	brightened := Spectrum{plain.Grid, v}
	for _, lamp := range Illuminants() {
		if err := plain.LampWarning(lamp); err != nil {
			t.Errorf("plain cloth under %s: %v", lamp, err)
		}
		err := brightened.LampWarning(lamp)
		if (err == nil) != (lamp == D65) {
			t.Errorf("brightened cloth under %s: %v", lamp, err)
		}
		if err != nil && (!strings.Contains(err.Error(), "1.3 at 440 nm") || !strings.Contains(err.Error(), lamp.String())) {
			t.Errorf("%v does not name place and lamp", err)
		}
	}
}

func TestSpectrumWarning(t *testing.T) {
	v := flat(31, 0.9)
	s, err := NewSpectrum(Grid{400, 10, 31}, v)
	if err != nil || s.Warning() != nil {
		t.Fatalf("%v, %v", err, s.Warning())
	}
	v[4] = 1.3 // brightened cloth
	if s.Values[4] != 0.9 {
		t.Error("the spectrum shares the caller's values")
	}
	s, err = NewSpectrum(s.Grid, v)
	if err != nil || s.Warning() == nil || !strings.Contains(s.Warning().Error(), "440 nm") {
		t.Errorf("brightened cloth: %v, %v", err, s.Warning())
	}
}

func TestGrids(t *testing.T) {
	g, err := GridRange(380, 730, 10)
	if err != nil || g != (Grid{380, 10, 36}) || g.String() != "380-730/10" {
		t.Errorf("%v, %v", g, err)
	}
	for _, r := range [][3]int{{400, 705, 10}, {700, 400, 10}, {400, 700, 0}} {
		if _, err := GridRange(r[0], r[1], r[2]); err == nil {
			t.Errorf("%v is accepted", r)
		}
	}
	nm := []int{}
	for w := 400; w <= 700; w += 20 {
		nm = append(nm, w)
	}
	if g, err := GridOf(nm); err != nil || g != (Grid{400, 20, 16}) {
		t.Errorf("%v, %v", g, err)
	}
	nm[5]++
	if _, err := GridOf(nm); err == nil || !strings.Contains(err.Error(), "501") {
		t.Errorf("uneven wavelengths: %v", err)
	}
	if _, err := GridOf([]int{400}); err == nil {
		t.Error("one wavelength is a grid")
	}
	for nm, want := range map[int]int{380: 0, 390: 1, 730: 35, 370: -1, 385: -1, 740: -1} {
		if i, ok := g.Index(nm); ok != (want >= 0) || ok && i != want {
			t.Errorf("%d nm is at %d, %v", nm, i, ok)
		}
	}
}

// A cubic passes unchanged through E2022 interpolation inside, a quadratic
// everywhere.
func TestResample(t *testing.T) {
	quadratic := func(nm int) float64 { x := float64(nm-550) / 200; return 0.3 + 0.2*x + 0.1*x*x }
	coarse := Grid{380, 10, 36}
	s := Spectrum{coarse, make([]float64, coarse.N)}
	for i := range s.Values {
		s.Values[i] = quadratic(coarse.Wavelength(i))
	}
	before := slices.Clone(s.Values)
	for _, g := range []Grid{{380, 1, 351}, {381, 2, 175}, {400, 5, 61}, {400, 10, 31}, {400, 20, 16}, {385, 20, 17}} {
		got, err := s.Resample(g)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range got.Values {
			if nm := g.Wavelength(i); far(r, quadratic(nm), 1e-12) {
				t.Fatalf("%s: %v at %d nm, want %v", g, r, nm, quadratic(nm))
			}
		}
	}
	if !slices.Equal(before, s.Values) {
		t.Error("Resample changed its input")
	}
	if _, err := s.Resample(Grid{370, 10, 36}); err == nil {
		t.Error("no error beyond the measured range")
	}
	if _, err := s.At(405); err == nil {
		t.Error("no error off the grid")
	}
}

func TestViewings(t *testing.T) {
	for s, want := range map[string]Viewing{
		"D65/10": {D65, TenDegree}, "d65/2": {D65, TwoDegree}, " F11 / 10°": {F11, TenDegree},
		"LED-B3/10": {LEDB3, TenDegree}, "ledb4/2deg": {LEDB4, TwoDegree}, "A/10": {A, TenDegree}, "D65/10 degree": {D65, TenDegree}, "D50/2 Degrees": {D50, TwoDegree},
	} {
		if got, err := ParseViewing(s); err != nil || got != want {
			t.Errorf("%q is %s, %v", s, got, err)
		}
	}
	for _, s := range []string{"", "D65", "D65/", "/10", "D65/7", "D93/10", "D65/10/2"} {
		if _, err := ParseViewing(s); err == nil {
			t.Errorf("%q is accepted", s)
		}
	}
	list, err := ParseViewings("D65/10, A/10,F11/10")
	if err != nil || !slices.Equal(list, []Viewing{{D65, TenDegree}, {A, TenDegree}, {F11, TenDegree}}) {
		t.Errorf("%v, %v", list, err)
	}
	if _, err := ParseViewings("D65/10,"); err == nil {
		t.Error("an empty viewing is accepted")
	}
	text, err := json.Marshal(Viewing{LEDB3, TwoDegree})
	var back Viewing
	if err != nil || string(text) != `"LED-B3/2"` || json.Unmarshal(text, &back) != nil || back != (Viewing{LEDB3, TwoDegree}) {
		t.Errorf("%s, %v, %v", text, back, err)
	}
	if _, err := json.Marshal(Viewing{}); err == nil {
		t.Error("an unset viewing is written")
	}
	if (Viewing{}).Valid() || (Viewing{}).String() != "unset/unset" {
		t.Error("the zero viewing is not unset")
	}
}

// K/S = (1-R)²/2R by arithmetic, and R∞ = 1 + K/S - √((K/S)² + 2 K/S) [10].
func TestKubelkaMunk(t *testing.T) {
	for _, c := range [][2]float64{{1, 0}, {0.5, 0.25}, {0.25, 1.125}, {0.1, 4.05}, {0.01, 49.005}} {
		if far(KS(c[0]), c[1], 1e-12) || far(FromKS(c[1]), c[0], 1e-12) {
			t.Errorf("R %v: K/S %v, back %v", c[0], KS(c[0]), FromKS(c[1]))
		}
	}
	for _, r := range []float64{0, -1, 1e-9, 1, 1.5, 2} {
		if ks := KS(r); math.IsNaN(ks) || math.IsInf(ks, 0) || ks < 0 {
			t.Errorf("K/S of %v is %v", r, ks)
		}
	}
	if FromKS(-1) != 1 || FromKS(math.Inf(1)) != 0 {
		t.Errorf("limits: %v, %v", FromKS(-1), FromKS(math.Inf(1)))
	}
	// Saunderson [11] by arithmetic: k1 0.04, k2 0.6, R 0.5 inside:
	// 0.04 + 0.96·0.4·0.5/(1 - 0.3) = 0.3142857…
	m := KubelkaMunk{K1: 0.04, K2: 0.6}
	if got := m.Measured(0.5); far(got, 0.04+0.192/0.7, 1e-15) || far(m.KS(got), 0.25, 1e-12) {
		t.Errorf("Saunderson: %v, K/S %v", got, m.KS(got))
	}
	m.SpecularExcluded = true
	if got := m.Measured(0.5); far(got, 0.192/0.7, 1e-15) || far(m.Internal(got), 0.5, 1e-15) {
		t.Errorf("Saunderson without gloss: %v", got)
	}
	for _, bad := range []KubelkaMunk{{K1: -0.1}, {K2: 1}, {K1: math.NaN()}, {K1: 0.5, K2: 0.6}} {
		if bad.Check() == nil {
			t.Errorf("%+v is accepted", bad)
		}
	}
}

// Indigo absorbs most near 660 nm (V046, V076 and V156 are measured denims of
// Vrhel, Gershon, Iwan 1994), and faded jeans hold less of it.
func TestKSOfDenim(t *testing.T) {
	var m KubelkaMunk
	spectra := published.DenimSpectra()
	denim := func(name string) Spectrum {
		s, err := NewSpectrum(Grid{400, 10, 31}, spectra[name])
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	dark, faded := denim("V046"), denim("V076")
	for _, s := range []Spectrum{dark, faded} {
		ks, nm, err := m.Peak(s, 600, 700)
		if err != nil || nm < 640 || nm > 680 {
			t.Errorf("band maximum %v at %d nm, %v", ks, nm, err)
		}
		at, err := m.At(s, nm)
		mean, err2 := m.Mean(s, 600, 700)
		if at != ks || err != nil || err2 != nil || !(mean < ks) {
			t.Errorf("K/S %v at the maximum, mean %v; %v %v", at, mean, err, err2)
		}
	}
	w := weights(t, Viewing{D65, TenDegree}, 400, 700, 10)
	weighted := func(s Spectrum) float64 {
		ks, err := m.Weighted(s, w)
		if err != nil {
			t.Fatal(err)
		}
		return ks
	}
	strength := Strength(weighted(dark), weighted(faded))
	if !(strength > 5 && strength < 60) {
		t.Errorf("faded jeans have %v %% of the strength of dark ones", strength)
	}
	// A flat K/S returns itself.
	gray := Spectrum{dark.Grid, flat(31, 0.25)}
	mean, err := m.Mean(gray, 400, 700)
	if far(weighted(gray), 1.125, 1e-12) || far(mean, 1.125, 1e-12) || err != nil {
		t.Errorf("flat: weighted %v, mean %v, %v", weighted(gray), mean, err)
	}
	if _, err := m.Mean(dark, 701, 709); err == nil {
		t.Error("no error for a band without wavelengths")
	}
}

// A reflectance at the floor, or at what the surface reflects, has no K/S: (1-R)²/2R
// [10] grows without bound towards an inner reflectance of 0, and (R - k1) is 0 at
// R = k1 [11]. The bands beside it keep theirs.
func TestKSWithoutBound(t *testing.T) {
	g := Grid{400, 10, 31}
	w := weights(t, Viewing{D65, TenDegree}, 400, 700, 10)
	for _, c := range []struct {
		m    KubelkaMunk
		r    float64
		want string // "" means that K/S is known
	}{
		{KubelkaMunk{}, 0, "last of four decimals"},
		{KubelkaMunk{}, 1e-4, "last of four decimals"},
		{KubelkaMunk{}, 2e-4, ""},
		{KubelkaMunk{K1: 0.04, K2: 0.6}, 0.03, "surface reflects (K1 0.04)"},
		{KubelkaMunk{K1: 0.04, K2: 0.6}, 0.04, "surface reflects (K1 0.04)"},
		{KubelkaMunk{K1: 0.04, K2: 0.6}, 0.05, ""},
		{KubelkaMunk{K1: 0.04, K2: 0.6, SpecularExcluded: true}, 0.03, ""},
		{KubelkaMunk{K1: 0.04, K2: 0.6, SpecularExcluded: true}, 0, "last of four decimals"},
		{KubelkaMunk{K1: 4, K2: 60}, 0.3, "coefficient K1"},
	} {
		s := Spectrum{g, flat(31, 0.3)}
		s.Values[26] = c.r // 660 nm
		_, errAt := c.m.At(s, 660)
		_, _, errPeak := c.m.Peak(s, 400, 700)
		_, errMean := c.m.Mean(s, 400, 700)
		_, errWeighted := c.m.Weighted(s, w)
		for name, err := range map[string]error{"At": errAt, "Peak": errPeak, "Mean": errMean, "Weighted": errWeighted} {
			if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Errorf("%+v, R %v: %s says %v, want %q", c.m, c.r, name, err, c.want)
			}
		}
		if _, _, err := c.m.Peak(s, 400, 650); (err == nil) != (c.m.K1 < 1) {
			t.Errorf("%+v: peak beside the dark band: %v", c.m, err)
		}
	}
	if _, err := (KubelkaMunk{}).Weighted(Spectrum{Grid{400, 20, 16}, flat(16, 0.3)}, w); err == nil || !strings.Contains(err.Error(), "400-700/20") {
		t.Errorf("another grid: %v", err)
	}
}

// Whatever the text is: an error, or a value that is written back the same.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"D65/10", "led-b3/2", "10,20,30,40", "#a0b1c2", "#abc", "D65/10,A/2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := ParseViewing(s); err == nil {
			if back, err := ParseViewing(v.String()); err != nil || back != v || !v.Valid() {
				t.Errorf("%q: %s, %v", s, back, err)
			}
		}
		if list, err := ParseViewings(s); err == nil && len(list) != strings.Count(s, ",")+1 {
			t.Errorf("%q gives %d viewings", s, len(list))
		}
		if r, err := ParseRegion(s); err == nil && (r.Empty() || r.Min.X < 0 || r.Min.Y < 0) {
			t.Errorf("%q gives region %v", s, r)
		}
		if c, err := ParseHex(s); err == nil {
			if back, err := ParseHex(c.Hex()); err != nil || back != c {
				t.Errorf("%q: %v, %v", s, back, err)
			}
		}
	})
}

// Two grids may have as many values: only a method that sees the grid can tell.
func TestLabOfWantsItsOwnGrid(t *testing.T) {
	w, err := NewWeights(Viewing{Illuminant: D65, Observer: TenDegree}, Grid{390, 10, 32})
	if err != nil {
		t.Fatal(err)
	}
	values := flat(32, 0.2)
	if lab, err := w.LabOf(Spectrum{w.Grid(), values}); err != nil || lab != w.Lab(values) {
		t.Error(lab, err)
	}
	if _, err := w.LabOf(Spectrum{Grid{400, 10, 32}, values}); err == nil || !strings.Contains(err.Error(), "400-710/10") {
		t.Error(err)
	}
	values[3] = math.NaN()
	if _, err := w.LabOf(Spectrum{w.Grid(), values}); err == nil {
		t.Error("no error for a value that is no number")
	}
}

// Three measured denims (Vrhel et al. 1994) and pairs made to match have no lone band; one band
// of them set to nothing, or half more, is found.
func TestLoneBand(t *testing.T) {
	g := Grid{400, 10, 31}
	for name, values := range published.DenimSpectra() {
		if nm := (Spectrum{g, values}).LoneBand(); nm != 0 {
			t.Errorf("%s: %d nm", name, nm)
		}
		for i := range values {
			for _, r := range []float64{0, 1.5*values[i] + 0.02} {
				v := slices.Clone(values)
				v[i] = r
				want := g.Wavelength(i)
				if end := i == 0 || i == len(v)-1; end && r > 0 {
					continue // what an end departs from is not known
				}
				if nm := (Spectrum{g, v}).LoneBand(); nm != want {
					t.Errorf("%s with %.3g instead of %.3g at %d nm: %d nm", name, r, values[i], want, nm)
				}
			}
		}
	}
	if nm := (Spectrum{g, flat(31, 0)}).LoneBand(); nm != 0 {
		t.Errorf("black: %d nm", nm)
	}
	coarse := flat(16, 0.05)
	for i := 8; i < 16; i++ {
		coarse[i] = 0.6 // an edge
	}
	coarse[8] = 0.2
	if nm := (Spectrum{Grid{400, 20, 16}, coarse}).LoneBand(); nm != 0 {
		t.Errorf("an edge on 20 nm: %d nm", nm)
	}
}
