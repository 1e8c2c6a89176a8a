package chem

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// CommonPractice marks habits of the trade that no source was found for.
const CommonPractice = "common practice, no source"

// FromMemory marks figures that were not checked against the official text.
const FromMemory = "from memory: check the current official text"

// atomicWeight returns the standard atomic weight [1]: the abridged value, or
// the conventional one where IUPAC gives an interval (H, C, N, O, S, Cl).
// Handbooks that still use S 32.066 and Cl 35.453 differ by less than 2 parts
// in 10 000, far below what a laundry can weigh.
func atomicWeight(symbol string) (float64, bool) {
	switch symbol {
	case "H":
		return 1.008, true
	case "C":
		return 12.011, true
	case "N":
		return 14.007, true
	case "O":
		return 15.999, true
	case "Na":
		return 22.990, true
	case "P":
		return 30.974, true
	case "S":
		return 32.06, true
	case "Cl":
		return 35.45, true
	case "K":
		return 39.098, true
	case "Ca":
		return 40.078, true
	case "Mn":
		return 54.938, true
	case "I":
		return 126.90, true
	}
	return 0, false
}

// Composition counts the atoms of a species and its charge.
type Composition struct {
	Atoms  map[string]int
	Charge int
}

// Parse reads a formula such as "H2C2O4.2H2O", "(NH3OH)2SO4" or "SO4^2-";
// the charge follows ^, and "e^-" is the electron.
func Parse(formula string) (Composition, error) {
	c := Composition{Atoms: map[string]int{}}
	body, charge, charged := strings.Cut(formula, "^")
	if charged {
		q, err := parseCharge(charge)
		if err != nil {
			return c, fmt.Errorf("formula %q: %w", formula, err)
		}
		c.Charge = q
	}
	if body == "e" {
		return c, nil
	}
	for part := range strings.SplitSeq(body, ".") {
		n, rest := leadingNumber(part)
		p := formulaParser{text: rest}
		if err := p.group(c.Atoms, n, 0); err != nil {
			return c, fmt.Errorf("formula %q: %w", formula, err)
		}
	}
	return c, nil
}

func parseCharge(s string) (int, error) {
	if s == "" {
		return 0, errors.New("nothing after ^; want a charge such as 2- or +")
	}
	n, sign := leadingNumber(s)
	switch sign {
	case "+":
		return n, nil
	case "-":
		return -n, nil
	}
	return 0, fmt.Errorf("charge %q: want digits and a sign, such as 2-", s)
}

// leadingNumber splits off digits; without any the number is 1.
func leadingNumber(s string) (int, string) {
	i := 0
	for i < len(s) && i < 4 && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	n, err := strconv.Atoi(s[:i])
	if err != nil {
		return 1, s
	}
	return n, s[i:]
}

type formulaParser struct{ text string }

// group adds times the atoms up to the end or a closing bracket.
func (p *formulaParser) group(atoms map[string]int, times, depth int) error {
	start := p.text
	for p.text != "" && p.text[0] != ')' {
		inner := map[string]int{}
		switch b := p.text[0]; {
		case b == '(' && depth < 2: // deeper, counts could overflow
			p.text = p.text[1:]
			if err := p.group(inner, 1, depth+1); err != nil {
				return err
			}
			if p.text == "" {
				return errors.New("a bracket is not closed")
			}
			p.text = p.text[1:]
		case b >= 'A' && b <= 'Z':
			n := 1
			for n < len(p.text) && p.text[n] >= 'a' && p.text[n] <= 'z' {
				n++
			}
			if _, ok := atomicWeight(p.text[:n]); !ok {
				return fmt.Errorf("no atomic weight for %q", p.text[:n])
			}
			inner[p.text[:n]] = 1
			p.text = p.text[n:]
		default:
			return fmt.Errorf("cannot read %q", p.text)
		}
		var n int
		n, p.text = leadingNumber(p.text)
		for a, k := range inner {
			atoms[a] += k * n * times
		}
	}
	if p.text == start {
		return errors.New("nothing where a formula should be")
	}
	if p.text != "" && depth == 0 {
		return errors.New("a bracket is closed that was not opened")
	}
	return nil
}

// MolarMassOf returns the molar mass of a formula. The mass of the electrons
// that make a charge is neglected.
func MolarMassOf(formula string) (MolarMass, error) {
	c, err := Parse(formula)
	if err != nil {
		return 0, err
	}
	var m float64
	for _, a := range elements() { // in fixed order: the last bits of a sum depend on it
		w, _ := atomicWeight(a)
		m += w * float64(c.Atoms[a])
	}
	return MolarMass(m), nil
}

// molar is MolarMassOf for the formulas of this package, which its tests parse.
func molar(formula string) MolarMass {
	m, err := MolarMassOf(formula)
	if err != nil {
		panic("chem: " + err.Error())
	}
	return m
}
