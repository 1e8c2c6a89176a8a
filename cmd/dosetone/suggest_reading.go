package main

import (
	"fmt"
	"math"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
)

func (v *suggestView) lead() string {
	switch {
	case !v.r.Reachable:
		return fmt.Sprintf("The target cannot be reached: %s.", v.r.Why)
	case len(v.r.Suggestions) == 0:
		return sentence(v.r.Why)
	}
	best := v.r.Suggestions[0]
	return fmt.Sprintf("%s: the next lot passes with probability %s.", capital(settingsText(v.m.Process(), best.Settings)), report.Percent(best.PassProbability))
}

// stripReading compares the suggestions' expected shades with the target.
func (v *suggestView) stripReading() []string {
	if len(v.r.Suggestions) == 0 {
		out := []string{fmt.Sprintf("The nearest shade that the allowed settings reach lies ΔE00 %.1f from the target: %s.", v.r.ClosestDeltaE, apart(v.r.Target.shadeJSON, v.r.Closest))}
		if v.r.Nearest != nil {
			out = append(out, nearestText(v.m, v.r.Nearest))
		}
		return out
	}
	best := v.r.Suggestions[0]
	share := best.DeltaE / v.r.Tolerance
	out := fmt.Sprintf("The expected shade of no. 1 lies ΔE00 %.2f from the target, %.0f %% of the tolerance", best.DeltaE, 100*share)
	if d := apart(v.r.Target.shadeJSON, best.Shade); d != "" {
		out += ": " + d
	}
	return []string{out + ".", v.offText(best)}
}

// offText says how much of the difference no dose can change.
func (v *suggestView) offText(s suggestion) string {
	if s.Off < 0.15*v.r.Tolerance {
		return "The target lies on this fabric's path: what remains is dose alone."
	}
	return fmt.Sprintf("ΔE00 %.2f of that lies off this fabric's path: no dose takes it away.", math.Min(s.Off, s.DeltaE))
}

// contourReading reads the green band at three places.
func (v *suggestView) contourReading() []string {
	f := v.field
	type cut struct{ x, from, to float64 }
	var cuts []cut
	for i := range fieldSteps {
		x := f.X.At(float64(i) / (fieldSteps - 1))
		if x < f.X.From || x > f.X.To {
			continue
		}
		from, to, ok := f.Band(x)
		from, to = math.Max(from, f.Y.From), math.Min(to, f.Y.To)
		if ok && to > from {
			cuts = append(cuts, cut{x, from, to})
		}
	}
	if len(cuts) == 0 {
		return []string{"With what the picture keeps fixed, no tested settings give a shade within tolerance: the band lies outside the dashed box."}
	}
	a, b := cuts[0], cuts[len(cuts)-1]
	say := func(c cut) string {
		return fmt.Sprintf("%s to %s at %s %s", tenths(c.from), withUnit(c.to, f.Y.Unit), f.X.Name, withUnit(c.x, f.X.Unit))
	}
	out := []string{fmt.Sprintf("The same shade can be had in many ways. In the tested box the band runs from %s %s, to %s.", f.Y.Name, say(a), say(b))}
	wide, narrow := a, a
	short := math.Inf(1) // the narrowest that is cut short
	for _, c := range cuts {
		// Cut short by the edge of the box, a band says nothing of its width.
		whole := c.from > f.Y.From*1.001 && c.to < f.Y.To*0.999
		if !whole {
			short = math.Min(short, c.to-c.from)
			continue
		}
		if c.to-c.from > wide.to-wide.from {
			wide = c
		}
		if c.to-c.from < narrow.to-narrow.from || narrow == a {
			narrow = c
		}
	}
	if ratio := (wide.to - wide.from) / (narrow.to - narrow.from); ratio > 1.3 {
		least := ""
		if narrow.to-narrow.from < short {
			least = fmt.Sprintf(", and least at %s, with %s", withUnit(narrow.x, f.X.Unit), withUnit(narrow.to-narrow.from, f.Y.Unit))
		}
		out = append(out, fmt.Sprintf("There is most room at %s %s, where the band is %s wide%s: settings with room forgive a late unloading.",
			f.X.Name, withUnit(wide.x, f.X.Unit), withUnit(wide.to-wide.from, f.Y.Unit), least))
	}
	return out
}

// passReading says what being late costs.
func (v *suggestView) passReading() []string {
	best := v.r.Suggestions[0]
	out := []string{fmt.Sprintf("Taken out at %s min, a lot passes with %s; %s min late with %s, as much early with %s.",
		report.Short(best.Settings["time_min"], 3), report.Percent(best.PassProbability), report.Short(v.late, 2), report.Percent(v.passLate), report.Percent(v.passEarly))}
	if w := v.pass.Window; w != [2]float64{} {
		text := fmt.Sprintf("The expected shade is within tolerance for %.1f min", w[1]-w[0])
		switch {
		case w[1] >= v.pass.To-0.01:
			text += ", up to the longest time tested and perhaps beyond"
		case w[0] <= v.pass.From+0.01:
			text += ", from the shortest time tested and perhaps before"
		}
		text += fmt.Sprintf("; at its start %s of lots pass, at its end %s.", report.Percent(best.WindowPass[0]), report.Percent(best.WindowPass[1]))
		out = append(out, text)
	}
	return out
}

// castReading says how the target differs from the path at its own lightness.
func (v *suggestView) castReading() []string {
	target := v.r.Target.shadeJSON
	on := shadeOf(v.m.ShadeAt(v.m.LevelOf(target.L)))
	if s := apart(on, target); s != "" {
		return []string{"At the target's own lightness it is " + s + " than this fabric."}
	}
	return []string{"At the target's own lightness this fabric has its a* and b* to within what can be seen."}
}

// pathReading says where the target lies from the path.
func (v *suggestView) pathReading() []string {
	target := colorimetry.Lab(v.r.Target.shadeJSON)
	level := v.m.NearestLevel(target)
	on := v.m.ShadeAt(level)
	d := colorimetry.CIEDE2000{}.Diff(target, on)
	text := fmt.Sprintf("The target comes nearest to the path %.0f %% of the way to white, at ΔE00 %.2f", 100*level, d)
	if d > v.r.Tolerance {
		text += ", more than the tolerance"
	}
	return []string{text + "."}
}
