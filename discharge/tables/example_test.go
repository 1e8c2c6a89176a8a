package tables_test

import (
	"errors"
	"fmt"
	"log"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/tables"
)

// invented is what an instrument might save: CIELAB of three readings, named by their lot.
const invented = `CGATS.17
DESCRIPTOR "invented data: no real laundry"
ILLUMINATION_NAME "D65"
OBSERVER_ANGLE "10"
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
P1/1 48.2 -2.6 -9.1
P1/2 47.6 -2.7 -9.4
P2/1 51.0 -2.5 -8.0
END_DATA
`

// A file of any format goes the same way: Read, then the sheet to whatever is wanted of it.
func ExampleRead() {
	sheet, err := tables.Read("export.txt", []byte(invented), tables.Options{})
	if err != nil {
		log.Fatal(err)
	}
	samples, err := discharge.SamplesFromSheet(sheet, nil)
	if err != nil {
		log.Fatal(err)
	}
	for _, s := range samples.Items {
		fmt.Println(s.ID, s.Lab.L, samples.Viewing)
	}

	_, err = tables.Read("lots.xlsx", []byte("%PDF-1.7"), tables.Options{})
	var fault *discharge.RowError
	fmt.Println(errors.As(err, &fault))
	// Output:
	// P1/1 48.2 D65/10
	// P1/2 47.6 D65/10
	// P2/1 51 D65/10
	// true
}
