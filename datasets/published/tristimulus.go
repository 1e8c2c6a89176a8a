package published

import "strings"

// An E308Weight is one printed row of a table of ASTM E308 tristimulus
// weights, 3 decimals.
type E308Weight struct {
	Viewing          string // "D65/10"
	Start, End, Step int    // of the table, nm
	Wavelength       int    // nm
	W                struct{ X, Y, Z float64 }
}

// E308Tables returns printed weights of ASTM E308:
//
//   - 10 nm, 360-780 nm, seven illuminants, both observers: the tables as
//     distributed with the MATLAB toolbox of Westland, Ripamonti and Cheung
//     (only the ASTM numbers were taken);
//   - 10 and 20 nm, 360-830 nm (360-820 at 20 nm), A/10 and D65/2, and D65/2 at 20 nm with
//     the ends folded to 400-700 nm: from the test-suite of colour-science
//     0.4.6 (BSD-3-Clause), which states that they match E308-15.
func E308Tables() []E308Weight {
	var out []E308Weight
	for _, r := range colorTable("e308_10nm.csv") {
		out = append(out, E308Weight{r.viewing(), 360, 780, 10, r.int("wavelength_nm"), r.xyz("Wx", "Wy", "Wz")})
	}
	for _, r := range colorTable("e308_2015.csv") {
		step, end := r.int("step_nm"), 830
		if step == 20 {
			end = 820
		}
		out = append(out, E308Weight{r.viewing(), 360, end, step, r.int("wavelength_nm"), r.xyz("Wx", "Wy", "Wz")})
	}
	for _, r := range colorTable("e308_folded_d65_2.csv") {
		out = append(out, E308Weight{"D65/2", 400, 700, 20, r.int("wavelength_nm"), r.xyz("Wx", "Wy", "Wz")})
	}
	return out
}

// A LagrangeRow is one printed row of the interpolation coefficients of ASTM
// E2022-11 for 10 nm (from the test-suite of colour-science 0.4.6).
type LagrangeRow struct {
	Boundary bool // three points, first or last interval; otherwise four points
	Offset   int  // nm after the second of four, or the first of three points
	C        []float64
}

// E2022Coefficients returns those rows, 4 decimals.
func E2022Coefficients() []LagrangeRow {
	var out []LagrangeRow
	for _, r := range colorTable("e2022_lagrange_10nm.csv") {
		row := LagrangeRow{r.text("interval_kind") == "boundary_3point", r.int("offset_nm"), nil}
		for _, column := range []string{"c0", "c1", "c2", "c3"} {
			if c, ok := r.optional(column); ok {
				row.C = append(row.C, c)
			}
		}
		out = append(out, row)
	}
	return out
}

// A White is a printed white point.
type White struct {
	Viewing string
	XYZ     struct{ X, Y, Z float64 }
	Source  string
	Quality string // published, published-secondary, published-derived, memory…
}

// Whites returns white points of CIE 15:2018 (2 decimals), of ASTM E308
// (3 decimals; three of them from memory) and the column sums of the printed
// E308 tables.
func Whites() []White {
	var out []White
	for _, r := range colorTable("whites.csv") {
		out = append(out, White{r.viewing(), r.xyz("X", "Y", "Z"), r.text("source"), r.text("quality")})
	}
	return out
}

// A WorkedExample is a spectrum with its tristimulus values.
type WorkedExample struct {
	Name, Viewing    string
	Start, End, Step int
	Values           []float64 // reflectance factor
	XYZ              struct{ X, Y, Z float64 }
	Lab              *struct{ L, A, B float64 } // against the printed E308 white; nil when not given
	Published        bool                       // printed elsewhere; otherwise computed with another program
}

// WorkedExamples returns the test spectrum of colour-science 0.4.6
// (BSD-3-Clause) with the values its test-suite and documentation print for
// weights by E2022, and the 24 chart patches that Ohta published in 1997 (as
// distributed with colour-science) with values computed by an independent
// program.
func WorkedExamples() []WorkedExample {
	type point struct {
		name string
		nm   int
	}
	spectra := make(map[point]float64)
	for _, r := range colorTable("worked_spectra.csv") {
		spectra[point{r.text("spectrum"), r.int("wavelength_nm")}] = r.float("reflectance_factor")
	}
	var out []WorkedExample
	for _, r := range colorTable("worked_examples.csv") {
		e := WorkedExample{
			Name: r.text("case") + " " + r.text("spectrum"), Viewing: r.viewing(),
			Start: r.int("start_nm"), End: r.int("end_nm"), Step: r.int("step_nm"),
			XYZ: r.xyz("X", "Y", "Z"), Published: r.text("source") != "computed here",
		}
		if _, ok := r.optional("L"); ok {
			lab := r.lab("L", "a", "b")
			e.Lab = &lab
		}
		name, _, _ := strings.Cut(r.text("spectrum"), ",") // drops ", every second value of 400-700"
		name = strings.TrimSuffix(name, " at 400-700/20")
		for nm := e.Start; nm <= e.End; nm += e.Step {
			v, ok := spectra[point{name, nm}]
			if !ok {
				panic("published: no value of " + name)
			}
			e.Values = append(e.Values, v)
		}
		out = append(out, e)
	}
	return out
}

// DenimSpectra returns three measured denims, 400-700 nm in steps of 10 nm,
// by sample number, from the object set of Vrhel, Gershon, Iwan, Measurement
// and analysis of object reflectance spectra, Color Res. Appl. 19(1), 1994,
// 4-9: V046 dark blue jeans, V076 faded jeans, V156 denim. No licence text was
// found for the set; three rows of it are cited for checks.
func DenimSpectra() map[string][]float64 {
	out := make(map[string][]float64)
	for _, r := range colorTable("denim_spectra.csv") {
		for _, sample := range []string{"V046", "V076", "V156"} {
			out[sample] = append(out[sample], r.float(sample))
		}
	}
	return out
}

// A DenimColor is a color of one of the DenimSpectra, computed with an
// independent program from 10 nm weights, white of ASTM E308.
type DenimColor struct {
	Sample, Viewing string
	XYZ             struct{ X, Y, Z float64 } // 5 decimals
	Lab             struct{ L, A, B float64 } // 4 decimals
}

// DenimColors returns the colors of DenimSpectra.
func DenimColors() []DenimColor {
	var out []DenimColor
	for _, r := range colorTable("denim_color.csv") {
		out = append(out, DenimColor{r.text("sample"), r.viewing(), r.xyz("X", "Y", "Z"), r.lab("L", "a", "b")})
	}
	return out
}
