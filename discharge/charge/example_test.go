package charge_test

import (
	"fmt"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/charge"
	"example.com/dosetone/discharge/chem"
)

// 60 kg at 10 L/kg and 3 g/L take 1800 g of available chlorine: 15 L of 120 g/L.
func ExampleNew() {
	p, err := discharge.LookupProcess("hypochlorite-bath")
	if err != nil {
		fmt.Println(err)
		return
	}
	sheet, err := charge.New(charge.Load{
		Process:     p,
		Settings:    discharge.Settings{"strength_gpl": 3, "liquor_ratio": 10, "time_min": 20, "temp_c": 40, "ph": 10.5},
		Garments:    charge.Garments{Count: 100, Each: 600 * chem.Gram},
		Scale:       charge.Scale{Chemical: 10 * chem.Gram, Liquid: 0.1 * chem.Liter},
		Store:       charge.Store{Strength: 120 * chem.GramPerLiter}, // as assayed today
		Neutralizer: &charge.Neutralizer{Agent: "sulfite", Purity: 97 * chem.Percent, Excess: 1.1},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, i := range sheet.Batches[0].Items {
		fmt.Println(i.Part, i.Name, i.Take)
	}
	fmt.Println(sheet.Oxidizer, sheet.ActiveOf)

	_, err = charge.New(charge.Load{Process: p, Settings: sheet.Settings, Garments: charge.Garments{Mass: 60 * chem.Kilogram},
		Store: charge.Store{Strength: 120}, Others: []string{"acetic-acid"}})
	fmt.Println(err != nil)
	// Output:
	// bath water 585 L
	// bath sodium or calcium hypochlorite, assayed 120 g/L 15 L
	// neutralize water 480 L
	// neutralize sodium sulfite 3.63 kg
	// 1.8 kg available chlorine as Cl2
	// true
}
