package discharge_test

import (
	"fmt"
	"strings"

	"example.com/dosetone/discharge"
)

// An instrument's export knows the samples, the chemist's list the lots.
func ExampleSheet_WithLots() {
	export, err := discharge.ReadCSV("export.csv", strings.NewReader(
		"id,illuminant,observer,L,a,b\nT1/1,D65,10,41.2,-2.1,-10.3\nT1/2,D65,10,41.9,-2.0,-10.1\n"))
	if err != nil {
		fmt.Println(err)
		return
	}
	lots, err := discharge.ReadCSV("lots.csv", strings.NewReader(
		"lot;role;process;strength_pct;ratio;time_min\nT1;trial;permanganate-pellet;6,5;1,4;12\n"))
	if err != nil {
		fmt.Println(err)
		return
	}
	joined, err := export.WithLots(lots)
	if err != nil {
		fmt.Println(err)
		return
	}
	table, err := discharge.FromSheet(joined, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	lot := table.Lots[0]
	fmt.Println(lot.ID, lot.Role, lot.Settings, len(lot.Panels), "panels")
	// Output: T1 trial map[ratio:1.4 strength_pct:6.5 time_min:12] 2 panels
}
