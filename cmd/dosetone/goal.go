package main

import (
	"slices"

	"github.com/spf13/cobra"

	"example.com/dosetone/discharge"
)

// goalFlags are what suggest and plan ask alike: the target and how near is near enough, the
// strengths there are, and the bounds.
type goalFlags struct {
	tolerance number
	target    string
	lab       labValue
	strengths numbers
	percent   reflectance
	viewing   viewing
	min, max  *factorFlags
}

func (g *goalFlags) register(cmd *cobra.Command, processes []discharge.Process) {
	fl := cmd.Flags()
	fl.StringVar(&g.target, "target", "", "table with the target's readings; - for standard input")
	fl.Var(&g.lab, "lab", "target as L,a,b under the model's viewing, or that of --viewing")
	fl.Var(&g.tolerance, "tolerance", "ΔE00 from the target that still passes (default 1.5)")
	fl.Var(&g.strengths, "strengths", "strengths in store, such as 1,2,4; nothing between them. Commas separate: 3,5 are two strengths, 3.5 is one")
	fl.Var(&g.viewing, "viewing", "viewing of the target's L,a,b or X,Y,Z; default: the file's, or the model's")
	fl.Var(&g.percent, "reflectance", "scale of spectra in a target file without a unit column")
	g.min = registerFactors(cmd, processes, "min-", "least", false)
	g.max = registerFactors(cmd, processes, "max-", "most", false)
}

// given reports whether there is a target.
func (g *goalFlags) given() bool { return g.target != "" || g.lab.set }

func (g *goalFlags) check() error {
	if g.target != "" && g.lab.set {
		return usage("give --target or --lab, not both")
	}
	if g.tolerance.set && g.tolerance.value <= 0 {
		return usage("--tolerance must be above 0 (a ΔE00, such as 1.5)")
	}
	return nil
}

// targets are those of the file, or the one of --lab.
func (e *env) targets(g *goalFlags, m *discharge.Model) ([]discharge.Target, error) {
	if g.lab.set {
		t := discharge.Target{ID: "lab", Viewing: m.Viewing(), Lab: g.lab.lab}
		if g.viewing != (viewing{}) {
			t.Viewing = g.viewing.Viewing
		}
		return []discharge.Target{t}, nil
	}
	return e.readTargetsUnder(g.target, m, bool(g.percent), g.viewing)
}

// bounds are the ranges that the flags set. A bound on one side takes the other
// end from the range that known gives: of the trials, or the usual one.
func (g *goalFlags) bounds(p discharge.Process, whose string, known func(discharge.Factor) (discharge.Range, bool)) (map[string]discharge.Range, error) {
	least, err := g.min.settings(p)
	if err != nil {
		return nil, err
	}
	most, err := g.max.settings(p)
	if err != nil {
		return nil, err
	}
	out := map[string]discharge.Range{}
	for _, x := range p.Factors {
		lo, hasLo := least[x.Column]
		hi, hasHi := most[x.Column]
		r, ok := known(x)
		switch {
		case !hasLo && !hasHi:
			continue
		case hasLo && hasHi:
			r = discharge.Range{Lo: lo, Hi: hi}
			if lo > hi {
				return nil, usage("--min-%s %g is above --max-%[1]s %[3]g", x.Name(), lo, hi)
			}
		case !ok:
			return nil, usage("give both --min-%s and --max-%[1]s: %s range of %s is not known", x.Name(), whose, x.Column)
		case hasLo && lo > r.Hi:
			return nil, usage("--min-%s lies outside %s %g to %g %s; give --max-%[1]s too to search there", x.Name(), whose, r.Lo, r.Hi, x.Unit)
		case hasHi && hi < r.Lo:
			return nil, usage("--max-%s lies outside %s %g to %g %s; give --min-%[1]s too to search there", x.Name(), whose, r.Lo, r.Hi, x.Unit)
		case hasLo:
			r.Lo = lo
		default:
			r.Hi = hi
		}
		out[x.Column] = discharge.Range{Lo: r.Lo, Hi: r.Hi}
	}
	return out, nil
}

// available are the strengths in store, by column.
func (g *goalFlags) available(p discharge.Process, bounds map[string]discharge.Range) (map[string][]float64, error) {
	if len(g.strengths) == 0 {
		return nil, nil
	}
	s, ok := p.Strength()
	if !ok {
		return nil, usage("--strengths: %s has no strength", p.ID)
	}
	for _, v := range g.strengths {
		if err := s.Check(v); err != nil {
			return nil, usage("--strengths: %w", err)
		}
	}
	r, bounded := bounds[s.Column]
	if bounded && !slices.ContainsFunc(g.strengths, r.Contains) {
		return nil, usage("--strengths: none lies between --min-strength and --max-strength")
	}
	return map[string][]float64{s.Column: g.strengths}, nil
}

// trialRange gives the range of a factor in a model's trials.
func trialRange(m *discharge.Model) func(discharge.Factor) (discharge.Range, bool) {
	ranges := map[string]discharge.Range{}
	for _, r := range m.Factors() {
		ranges[r.Column] = discharge.Range{Lo: r.Lo, Hi: r.Hi}
	}
	return func(x discharge.Factor) (discharge.Range, bool) { r, ok := ranges[x.Column]; return r, ok }
}
