package chem_test

import (
	"fmt"

	"example.com/dosetone/discharge/chem"
)

// 25.0 mL of permanganate for 20 mL of 0.14 mol/L oxalate: 0.0448 mol/L
// (practchem standardization page), 7.08 g/L.
func ExamplePermanganateByOxalate() {
	e, err := chem.PermanganateByOxalate(
		chem.OxalateStandard{Solution: 0.14, Aliquot: 20 * chem.Milliliter},
		chem.Titres{Used: []chem.Volume{25.0 * chem.Milliliter, 25.1 * chem.Milliliter, 24.9 * chem.Milliliter}}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f g/L\n", float64(e.Value))
	// Output:
	// 7.08 g/L
}

func ExampleNeutralize() {
	agent, err := chem.LookupAgent("peroxide")
	if err != nil {
		fmt.Println(err)
		return
	}
	d, err := chem.Neutralize(agent)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(d.Steps[0].Reaction)
	fmt.Printf("%.3f g per g\n", float64(d.Most))
	// Output:
	// 2 MnO4^- + 5 H2O2 + 6 H^+ → 2 Mn^2+ + 5 O2 + 8 H2O
	// 0.538 g per g
}
