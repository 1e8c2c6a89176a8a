package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/published"
)

func assayed(t *testing.T, line string) assayResult {
	t.Helper()
	return decode[assayResult](t, ok(t, append(strings.Fields("assay "+line), "--format", "json")...))
}

func TestAssayPublishedTitrations(t *testing.T) {
	// 20 mL of 0.14 mol/L oxalate, 25.0 mL: 0.0448 mol/L (practchem page).
	r := assayed(t, "permanganate-oxalate --oxalate-molarity 0.14 --oxalate-volume 20 --titre 25.0")
	assert.InDelta(t, 0.0448, r.Also[0].Value, 0.5e-4)
	assert.Contains(t, r.Warnings[0], "one titre")
	// 5.00 mL at 1.00 g/mL, 25.00 mL of 0.0700 mol/L: 1.30 % NaOCl (textbook problem).
	r = assayed(t, "chlorine-iodometry --sample 5 --thiosulfate 0.07 --titre 25,25,25 --density 1")
	assert.InDelta(t, 1.30, r.Also[1].Value*published.NaOClPerChlorine, 0.005)
	// The printed table for 10 mL and 0.1 N (thesmarttime).
	for i, want := range published.IodometricTitre() {
		r = assayed(t, fmt.Sprintf("chlorine-iodometry --sample 10 --thiosulfate 0.1 --titre %d", i+1))
		assert.InDelta(t, want, r.Value, 0.0055)
	}
	// 0.1 mL of stock taking 20.0 mL of 0.1 N: 340 g/L, 30.6 % at 1.11 kg/L
	// (pharmacopeia factor 1.7007 mg per mL, from memory).
	r = assayed(t, "peroxide-permanganate --sample 1 --made-up 10 --aliquot 1 --permanganate 0.02 --titre 20 --density 1.11")
	assert.InDelta(t, 340, r.Value, 0.5)
	assert.InDelta(t, 30.6, r.Also[0].Value, 0.1)
	// Second-order decay through two cells of the printed storage table gives the
	// day between to 1.5 %.
	s := published.StorageStrengths()[1]
	r = assayed(t, fmt.Sprintf("decay --ages 0,7 --strengths %g,%g --use-at 3", s.Percent[0], s.Percent[7]))
	assert.InEpsilon(t, s.Percent[3], r.Also[3].Value, 0.015)
	assert.LessOrEqual(t, r.Interval[0], r.Also[3].Value)
	assert.Contains(t, strings.Join(r.Warnings, " "), "first or second order")
}

// What assay finds goes into charge as it is.
func TestAssayFeedsCharge(t *testing.T) {
	r := assayed(t, "chlorine-iodometry --sample 5 --made-up 100 --aliquot 10 --thiosulfate 0.1 --titre 17.6,17.7,17.6")
	v := decode[sheetJSON](t, ok(t, append(strings.Fields("charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --mass 60 --liquid-step 0.001 --format json"),
		fmt.Sprintf("--stock-strength=%g", r.Value))...))
	assert.InDelta(t, 1800/r.Value, item(t, v.Batches[0].Items, "hypochlorite").Amount, 0.0006)
	assert.InEpsilon(t, 3, v.Batches[0].Realized["strength_gpl"], 1e-4)
}

// By hand: 0.2000 g of oxalate is 0.2/133.998 mol and reduces 2/5 of that of KMnO4,
// 0.2/133.998 × 0.4 × 158.034 = 0.09435 g, in 24.11 mL 3.913 g/L; 10 mL were made up
// to 60 mL, so the soak holds six times that.
func TestAssayCountsTheDilutionOfTheTitrant(t *testing.T) {
	const line = "permanganate-oxalate --titre 24.11,24.11 --oxalate 0.2"
	inBurette := 0.2 / 133.998 * 0.4 * 158.034 / 0.02411
	r := assayed(t, line)
	assert.InEpsilon(t, inBurette, r.Value, 1e-4)
	diluted := assayed(t, line+" --sample 10 --made-up 60")
	assert.InEpsilon(t, 6*inBurette, diluted.Value, 1e-4)
	assert.InEpsilon(t, 6*inBurette/158.034, diluted.Also[0].Value, 1e-4)
	// Two more volumes are known to their tolerances only.
	assert.Greater(t, *diluted.SE/diluted.Value, *r.SE/r.Value)
	assert.Len(t, diluted.Sources, len(r.Sources)+2)
	// Straight from the tank the titre is a sixth: the remedy must make it larger, and
	// more of the titrant's own solution does not.
	w := strings.Join(assayed(t, "permanganate-oxalate --titre 4.02,4.02 --oxalate 0.2").Warnings, " ")
	assert.Contains(t, w, "dilute the permanganate")
	assert.NotContains(t, w, "more sample")
}

// Every flag of assay belongs to a kind: none could be typed in vain.
func TestAssayFlagsBelongToAKind(t *testing.T) {
	known := map[string]bool{"help": true}
	for _, k := range assayKinds() {
		for _, name := range k.takes() {
			known[name] = true
		}
	}
	cmd := &cobra.Command{}
	(&assayFlags{}).register(cmd)
	n := 0
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		n++
		assert.True(t, known[f.Name], f.Name)
	})
	assert.Equal(t, n+1, len(known), "no kind names a flag that is not there")
}

func TestAssayForms(t *testing.T) {
	for _, k := range assayKinds() {
		line := map[string]string{
			"permanganate-oxalate":  "--titre 24,24.1 --oxalate 0.2",
			"carrier":               "--titre 59,59.1 --oxalate 0.1 --portion 10 --made-up 500",
			"chlorine-iodometry":    "--titre 17.6,17.7 --sample 5 --thiosulfate 0.1",
			"powder-chlorine":       "--titre 9.8,9.9 --portion 1 --made-up 250 --aliquot 25 --thiosulfate 0.1",
			"ozone-iodometry":       "--titre 22.4,22.5 --gas 1 --gas-temp 22 --thiosulfate 0.1",
			"peroxide-permanganate": "--titre 20,20.1 --sample 1 --permanganate 0.02",
			"uptake":                "--dry 5,5 --drained 7,7.1",
			"decay":                 "--ages 0,7,14 --strengths 125,118,112 --use-at 20",
		}[k.name]
		args := strings.Fields("assay " + k.name + " " + line)
		for _, form := range []string{"text", "json", "csv"} {
			out := ok(t, append(args, "--format", form)...)
			assert.Contains(t, strings.Join(strings.Fields(out), " "), "licensed staff come first", k.name)
		}
		r := assayed(t, k.name+" "+line)
		require.NotNil(t, r.Interval)
		assert.Less(t, r.Interval[0], r.Value, k.name)
		assert.Greater(t, r.Interval[1], r.Value, k.name)
		assert.NotEmpty(t, r.Use)
	}
}

func TestAssayRefusals(t *testing.T) {
	for line, want := range map[string]struct {
		code int
		says string
	}{
		"foo":                             {exitUsage, "chlorine-iodometry"},
		"carrier --titre 20":              {exitUsage, "--portion"},
		"permanganate-oxalate --titre 20": {exitUsage, "oxalate-molarity"},
		"chlorine-iodometry --titre -3 --sample 5 --thiosulfate 0.1":                       {exitFailed, "titre 1"},
		"ozone-iodometry --titre 22 --gas 1 --gas-pressure 1 --thiosulfate 0.1":            {exitFailed, "50 to 500 kPa"},
		"chlorine-iodometry --titre 3 --sample 5 --thiosulfate 0":                          {exitFailed, "thiosulfate"},
		"chlorine-iodometry --titre 3 --sample 5 --thiosulfate 0.1 --burette-tolerance -1": {exitUsage, "negative"},
		"chlorine-iodometry --titre 3 --sample 5 --thiosulfate 0.1 --made-up 100":          {exitUsage, "--aliquot is missing"},
		"chlorine-iodometry --titre 3 --sample 5 --thiosulfate 0.1 --aliquot 10":           {exitUsage, "--made-up is missing"},
		"peroxide-permanganate --titre 3 --sample 1 --permanganate 0.02 --made-up 100":     {exitUsage, "--aliquot is missing"},
		// By hand: 200/133.998 × 0.4 × 158.034/0.0241 = 3915 g/L, of 0.2 g a thousandth.
		"permanganate-oxalate --titre 24.10 --oxalate 200":             {exitFailed, "in g (not mg)"},
		"carrier --titre 5 --oxalate 0.1 --portion 0.01 --made-up 500": {exitFailed, "more permanganate"},
		"decay --ages 0,7 --strengths 125 --use-at 3":                  {exitUsage, "per assay"},
		"decay --ages 0 --strengths 125 --use-at 3":                    {exitFailed, "at least two"},
		"decay --ages 7,7 --strengths 125,120 --use-at 3":              {exitFailed, "one age"},
		"decay --ages 0,7 --strengths 125,120 --use-at -3":             {exitUsage, "0 to 10000"},
		"uptake --dry 5 --drained 4":                                   {exitFailed, "more than dry"},
		// What a kind does not use is never passed over.
		"chlorine-iodometry --titre 3 --sample 5 --thiosulfate 0.1 --portion 2 --oxalate 0.2":            {exitUsage, "does not use --oxalate, --portion"},
		"carrier --titre 20 --oxalate 0.1 --portion 10 --made-up 500 --sample 10":                        {exitUsage, "does not use --sample; it takes --titre, --portion, --made-up"},
		"permanganate-oxalate --titre 20 --oxalate 0.2 --sample 10 --made-up 60 --aliquot 5":             {exitUsage, "does not use --aliquot"},
		"permanganate-oxalate --titre 20 --oxalate 0.2 --sample 10":                                      {exitUsage, "belong together"},
		"permanganate-oxalate --titre 20 --oxalate 0.2 --sample 60 --made-up 10":                         {exitFailed, "no less than was taken"},
		"permanganate-oxalate --titre 20 --oxalate 0.2 --oxalate-molarity 0.1":                           {exitUsage, "one of the two"},
		"permanganate-oxalate --titre 20 --oxalate-molarity 0.1 --oxalate-volume 20 --oxalate-purity 99": {exitUsage, "--oxalate-molarity says all"},
		"decay --ages 0,7 --strengths 125,120 --use-at 9 --titre 3":                                      {exitUsage, "does not use --titre"},
		"uptake --dry 5 --drained 7100":                                                                  {exitFailed, "in one unit"},
		"uptake --dry 5 --drained 7 --balance-tolerance -1":                                              {exitUsage, "must not be negative"},
		"uptake --dry 5 --drained 7 --density 0":                                                         {exitUsage, "above 0"},
	} {
		r := tool(t, "", strings.Fields("assay "+line)...)
		assert.Equal(t, want.code, r.code, "%s: %s", line, r.err)
		assert.Contains(t, r.err, want.says, line)
		assert.Empty(t, r.out, line)
	}
}

// Digits beyond the second of the half width are noise that looks like knowledge.
func TestAssayShowsTheDigitsThatItsUncertaintySupports(t *testing.T) {
	for _, c := range []struct {
		v, half float64
		want    string
	}{
		{3.91536, 0.01702, "3.915"}, {3.91536, 0.0998, "3.92"}, {3.91536, 0.1702, "3.92"}, {12345.6, 170, "12350"}, {338.21, 12.4, "338"},
		{338.21, 1.24, "338.2"}, {0.0247746, 0.00010771, "0.02477"}, {2.5, 0, "2.5"}, {0.42, 0.005, "0.4200"}, {-0.0001, 0.2, "0.00"},
	} {
		assert.Equal(t, c.want, deserved(c.v, c.half), "%g ± %g", c.v, c.half)
	}
	text := ok(t, strings.Fields("assay permanganate-oxalate --titre 24.10,24.16,24.08 --oxalate 0.2000,0.2004,0.1999")...)
	assert.Regexp(t, `(?m)^potassium permanganate in the solution: \d\.\d{3} g/L \(95 %: \d\.\d{3} to \d\.\d{3}\)$`, text)
	assert.Regexp(t, `(?m)^  molarity: 0\.0\d{4} mol/L$`, text)
}

// A strength that no number holds is an error, in every unit that is shown.
func TestAssaysShowNumbersOnly(t *testing.T) {
	for _, line := range []string{
		"chlorine-iodometry --titre 17.6,17.7 --sample 5 --thiosulfate 1e308",
		"chlorine-iodometry --titre 17.6,17.7 --sample 5 --thiosulfate 0.1 --density 5e-324",
		"decay --ages 0,1 --strengths 1,1e200 --use-at 9000",
	} {
		r := tool(t, "", append([]string{"assay"}, strings.Fields(line)...)...)
		assert.Equal(t, exitFailed, r.code, line)
		assert.Empty(t, r.out, line)
	}
}
