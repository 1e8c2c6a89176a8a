package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

// heavyLots are the lots without which the curve would be another: it moves by
// more than three times what leaving out the median lot does, and by more than
// a pair of shades that people take for one (ΔE00 1). The heaviest comes first.
func heavyLots(pull []discharge.Influence) []int {
	if len(pull) < 4 {
		return nil
	}
	var all []float64
	for _, x := range pull {
		all = append(all, x.DeltaE)
	}
	slices.Sort(all)
	limit := max(1, 3*all[len(all)/2])
	var out []int
	for i, x := range pull {
		if x.DeltaE > limit {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(pull[b].DeltaE, pull[a].DeltaE) })
	return out
}

func (v *fitView) isHeavy(i int) bool { return slices.Contains(v.heavy, i) }

// notable lots get their names written in figures: those that drive the curve,
// and the furthest from it.
func (v *fitView) notable(i int) bool {
	if v.isHeavy(i) || math.Abs(v.lots[i].Z) > 2 {
		return true
	}
	worse := 0
	for k := range v.lots {
		if math.Abs(v.lots[k].Z) > math.Abs(v.lots[i].Z) {
			worse++
		}
	}
	return worse < 2
}

func (v *fitView) lead() string {
	s := v.sum
	text := fmt.Sprintf("%s. A lot predicted from all the others is missed by ΔE00 %.1f at the median", v.counted, s.LOOMedian)
	switch {
	case len(v.heavy) > 0:
		text += fmt.Sprintf("; %s %s the curve, so repeat %s before relying on it.", names(v.ids(v.heavy)), plural(len(v.heavy), "drives", "drive"), plural(len(v.heavy), "it", "them"))
	case v.pull != nil:
		text += "; no single lot drives the result."
	default:
		text += "."
	}
	return text
}

// doseReading is what the dose-response picture shows, from its own numbers.
func (v *fitView) doseReading() []string {
	n := len(v.ladder)
	steep, at := 0.0, 0
	for i := 1; i < n; i++ {
		if s := (v.ladder[i].Shade.L - v.ladder[i-1].Shade.L) / math.Log(v.dose[i]/v.dose[i-1]); s > steep {
			steep, at = s, i
		}
	}
	where := "at the middle dose"
	if times := report.Short(v.dose[at], 2); times != "1" {
		where = "at " + times + "× the middle dose"
	}
	beyond := ""
	switch {
	case at <= 1:
		where, beyond = "at the least dose tested", "; from there the curve flattens"
	case at >= n-2:
		where, beyond = "at the most dose tested", "; the trials have not yet reached the flat part"
	}
	out := []string{fmt.Sprintf("10 %% more dose lightens most %s, by L* %.1f%s.", where, steep*math.Log(1.1), beyond)}
	mid := v.ladder[n/2]
	mean := 1.96 * math.Sqrt(mid.MeanCovariance[0][0])
	lo, hi := mid.Interval(0, 0.95)
	out = append(out, fmt.Sprintf("In the middle the curve is known to ±%.1f L*, and a further lot lies within ±%.1f (95 %%): between the two stands the scatter of lots.", mean, (hi-lo)/2))
	return append(out, v.pullReading()...)
}

// pullReading names the lots that drive the curve, and what would change.
func (v *fitView) pullReading() []string {
	if v.pull == nil {
		return nil
	}
	if len(v.heavy) == 0 {
		i := 0
		for k := range v.pull {
			if v.pull[k].DeltaE > v.pull[i].DeltaE {
				i = k
			}
		}
		return []string{fmt.Sprintf("No single lot drives the curve: leaving out any one moves it by at most ΔE00 %.1f (%s).", v.pull[i].DeltaE, v.pull[i].Lot)}
	}
	var parts []string
	for _, i := range v.heavy {
		parts = append(parts, fmt.Sprintf("%s (ΔE00 %.1f)", v.pull[i].Lot, v.pull[i].DeltaE))
	}
	out := []string{fmt.Sprintf("%s %s the curve: %s. Without %s it would be another by that much somewhere between least and most dose.",
		capital(counted(len(v.heavy))), plural(len(v.heavy), "lot drives", "lots drive"), names(parts), plural(len(v.heavy), "it", "one of them"))}
	if s := v.slopeReading(v.heavy[0]); s != "" {
		out = append(out, s)
	}
	return out
}

// slopeReading is the factor whose effect changes most without a lot.
func (v *fitView) slopeReading(i int) string {
	best, text := 0.5, ""
	for _, p := range v.sum.Parameters {
		column, ok := strings.CutPrefix(p.Name, "exponent ")
		without, known := v.pull[i].Exponents[column]
		f, _ := v.m.Process().Factor(column)
		if !ok || !known || p.SE <= 0 || f.Transform != discharge.Log {
			continue
		}
		if d := math.Abs(without-p.Value) / p.SE; d > best {
			best = d
			text = fmt.Sprintf("It shows most in %s: doubling it multiplies the dose by %.2f with lot %s and by %.2f without.", f.Name(), math.Pow(2, p.Value), v.pull[i].Lot, math.Pow(2, without))
		}
	}
	return text
}

// plainWords writes factors as people say them, not as columns are named.
func plainWords(p discharge.Process, list []string) []string {
	var pairs []string
	for _, f := range p.Factors {
		name := strings.ReplaceAll(f.Name(), "-", " ")
		if f.Column == "ph" {
			continue // a part of other words
		}
		pairs = append(pairs, f.Column, name)
	}
	r := strings.NewReplacer(pairs...)
	out := make([]string, len(list))
	for i, s := range list {
		if rest, ok := strings.CutPrefix(s, "ph"); ok {
			s = "pH" + rest
			out[i] = r.Replace(s) + "."
			continue
		}
		out[i] = sentence(r.Replace(s))
	}
	return out
}

// lotsReading tells residuals and leverages from their numbers.
func (v *fitView) lotsReading() []string {
	var far, odd, alone []string // beyond two and three standard deviations; without others near by
	for _, l := range v.lots {
		if math.Abs(l.Z) > 2 {
			side := "lighter"
			if l.Residual < 0 {
				side = "darker"
			}
			far = append(far, fmt.Sprintf("%s came out %s than its settings promise by L* %.1f (%.1f sd)", l.ID, side, math.Abs(l.Residual), math.Abs(l.Z)))
		}
		if math.Abs(l.Z) > 3 {
			odd = append(odd, l.ID)
		}
		if l.Leverage > 0.5 {
			alone = append(alone, fmt.Sprintf("%s (%.0f %%)", l.ID, 100*l.Leverage))
		}
	}
	var out []string
	expect := 0.05 * float64(len(v.lots))
	switch {
	case len(far) == 0:
		out = append(out, fmt.Sprintf("All %d lots lie within two standard deviations of what their settings promise.", len(v.lots)))
	default:
		note := fmt.Sprintf("Of %d lots, chance alone puts %s beyond two standard deviations.", len(v.lots), about(expect))
		if len(odd) > 0 {
			note = fmt.Sprintf("Chance alone puts one lot in 370 beyond three standard deviations: find out what was different about %s.", names(odd))
		}
		out = append(out, sentence(strings.Join(far, "; ")), note)
	}
	if len(alone) > 0 {
		out = append(out, fmt.Sprintf("More than half of the answer at %s own settings comes from %s: no other lot near by confirms %s. A repeat there is worth most.",
			plural(len(alone), "its", "their"), names(alone), plural(len(alone), "it", "them")))
	} else {
		out = append(out, "No lot stands alone: at every lot's settings the others carry at least half of the answer.")
	}
	return out
}

func about(x float64) string {
	if x < 1.5 {
		return "about one"
	}
	return fmt.Sprintf("about %.0f", x)
}

// bendReading says how b* runs along the path.
func (v *fitView) bendReading() []string {
	least, at := math.Inf(1), 0.0
	for i := range 101 {
		if s := v.m.ShadeAt(float64(i) / 100); s.B < least {
			least, at = s.B, float64(i)/100
		}
	}
	base, white := v.m.ShadeAt(0), v.m.ShadeAt(1)
	if at > 0.03 && at < 0.97 && base.B-least > 0.5 {
		return []string{fmt.Sprintf("On its way to white the cloth first turns bluer, to b* %s at L* %.0f, and only then yellower, to b* %s at white: the same b* is passed twice, at two depths.",
			minus(report.Fixed(least, 1)), v.m.ShadeAt(at).L, minus(report.Fixed(white.B, 1)))}
	}
	return []string{fmt.Sprintf("b* goes from %s at the base to %s at white without turning back.", minus(report.Fixed(base.B, 1)), minus(report.Fixed(white.B, 1)))}
}

// offReading says how well lots keep to the path.
func (v *fitView) offReading() []string {
	off := v.m.ScatterAt(0.5).LotOff
	out := []string{fmt.Sprintf("Half way, 95 %% of lots keep to the path within ±%.1f in a* and ±%.1f in b*: dose moves a shade along it, hardly off it.", 1.96*math.Sqrt(off[0][0]), 1.96*math.Sqrt(off[1][1]))}
	worst, which := 0.0, ""
	for _, l := range v.lots {
		on := v.m.ShadeAt(l.Level)
		if d := math.Hypot(l.Lab.A-on.A, l.Lab.B-on.B); d > worst {
			worst, which = d, l.ID
		}
	}
	return append(out, fmt.Sprintf("Furthest off lies %s, by %.1f in a* and b* together.", which, worst))
}

func (v *fitView) ids(list []int) []string {
	var out []string
	for _, i := range list {
		out = append(out, v.lots[i].ID)
	}
	return out
}
