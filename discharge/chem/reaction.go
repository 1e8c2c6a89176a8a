package chem

import (
	"fmt"
	"slices"
	"strings"
)

// Term is a number of formula units of one species.
type Term struct {
	N       int
	Species string
}

// Reaction is an equation: Left becomes Right.
type Reaction struct{ Left, Right []Term }

// Half is a half-reaction in acid form. A reduction takes Electrons on the
// left, an oxidation sets them free on the right.
type Half struct {
	Reaction
	Electrons int
}

// Combine lets the oxidation feed the reduction: each is taken as often as
// makes the electrons equal, and what stands on both sides cancels. It panics on
// half-reactions without electrons.
func Combine(reduction, oxidation Half) Reaction {
	if reduction.Electrons < 1 || oxidation.Electrons < 1 {
		panic(fmt.Sprintf("chem: half-reactions of %d and %d electrons, each needs one or more", reduction.Electrons, oxidation.Electrons))
	}
	g := gcd(reduction.Electrons, oxidation.Electrons)
	a, b := oxidation.Electrons/g, reduction.Electrons/g
	var n net
	n.add(reduction.Left, a)
	n.add(oxidation.Left, b)
	n.add(reduction.Right, -a)
	n.add(oxidation.Right, -b)
	return n.reaction()
}

// net keeps the signed count of each species in the order of appearance:
// above 0 it is used up, below 0 it is made.
type net []Term

func (n *net) add(terms []Term, times int) {
	for _, t := range terms {
		i := slices.IndexFunc(*n, func(u Term) bool { return u.Species == t.Species })
		if i < 0 {
			*n = append(*n, Term{0, t.Species})
			i = len(*n) - 1
		}
		(*n)[i].N += times * t.N
	}
}

func (n net) reaction() Reaction {
	g := 0
	for _, t := range n {
		g = gcd(g, t.N)
	}
	var r Reaction
	for _, t := range n {
		switch {
		case t.N > 0:
			r.Left = append(r.Left, Term{t.N / g, t.Species})
		case t.N < 0:
			r.Right = append(r.Right, Term{-t.N / g, t.Species})
		}
	}
	// Acid, alkali and water come last, as equations are usually written.
	last := func(a, b Term) int {
		return slices.Index(surroundings(), a.Species) - slices.Index(surroundings(), b.Species)
	}
	slices.SortStableFunc(r.Left, last)
	slices.SortStableFunc(r.Right, last)
	return r
}

func surroundings() []string { return []string{"H^+", "OH^-", "H2O"} }

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}

// Alkaline writes the reaction for a bath without acid: every H⁺ is met by an
// OH⁻ on both sides.
func (r Reaction) Alkaline() Reaction {
	var n net
	n.add(r.Left, 1)
	n.add(r.Right, -1)
	h := r.Count("H^+")
	n.add([]Term{{-h, "H^+"}, {h, "H2O"}, {-h, "OH^-"}}, 1)
	return n.reaction()
}

// Count returns how many of the species are used up; below 0 they are made.
func (r Reaction) Count(species string) int {
	n := 0
	for _, t := range r.Left {
		if t.Species == species {
			n += t.N
		}
	}
	for _, t := range r.Right {
		if t.Species == species {
			n -= t.N
		}
	}
	return n
}

// Check returns what does not balance: an element or the charge.
func (r Reaction) Check() error {
	atoms := map[string]int{}
	charge := 0
	side := func(terms []Term, sign int) error {
		for _, t := range terms {
			c, err := Parse(t.Species)
			if err != nil {
				return err
			}
			for a, k := range c.Atoms {
				atoms[a] += sign * t.N * k
			}
			charge += sign * t.N * c.Charge
		}
		return nil
	}
	if err := side(r.Left, 1); err != nil {
		return err
	}
	if err := side(r.Right, -1); err != nil {
		return err
	}
	for _, a := range elements() {
		if atoms[a] != 0 {
			return fmt.Errorf("%s: %+d atoms of %s too many on the left", r, atoms[a], a)
		}
	}
	if charge != 0 {
		return fmt.Errorf("%s: charge differs by %+d", r, charge)
	}
	return nil
}

func elements() []string {
	return []string{"H", "C", "N", "O", "Na", "P", "S", "Cl", "K", "Ca", "Mn", "I"}
}

// String writes the equation: "2 MnO4^- + 5 HSO3^- + H^+ → 2 Mn^2+ + …".
func (r Reaction) String() string {
	side := func(terms []Term) string {
		out := make([]string, len(terms))
		for i, t := range terms {
			out[i] = t.Species
			if t.N != 1 {
				out[i] = fmt.Sprintf("%d %s", t.N, t.Species)
			}
		}
		return strings.Join(out, " + ")
	}
	return side(r.Left) + " → " + side(r.Right)
}
