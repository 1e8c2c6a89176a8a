package main

import (
	"math"
	"strconv"

	"example.com/dosetone/cmd/dosetone/internal/figure"
	"example.com/dosetone/discharge"
)

// fieldSteps is the number of steps of the contour's grid each way.
const fieldSteps = 61

// contour evaluates the field of two factors about the first suggestion: the
// oxidizer's strength across and time up, or what else varied.
func (v *suggestView) contour() error {
	x, y, ok := v.fieldFactors()
	if !ok {
		return nil
	}
	best := v.r.Suggestions[0].Settings
	field := &figure.Contour{X: fieldAxis(x), Y: fieldAxis(y), Tolerance: v.r.Tolerance}
	for _, s := range v.r.Suggestions {
		for _, r := range []struct {
			f discharge.FactorRange
			s *figure.Setting
		}{{x, &field.X}, {y, &field.Y}} {
			r.s.Lo, r.s.Hi = math.Min(r.s.Lo, s.Settings[r.f.Column]), math.Max(r.s.Hi, s.Settings[r.f.Column])
		}
	}
	var list []discharge.Settings
	for i := range fieldSteps {
		for j := range fieldSteps {
			s := best.Clone()
			s[x.Column], s[y.Column] = field.X.At(float64(i)/(fieldSteps-1)), field.Y.At(float64(j)/(fieldSteps-1))
			list = append(list, s)
		}
	}
	all, err := v.m.Evaluate(v.target, v.r.Tolerance, list)
	if err != nil {
		return err
	}
	for i := range fieldSteps {
		var l, d []float64
		for _, x := range all[i*fieldSteps : (i+1)*fieldSteps] {
			l, d = append(l, x.Shade.L), append(d, x.Decisive)
		}
		field.Lightness, field.DeltaE = append(field.Lightness, l), append(field.DeltaE, d)
	}
	for k, s := range v.r.Suggestions {
		field.Suggestions = append(field.Suggestions, figure.Spot{Name: strconv.Itoa(k + 1), X: s.Settings[x.Column], Y: s.Settings[y.Column], Exact: sameBut(best, s.Settings, x.Column, y.Column)})
	}
	for _, t := range v.m.Trials() {
		field.Lots = append(field.Lots, figure.Spot{Name: t.ID, X: t.Settings[x.Column], Y: t.Settings[y.Column]})
	}
	rest := discharge.Settings{}
	for _, f := range v.m.Factors() {
		if u, ok := best[f.Column]; ok && f.Column != x.Column && f.Column != y.Column {
			rest[f.Column] = u
		}
	}
	if len(rest) > 0 {
		v.held = settingsText(v.m.Process(), rest)
	}
	field.Held, v.field = v.held, field
	return nil
}

// fieldFactors are the factors across and up.
func (v *suggestView) fieldFactors() (x, y discharge.FactorRange, ok bool) {
	var free []discharge.FactorRange
	for _, f := range v.m.Factors() {
		if _, set := v.r.Suggestions[0].Settings[f.Column]; set && !f.Fixed && f.Transform != discharge.Recorded {
			free = append(free, f)
		}
	}
	up := -1
	for i, f := range free {
		if f.Column == "time_min" {
			up = i
		}
	}
	if len(free) < 2 {
		return x, y, false
	}
	if up < 0 {
		up = len(free) - 1
	}
	y = free[up]
	free = append(free[:up:up], free[up+1:]...)
	x = free[0]
	for _, f := range free {
		if f.IsStrength() {
			x = f
		}
	}
	return x, y, true
}

// fieldAxis spans the tested range and a tenth of it on either side.
func fieldAxis(f discharge.FactorRange) figure.Setting {
	s := figure.Setting{Name: f.Name(), Unit: f.Unit, From: f.Lo, To: f.Hi, Log: f.Transform == discharge.Log}
	if s.Log {
		room := math.Pow(f.Hi/f.Lo, 0.1)
		s.Lo, s.Hi = f.Lo/room, f.Hi*room
	} else {
		room := 0.1 * (f.Hi - f.Lo)
		s.Lo, s.Hi = f.Lo-room, f.Hi+room
	}
	// What the process cannot have is not shown: strengths above 100 %.
	if f.Check(s.Hi) != nil {
		s.Hi = f.Hi
	}
	if f.Check(s.Lo) != nil {
		s.Lo = f.Lo
	}
	return s
}

// sameBut reports whether settings agree in all but two columns.
func sameBut(a, b discharge.Settings, x, y string) bool {
	for c, v := range a {
		if c != x && c != y && math.Abs(b[c]-v) > 1e-9*math.Max(1, math.Abs(v)) {
			return false
		}
	}
	return true
}

// passSteps is the number of times at which the pass probability is worked out.
const passSteps = 81

func (v *suggestView) passCurves() error {
	var time discharge.FactorRange
	for _, f := range v.m.Factors() {
		if f.Column == "time_min" && !f.Fixed {
			time = f
		}
	}
	if time.Column == "" {
		return nil
	}
	axis := fieldAxis(time)
	p := &figure.Pass{From: time.Lo, To: time.Hi}
	for k, s := range v.r.Suggestions {
		if k == 3 {
			break
		}
		var list []discharge.Settings
		c := figure.PassCurve{Name: suggestionName(k)}
		for i := range passSteps {
			t := axis.Lo + (axis.Hi-axis.Lo)*float64(i)/(passSteps-1)
			own := s.Settings.Clone()
			own["time_min"] = t
			list, c.Minutes = append(list, own), append(c.Minutes, t)
		}
		all, err := v.m.Evaluate(v.target, v.r.Tolerance, list)
		if err != nil {
			return err
		}
		for _, x := range all {
			c.Pass = append(c.Pass, x.PassProbability)
		}
		p.Curves = append(p.Curves, c)
	}
	best := v.r.Suggestions[0]
	if w := best.TimeWindowMin; w != nil {
		p.Window = *w
	}
	v.pass = p
	minutes := best.Settings["time_min"]
	v.late = math.Max(1, math.Round(0.15*minutes))
	var list []discharge.Settings
	for _, t := range []float64{minutes - v.late, minutes + v.late} {
		own := best.Settings.Clone()
		own["time_min"] = math.Max(t, 0.01)
		list = append(list, own)
	}
	all, err := v.m.Evaluate(v.target, v.r.Tolerance, list)
	if err != nil {
		return err
	}
	v.passEarly, v.passLate = all[0].PassProbability, all[1].PassProbability
	return nil
}
