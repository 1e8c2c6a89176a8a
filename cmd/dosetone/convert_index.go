package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

func indexNames() []string {
	return []string{"whiteness", "yellowness", "ks", "strength", "metamerism"}
}

func indexWords() string { return strings.Join(indexNames(), ", ") }

// indices is a list of names.
type indices []string

func (l *indices) String() string { return strings.Join(*l, ",") }

func (l *indices) Type() string { return "list" }

func (l *indices) Set(s string) error {
	*l = nil
	for name := range strings.SplitSeq(strings.ToLower(s), ",") {
		name = strings.TrimSpace(name)
		if !slices.Contains(indexNames(), name) {
			return fmt.Errorf("%q is not known; want %s", name, indexWords())
		}
		if !slices.Contains(*l, name) {
			*l = append(*l, name)
		}
	}
	return nil
}

type weightsKey struct {
	viewing colorimetry.Viewing
	grid    colorimetry.Grid
}

// indexer computes the indices asked for.
type indexer struct {
	e       *env
	indices indices
	first   colorimetry.Viewing // the reference light of metamerism
	lone    bool                // it is the only viewing
	weights map[weightsKey]*colorimetry.Weights
	doubts  []doubt
}

// doubt is why an index is not defined, or means little, for some colors.
type doubt struct {
	name    string
	viewing colorimetry.Viewing
	first   string // the first such color and what is said of it
	count   int
}

func (x *indexer) weightsOf(v colorimetry.Viewing, g colorimetry.Grid) (*colorimetry.Weights, error) {
	k := weightsKey{v, g}
	if x.weights[k] == nil {
		w, err := colorimetry.NewWeights(v, g)
		if err != nil {
			return nil, err
		}
		x.weights[k] = w
	}
	return x.weights[k], nil
}

// of returns the indices of a color. One that is not defined for it is nil and
// causes a warning.
func (x *indexer) of(c color, ref *color) (map[string]*float64, error) {
	out := map[string]*float64{}
	for _, name := range x.indices {
		var err error
		switch name {
		case "whiteness":
			err = x.whiteness(out, c)
		case "yellowness":
			var y float64
			out["yellowness_e313"] = nil
			if y, err = colorimetry.Yellowness(c.xyz, c.viewing); err == nil {
				out["yellowness_e313"] = &y
			} else {
				err = x.missing("yellowness", c, err)
			}
		case "ks":
			err = x.ks(out, c)
		case "strength":
			err = x.strength(out, c, ref)
		case "metamerism":
			err = x.metamerism(out, c, ref)
		}
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// fluorescence doubts colors of brightened cloth under another lamp.
func (x *indexer) fluorescence(name string, colors []color) {
	for _, c := range colors {
		if c.spectrum == nil {
			continue
		}
		if err := c.spectrum.LampWarning(c.viewing.Illuminant); err != nil {
			_ = x.missing(name, c, err)
		}
	}
}

// missing remembers why one index is undefined or doubtful.
func (x *indexer) missing(name string, c color, err error) error {
	i := slices.IndexFunc(x.doubts, func(d doubt) bool { return d.name == name && d.viewing == c.viewing })
	if i < 0 {
		i = len(x.doubts)
		x.doubts = append(x.doubts, doubt{name: name, viewing: c.viewing, first: fmt.Sprintf("%s: %v", c.id, err)})
	}
	x.doubts[i].count++
	return nil
}

// warn writes one warning for each kind of doubt.
func (x *indexer) warn() {
	for _, d := range x.doubts {
		more := ""
		if d.count > 1 {
			more = fmt.Sprintf(" (and %d more colors)", d.count-1)
		}
		x.e.warn("%s under %s: %s%s", d.name, d.viewing, d.first, more)
	}
}

// whitenessFromY is the Y from which on the range of whiteness, 40 < W < 5Y-280,
// holds anything.
const whitenessFromY = 64.0

func (x *indexer) whiteness(out map[string]*float64, c color) error {
	out["whiteness_cie"], out["tint_cie"] = nil, nil
	w, err := colorimetry.CIEWhiteness(c.xyz, c.viewing)
	if err != nil {
		return x.missing("whiteness", c, err)
	}
	out["whiteness_cie"], out["tint_cie"] = &w.W, &w.T
	if doubt := w.Warning(c.xyz.Y); doubt != nil {
		if c.xyz.Y <= whitenessFromY {
			doubt = fmt.Errorf("too dark for this formula, which is meant for whites: Y is %.1f, and up to %g no whiteness counts", c.xyz.Y, whitenessFromY)
		}
		return x.missing("whiteness", c, doubt)
	}
	return nil
}

// ks gives K/S at the strongest absorption between 400 and 700 nm, where that
// is, and weighted by lamp and observer; none of them where a band has no bound.
func (x *indexer) ks(out map[string]*float64, c color) error {
	if c.spectrum == nil {
		return usage("--index ks needs spectra; %s has none", c.id)
	}
	out["ks_peak"], out["ks_peak_nm"], out["ks_weighted"] = nil, nil, nil
	w, err := x.weightsOf(c.viewing, c.spectrum.Grid)
	if err != nil {
		return err
	}
	var km colorimetry.KubelkaMunk
	weighted, err := km.Weighted(*c.spectrum, w)
	if err != nil {
		return x.missing("ks", c, err)
	}
	peak, nm, err := km.Peak(*c.spectrum, 400, 700)
	if err != nil {
		return x.missing("ks", c, err)
	}
	at := float64(nm)
	out["ks_peak"], out["ks_peak_nm"], out["ks_weighted"] = &peak, &at, &weighted
	return nil
}

// strength compares K/S with the reference's where that absorbs most between 400
// and 700 nm: at one wavelength for both, which two ks_peak need not be.
func (x *indexer) strength(out map[string]*float64, c color, ref *color) error {
	if err := x.pair("strength", c, ref); err != nil {
		return err
	}
	out["strength_pct"], out["strength_nm"] = nil, nil
	var km colorimetry.KubelkaMunk
	standard, nm, err := km.Peak(*ref.spectrum, 400, 700)
	if err == nil && standard == 0 {
		err = errors.New("its K/S is 0 from 400 to 700 nm, which no strength can be a share of")
	}
	if err != nil {
		return x.missing("strength", c, fmt.Errorf("the reference %s: %w", ref.id, err))
	}
	sample, err := km.At(*c.spectrum, nm)
	if err != nil {
		return x.missing("strength", c, err)
	}
	percent, at := colorimetry.Strength(standard, sample), float64(nm)
	out["strength_pct"], out["strength_nm"] = &percent, &at
	return nil
}

// pair reports a pair whose spectra cannot be compared by an index.
func (x *indexer) pair(index string, c color, ref *color) error {
	if ref == nil {
		return usage("--index %s compares with a standard: give --reference too", index)
	}
	if c.spectrum == nil || ref.spectrum == nil {
		return usage("--index %s needs spectra of the sample and of the reference", index)
	}
	if ref.spectrum.Grid != c.spectrum.Grid {
		return fmt.Errorf("%s: %s is on %s nm, the reference on %s nm; they must be alike", index, c.id, c.spectrum.Grid, ref.spectrum.Grid)
	}
	return nil
}

// matching is the ΔE00 up to which a pair counts as one that matches: twice the
// usual tolerance, as check has it (common practice, no source).
const matching = 2 * discharge.DefaultTolerance

// metamerismIndex is the formula and the correction in use.
func metamerismIndex() colorimetry.MetamerismIndex { return colorimetry.MetamerismIndex{} }

// metamerism gives the special index for the change from the first viewing to
// this one; there is none for the first itself.
func (x *indexer) metamerism(out map[string]*float64, c color, ref *color) error {
	if err := x.pair("metamerism", c, ref); err != nil {
		return err
	}
	out["metamerism"] = nil
	switch {
	case c.viewing == x.first && x.lone:
		return x.missing("metamerism", c, errors.New("a change of light needs two viewings, such as --viewing D65/10,A/10"))
	case c.viewing == x.first:
		return nil
	case c.viewing.Observer != x.first.Observer:
		return usage("--index metamerism: %s and %s differ in the observer; a change of light is meant", x.first, c.viewing)
	}
	from, err := x.weightsOf(x.first, c.spectrum.Grid)
	if err != nil {
		return err
	}
	to, err := x.weightsOf(c.viewing, c.spectrum.Grid)
	if err != nil {
		return err
	}
	v, err := metamerismIndex().OfSpectra(*ref.spectrum, *c.spectrum, from, to)
	if err != nil {
		return x.missing("metamerism", c, err)
	}
	out["metamerism"] = &v
	if d := (colorimetry.CIEDE2000{}).Diff(from.Lab(ref.spectrum.Values), from.Lab(c.spectrum.Values)); d > matching {
		return x.missing("metamerism", c, fmt.Errorf("ΔE00 %.1f from the reference under %s: the index is meant for a pair that matches there, within %.1f, and means little for this one", d, x.first, matching))
	}
	return nil
}

// formulas says by what formula an index was taken where its name does not.
func (x *indexer) formulas(values map[string]*float64) map[string]string {
	if values["metamerism"] == nil {
		return nil
	}
	return map[string]string{"metamerism": fmt.Sprintf("%s, from %s", metamerismIndex(), x.first)}
}
