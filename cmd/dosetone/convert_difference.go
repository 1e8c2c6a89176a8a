package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// formulas is a list of color-difference formulas.
type formulas []colorimetry.Difference

// usualFormulas are given when none is named: textile factors where there are.
func usualFormulas() formulas {
	return formulas{colorimetry.CIE76{}, colorimetry.CIE94Textiles(), colorimetry.CMC{L: 2, C: 1}, colorimetry.CIEDE2000{KL: 1, KC: 1, KH: 1}}
}

func (l *formulas) String() string { return listed(*l) }

func (l *formulas) Type() string { return "list" }

func (l *formulas) Set(s string) error {
	*l = nil
	for name := range strings.SplitSeq(s, ",") {
		f, err := colorimetry.ParseDifference(name)
		if err != nil {
			return err
		}
		*l = append(*l, f)
	}
	return nil
}

// differences returns the formulas asked for, by name, and the signed CIELAB
// parts, sample minus reference.
func (l formulas) differences(ref, sample colorimetry.Lab) map[string]float64 {
	d := ref.Difference(sample)
	out := map[string]float64{"dL": d.DL, "da": d.DA, "db": d.DB, "dC": d.DC, "dH": d.DH}
	for _, f := range l {
		out[f.String()] = f.Diff(ref, sample)
	}
	return out
}

// referenceSet is the reference color under every viewing; empty without one.
type referenceSet struct {
	colors []color
	name   string
}

func (r *referenceSet) of(c color) (*color, error) {
	if len(r.colors) == 0 {
		return nil, nil
	}
	i := slices.IndexFunc(r.colors, func(ref color) bool { return ref.viewing == c.viewing })
	if i < 0 {
		return nil, fmt.Errorf("the reference %s is under %s and cannot be compared under %s", r.name, r.colors[0].viewing, c.viewing)
	}
	if err := c.condition.Against(fmt.Sprintf("sample %q", c.id), r.colors[i].condition, "the reference "+r.name); err != nil {
		return nil, err
	}
	return &r.colors[i], nil
}

// references finds the reference among the colors by its id, or in another
// file, and averages its readings in reflected light.
func (e *env) references(f convertFlags, colors []color) (*referenceSet, error) {
	name := f.reference
	if name == "" {
		return &referenceSet{}, nil
	}
	mine := slices.DeleteFunc(slices.Clone(colors), func(c color) bool { return !hasID(c.id, name) })
	if mine = standards(mine); len(mine) > 0 {
		return newReferenceSet(mine, name)
	}
	data, err := e.read(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("--reference %s: the file has no such id, and there is no file of that name", name)
	}
	if err != nil {
		return nil, err
	}
	var other []color
	if isImage(data) {
		other, _, err = e.imageColors(name, data, convertFlags{})
	} else {
		g := f
		g.viewings = nil
		for _, c := range colors { // the viewings in use, so that spectra follow
			if !slices.Contains(g.viewings, c.viewing) {
				g.viewings = append(g.viewings, c.viewing)
			}
		}
		other, err = e.tableColors(name, data, g)
	}
	if err != nil {
		return nil, err
	}
	other = standards(other)
	named := func(c color) string { return cmp.Or(c.lot, c.id) }
	id := named(other[0])
	for _, c := range other {
		if named(c) != id {
			return nil, fmt.Errorf("--reference %s: the file holds several colors (%s, %s, ...); keep the rows of one", name, id, named(c))
		}
	}
	return newReferenceSet(other, id)
}

// newReferenceSet averages the readings of a reference, which must be of one
// measurement condition.
func newReferenceSet(colors []color, name string) (*referenceSet, error) {
	var all discharge.Condition
	for _, c := range colors {
		if err := c.condition.Against("a reading of the reference "+name, all, "another"); err != nil {
			return nil, fmt.Errorf("%w, or choose the condition with --condition", err)
		}
		all = all.With(c.condition)
	}
	mean := average(colors, name)
	for i := range mean {
		mean[i].condition = all
	}
	return &referenceSet{mean, name}, nil
}

// standards are the colors of role standard or, without any, all: beside a
// standard its limits are no reference.
func standards(colors []color) []color {
	only := slices.DeleteFunc(slices.Clone(colors), func(c color) bool { return c.role != discharge.Standard })
	if len(only) == 0 {
		return colors
	}
	return only
}

// hasID reports whether a sample bears that id, or belongs to that lot.
func hasID(id, want string) bool { return id == want || strings.HasPrefix(id, want+"/") }

// average returns the mean of the colors under each viewing.
func average(colors []color, id string) []color {
	var out []color
	counts := map[colorimetry.Viewing]float64{}
	for _, c := range colors {
		counts[c.viewing]++
	}
	for _, c := range colors {
		i := slices.IndexFunc(out, func(o color) bool { return o.viewing == c.viewing })
		if i < 0 {
			i = len(out)
			out = append(out, color{id: id, viewing: c.viewing})
			if c.spectrum != nil {
				out[i].spectrum = &colorimetry.Spectrum{Grid: c.spectrum.Grid, Values: make([]float64, c.spectrum.Grid.N)}
			}
		}
		n := counts[c.viewing]
		o := &out[i]
		o.xyz.X += c.xyz.X / n
		o.xyz.Y += c.xyz.Y / n
		o.xyz.Z += c.xyz.Z / n
		if c.spectrum != nil {
			for k, v := range c.spectrum.Values {
				o.spectrum.Values[k] += v / n
			}
		}
		if n == 1 {
			o.lab = c.lab // as read, without a round trip through XYZ
		} else {
			o.lab = o.xyz.Lab(c.viewing.White())
		}
	}
	return out
}
