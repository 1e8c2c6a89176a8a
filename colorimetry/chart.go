package colorimetry

import (
	"cmp"
	"errors"
	"fmt"
	"image"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// A ChartModel is the form of a correction from camera to known color.
type ChartModel int

// Chart models. The root-polynomial forms [14] keep hue and chroma when the
// exposure changes, as the linear form does and ordinary polynomials do not.
const (
	Linear          ChartModel = iota // r, g, b: 3 terms
	RootPolynomial2                   // and √rg, √gb, √rb: 6 terms
	RootPolynomial3                   // and the cube roots of rg², rb², gr², gb², br², bg², rgb: 13 terms
)

// String returns the name.
func (m ChartModel) String() string {
	switch m {
	case RootPolynomial2:
		return "root-polynomial of degree 2"
	case RootPolynomial3:
		return "root-polynomial of degree 3"
	}
	return "linear"
}

// maxChartTerms is the number of terms of the largest model.
const maxChartTerms = 13

func (m ChartModel) terms() int {
	switch m {
	case RootPolynomial2:
		return 6
	case RootPolynomial3:
		return maxChartTerms
	}
	return 3
}

// expand stores the terms of a linear color in t. Noise below zero counts as
// zero under a root.
func (m ChartModel) expand(c linearRGB, t *[maxChartTerms]float64) {
	t[0], t[1], t[2] = c.r, c.g, c.b
	if m == Linear {
		return
	}
	r, g, b := max(c.r, 0), max(c.g, 0), max(c.b, 0)
	t[3], t[4], t[5] = math.Sqrt(r*g), math.Sqrt(g*b), math.Sqrt(r*b)
	if m == RootPolynomial2 {
		return
	}
	t[6], t[7], t[8] = math.Cbrt(r*g*g), math.Cbrt(r*b*b), math.Cbrt(g*r*r)
	t[9], t[10], t[11] = math.Cbrt(g*b*b), math.Cbrt(b*r*r), math.Cbrt(b*g*g)
	t[12] = math.Cbrt(r * g * b)
}

// A ChartPatch is a patch of a photographed chart: its mean as read from the
// picture (see [ReadPatch]) and its known color under D65/2, Y = 100 for white. A
// chart's data for another viewing must be computed for D65/2 first, from its
// spectra.
type ChartPatch struct {
	Name        string
	Read, Known XYZ
	Clipped     Clipping // of the codes read
}

// ReadPatch reads a patch from a region of a picture, as [MeanColor] does. Keep
// the region away from the edges of the patch.
func ReadPatch(name string, known XYZ, m image.Image, region image.Rectangle) (ChartPatch, error) {
	read, _, clipped, err := meanColor(m, region)
	if err != nil {
		return ChartPatch{}, fmt.Errorf("chart: patch %q: %w", name, err)
	}
	return ChartPatch{name, read, known, clipped}, nil
}

// A ChartCorrection turns colors read from one picture into calibrated ones.
// It is valid for the camera, light and settings of that picture, and for what
// lies in the same light as the chart: a shadow on either is taken for color, and
// no error of the patches shows it.
type ChartCorrection struct {
	Model        ChartModel
	Coefficients [][3]float64 // one row per term, for X, Y, Z
	Patches      []PatchError // fitted, in the order given
	ChartErrors
	DarkestL, LightestL float64 // L* of the known colors, between which the correction was seen
	Warnings            []error // patches that are clipped, errors above what a chart reaches
}

// ChartErrors are leave-one-out errors of a correction, ΔE00: each patch is
// predicted from the others, so they tell what to expect of a color that is not
// on the chart.
type ChartErrors struct{ LeaveOneOutMean, LeaveOneOutMax float64 }

// usualChartError is the mean leave-one-out ΔE00 above which a correction is
// doubted: sound ones reach 1 to 3 (from memory).
const usualChartError = 3

// outlierFactor is how many times the median leave-one-out error a patch may have
// before it is named. Were errors scatter alone, alike along L*, a* and b*, they
// would be chi distributed with 3 degrees of freedom: median 1.54, and 1 in 30
// million beyond 4 times that (√(2/π) × 6.15 exp(-6.15²/2) = 3.0e-8). Patches do
// scatter unequally, which is why it is not 3.
const outlierFactor = 4

// PatchError is how well a patch is met.
type PatchError struct {
	Name        string
	Known       Lab     // D65/2
	Fit         float64 // ΔE00 of the correction from all patches
	LeaveOneOut float64 // ΔE00 of the correction from the other patches
}

// FitChart fits a correction by least squares over the patches. A patch weighs
// by the slope of the cube root at its luminance, so that an error counts about
// as it is seen. It needs two more patches than the model has terms, and values
// that are finite, not negative, and on the scale where white has Y = 100.
// Patches that tell a line or a plane of colors only, such as grays, are an
// error, and so are those of which one alone tells a direction: the leave-one-out
// error of the others would be small whatever is made of other colors.
// Patches that are clipped (see [Clipping.Warning]) are left out where the others
// suffice. Those patches, a leave-one-out error above ΔE00 3 on average, and
// patches whose own is above 3 and four times the median stand in the Warnings of
// the result and of every swatch that it corrects. A swatch also warns of a color
// whose L*, or whose a* and b*, lie outside those of the patches.
func FitChart(model ChartModel, patches []ChartPatch) (*ChartCorrection, error) {
	if model != Linear && model != RootPolynomial2 && model != RootPolynomial3 {
		return nil, fmt.Errorf("chart: unknown model %d", int(model))
	}
	for _, p := range patches {
		for _, v := range []float64{p.Read.X, p.Read.Y, p.Read.Z, p.Known.X, p.Known.Y, p.Known.Z} {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				return nil, fmt.Errorf("chart: patch %q: read %v, known %v: want finite values, not negative", p.Name, p.Read, p.Known)
			}
		}
	}
	if err := checkChartScale(patches); err != nil {
		return nil, err
	}
	sound := slices.DeleteFunc(slices.Clone(patches), func(p ChartPatch) bool { return p.Clipped.Warning() != nil })
	c, err := fitPatches(model, sound)
	leftOut := err == nil
	if !leftOut { // with a clipped patch the picture says more than without, if less than it should
		if c, err = fitPatches(model, patches); err != nil {
			return nil, err
		}
	}
	c.warn(patches, leftOut)
	return c, nil
}

// fitPatches fits a correction by all of the patches.
func fitPatches(model ChartModel, patches []ChartPatch) (*ChartCorrection, error) {
	if need := model.terms() + 2; len(patches) < need {
		return nil, fmt.Errorf("chart: %d patches are too few for a %s correction, need at least %d", len(patches), model, need)
	}
	c := &ChartCorrection{Model: model, DarkestL: math.Inf(1), LightestL: math.Inf(-1)}
	var err error
	if c.Coefficients, err = solveChart(model, patches, -1); err != nil {
		return nil, err
	}
	for i, p := range patches {
		without, err := solveChart(model, patches, i)
		if err != nil {
			return nil, fmt.Errorf("%w (without patch %q)", err, p.Name)
		}
		known := p.Known.Lab(srgbWhite())
		c.DarkestL, c.LightestL = min(c.DarkestL, known.L), max(c.LightestL, known.L)
		difference := func(c ChartCorrection) float64 {
			return CIEDE2000{}.Diff(known, c.Apply(p.Read).Lab(srgbWhite()))
		}
		e := PatchError{p.Name, known, difference(*c), difference(ChartCorrection{Model: model, Coefficients: without})}
		c.Patches = append(c.Patches, e)
		c.LeaveOneOutMean += e.LeaveOneOut / float64(len(patches))
		c.LeaveOneOutMax = max(c.LeaveOneOutMax, e.LeaveOneOut)
	}
	return c, nil
}

// checkChartScale refuses colors that are not on the scale where white has
// Y = 100: a correction between two scales fits as well and gives nonsense.
func checkChartScale(patches []ChartPatch) error {
	const (
		lowest  = 1 // all patches darker than L* 9, or a scale of 0 to 1
		highest = 2 * 100
	)
	var read, known float64
	for _, p := range patches {
		read, known = max(read, p.Read.Y), max(known, p.Known.Y)
	}
	for _, c := range []struct {
		what string
		top  float64
	}{{"known", known}, {"read", read}} {
		if c.top <= lowest || c.top > highest {
			return fmt.Errorf("chart: the lightest of the %s colors has Y = %.4g: want the scale where white has Y = 100", c.what, c.top)
		}
	}
	return nil
}

// warn says what makes the correction doubtful: clipped patches among those given,
// left out or not, and errors of those fitted.
func (c *ChartCorrection) warn(patches []ChartPatch, leftOut bool) {
	var clipped []string
	for _, p := range patches {
		if p.Clipped.Warning() != nil {
			clipped = append(clipped, fmt.Sprintf("%q", p.Name))
		}
	}
	switch names := strings.Join(clipped, ", "); {
	case clipped == nil:
	case leftOut:
		c.Warnings = append(c.Warnings, fmt.Errorf("chart: left out, being clipped at code 0 or 255: patch %s", names))
	default:
		c.Warnings = append(c.Warnings, fmt.Errorf("chart: clipped at code 0 or 255: patch %s; the others are too few, or too alike in color, to do without, and the correction is off by that; take the picture anew with another exposure", names))
	}
	if c.LeaveOneOutMean > usualChartError {
		worst := c.Worst()
		c.Warnings = append(c.Warnings, fmt.Errorf("chart: patches are predicted from the others with ΔE00 %.1f on average, up to %.1f (patch %q), where a sound chart gives 1 to 3: "+
			"check that every patch has its own known color and lies where it is read, and that the light is even; corrected colors are not to be trusted", c.LeaveOneOutMean, worst.LeaveOneOut, worst.Name))
	}
	if list := c.outliers(); list != nil {
		c.Warnings = append(c.Warnings, fmt.Errorf("chart: predicted from the others far worse than most patches: %s; "+
			"check that they have their own known colors (two may be swapped) and are clean, free of glare, and where they are read", strings.Join(list, ", ")))
	}
}

// Worst is the patch that the others predict worst.
func (c *ChartCorrection) Worst() PatchError {
	return slices.MaxFunc(c.Patches, func(a, b PatchError) int { return cmp.Compare(a.LeaveOneOut, b.LeaveOneOut) })
}

// outliers names the patches whose leave-one-out error is above that of a sound
// chart and far above the median, with that error.
func (c *ChartCorrection) outliers() []string {
	var errs []float64
	for _, p := range c.Patches {
		errs = append(errs, p.LeaveOneOut)
	}
	slices.Sort(errs)
	limit := max(usualChartError, outlierFactor*errs[len(errs)/2])
	var list []string
	for _, p := range c.Patches {
		if p.LeaveOneOut > limit {
			list = append(list, fmt.Sprintf("%q (ΔE00 %.1f)", p.Name, p.LeaveOneOut))
		}
	}
	return list
}

// doubts are the warnings of a color that was corrected.
func (c *ChartCorrection) doubts(corrected Lab) []error {
	list := slices.Clone(c.Warnings)
	if len(c.Patches) == 0 { // not made by FitChart, which knows its error
		return append(list, errors.New("chart: the correction does not say how well it meets its patches; corrected colors may be far off"))
	}
	if corrected.L < c.DarkestL || corrected.L > c.LightestL {
		list = append(list, fmt.Errorf("chart: L* %.1f lies outside the chart's %.1f to %.1f, where the correction was not seen", corrected.L, c.DarkestL, c.LightestL))
	}
	// A distance below this is within what a sound correction errs by.
	const visible = 1
	if d := c.beyond(corrected); d > visible {
		list = append(list, fmt.Errorf("chart: a* %.1f, b* %.1f lie %.1f outside the a*, b* of the chart's patches, where the correction was not seen; a chart with patches round this color would tell", corrected.A, corrected.B, d))
	}
	return list
}

// beyond returns how far a color lies outside the convex hull of the patches'
// known a*, b*; inside it is 0 or less. That is the largest distance to a line
// with all patches on its other side, here over lines in steps of a tenth of a
// degree, which a side of length 100 may make short by 50 × sin 0.05° = 0.04.
func (c *ChartCorrection) beyond(color Lab) float64 {
	farthest := math.Inf(-1)
	for tenth := range 3600 {
		sin, cos := math.Sincos(float64(tenth) * math.Pi / 1800)
		nearest := math.Inf(1)
		for _, p := range c.Patches {
			nearest = min(nearest, (color.A-p.Known.A)*cos+(color.B-p.Known.B)*sin)
		}
		farthest = max(farthest, nearest)
	}
	return farthest
}

// Condition numbers beyond which a correction is refused.
const (
	// worstSpread is of the patches' red, green and blue. A condition number says
	// how many times larger, relative to the color, an error of the readings comes
	// out in the direction that the patches tell least of. At code 128 a rounding
	// of half a code is 2.4 × 0.5/(128 + 0.055 × 255) = 0.8 % of the light [9]: at
	// 100 it would be as large as the color. Charts of many hues have about 5,
	// photographed grays some hundreds and more.
	worstSpread = 100
	// worstCondition is of the terms of a root-polynomial, which resemble each
	// other however colored the patches are. Beyond, the last coefficients are noise.
	worstCondition = 1e8
)

// solveChart solves for the coefficients by QR, leaving patch omit out. No form
// is solved for where the patches do not tell the linear one.
func solveChart(model ChartModel, patches []ChartPatch, omit int) ([][3]float64, error) {
	if model != Linear {
		if _, err := solveChart(Linear, patches, omit); err != nil {
			return nil, err
		}
	}
	terms := model.terms()
	var a, b []float64
	var t [maxChartTerms]float64
	for i, p := range patches {
		if i == omit {
			continue
		}
		weight := math.Pow(max(p.Known.Y, 1)/100, -2.0/3)
		model.expand(linearFromXYZ(p.Read), &t)
		for _, v := range t[:terms] {
			a = append(a, weight*v)
		}
		b = append(b, weight*p.Known.X, weight*p.Known.Y, weight*p.Known.Z)
	}
	n := len(b) / 3
	var qr mat.QR
	qr.Factorize(mat.NewDense(n, terms, a))
	switch cond := qr.Cond(); {
	case model == Linear && !(cond < worstSpread):
		return nil, errors.New("chart: the patches lie too near to a line or a plane of colors, as grays or shades of one hue do: other colors would be guessed; add colored patches of several hues")
	case !(cond < worstCondition):
		return nil, errors.New("chart: the patches do not differ enough in color for this correction; add colored patches or use the linear form")
	}
	var x mat.Dense
	if err := qr.SolveTo(&x, false, mat.NewDense(n, 3, b)); err != nil {
		return nil, fmt.Errorf("chart: %w", err)
	}
	out := make([][3]float64, terms)
	for i := range out {
		out[i] = [3]float64{x.At(i, 0), x.At(i, 1), x.At(i, 2)}
	}
	return out, nil
}

// check reports a correction that [FitChart] does not make.
func (c *ChartCorrection) check() error {
	if want := c.Model.terms(); len(c.Coefficients) != want {
		return fmt.Errorf("chart: correction has %d rows of Coefficients, a %s one has %d", len(c.Coefficients), c.Model, want)
	}
	var largest float64
	for _, row := range c.Coefficients {
		for _, v := range row {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("chart: correction has a coefficient %v, want finite ones", v)
			}
			largest = max(largest, math.Abs(v))
		}
	}
	if largest == 0 {
		return errors.New("chart: all Coefficients of the correction are 0, which makes every color black")
	}
	return nil
}

// Apply returns the corrected color of one read from the picture, both under
// D65/2. It panics when Coefficients has not one row per term of the model.
func (c *ChartCorrection) Apply(read XYZ) XYZ {
	if len(c.Coefficients) != c.Model.terms() {
		panic("colorimetry: ChartCorrection.Apply: " + c.check().Error())
	}
	var t [maxChartTerms]float64
	c.Model.expand(linearFromXYZ(read), &t)
	var out XYZ
	for i, k := range c.Coefficients {
		out.X += k[0] * t[i]
		out.Y += k[1] * t[i]
		out.Z += k[2] * t[i]
	}
	return out
}

// apply is Apply, or nothing when there is no correction.
func (c *ChartCorrection) apply(read XYZ) XYZ {
	if c == nil {
		return read
	}
	return c.Apply(read)
}
