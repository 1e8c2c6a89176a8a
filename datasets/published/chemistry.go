// Package published holds check values from standards, papers and handbooks that tests compare
// with. Each is named with its source; README.md has licences and what was left out.
package published

// Check values of assays, neutralization and the decay of oxidizers. They are
// single figures from the sources named at each, kept as printed.

// Factor is grams of agent per gram of substance by a balanced equation.
type Factor struct {
	Substance, Agent, Products string
	GramsPerGram               float64
}

// Stoichiometry returns factors that were worked out by hand from the balanced
// equations, to 4 decimals, with the atomic weights S 32.066 and Cl 35.453 of
// older tables. Our own arithmetic, not a publication.
func Stoichiometry() []Factor {
	return []Factor{
		{"KMnO4", "NaHSO3", "Mn2+", 1.6462},
		{"KMnO4", "Na2SO3", "Mn2+", 1.9939},
		{"KMnO4", "H2O2", "Mn2+", 0.5381},
		{"KMnO4", "H2C2O4", "Mn2+", 1.4243},
		{"KMnO4", "H2C2O4.2H2O", "Mn2+", 1.9943},
		{"KMnO4", "C6H8O6", "Mn2+", 2.7862},
		{"KMnO4", "Na2S2O5", "Mn2+", 1.5037},
		{"KMnO4", "(NH3OH)2SO4", "N2O", 1.2983},
		{"KMnO4", "(NH3OH)2SO4", "N2", 2.5966},
		{"KMnO4", "(NH3OH)2SO4", "NO3-", 0.4328},
		{"MnO2", "NaHSO3", "Mn2+", 1.1970},
		{"MnO2", "Na2S2O5", "Mn2+", 1.0934},
		{"MnO2", "Na2SO3", "Mn2+", 1.4498},
		{"MnO2", "H2O2", "Mn2+", 0.3913},
		{"MnO2", "H2C2O4.2H2O", "Mn2+", 1.4501},
		{"MnO2", "C6H8O6", "Mn2+", 2.0259},
		{"MnO2", "(NH3OH)2SO4", "N2O", 0.9440},
		{"Cl2", "H2O2", "Cl-", 0.4797},
		{"Cl2", "NaHSO3", "Cl-", 1.4676},
		{"Cl2", "Na2S2O5", "Cl-", 1.3406},
		{"Cl2", "Na2SO3", "Cl-", 1.7776},
		{"Cl2", "C6H8O6", "Cl-", 2.4839},
		{"Cl2", "Na2S2O3", "SO4 2-", 0.5575},
		{"Cl2", "Na2S2O3.5H2O", "SO4 2-", 0.8750},
		{"Cl2", "Na2S2O3", "S4O6 2-", 4.4597},
		{"Cl2", "Na2S2O3.5H2O", "S4O6 2-", 7.0003},
	}
}

// OtherFactors of the same kind, for what is not an agent.
const (
	KMnO4PerIndigoAcid    = 0.4821 // to isatin and manganese(II)
	KMnO4PerIndigoNeutral = 0.8034 // to isatin and manganese dioxide
	ChlorinePerIndigo     = 0.5407 // to isatin and chloride
	MnO2PerKMnO4          = 0.5501
	NaOClPerChlorine      = 1.0499
)

// FieldDose is what a drinking-water guide prints for a dechlorinating agent:
// mg per mg of chlorine at pH 7, about a tenth above the equation for the
// sulfites. Disinfection of Pipelines and Storage Facilities Field Guide
// (AWWA), Table 7-2.
type FieldDose struct {
	Agent string
	Dose  float64
}

// FieldDoses returns the table.
func FieldDoses() []FieldDose {
	return []FieldDose{
		{"sodium bisulfite", 1.61}, {"sodium metabisulfite", 1.47}, {"sodium sulfite", 1.96},
		{"sodium thiosulfate", 1.9}, {"calcium thiosulfate", 1.22}, {"ascorbic acid", 2.5}, {"sodium ascorbate", 2.8},
	}
}

// IodometricTitre is the available chlorine in g/L, to 2 decimals, for 1 to 7 mL
// of 0.1 N thiosulfate on 10 mL of liquor. Laboratory method page
// "Determination of the strength of sodium hypochlorite", thesmarttime.
func IodometricTitre() [7]float64 {
	return [7]float64{0.35, 0.71, 1.06, 1.42, 1.77, 2.13, 2.48}
}

// Titration factors of USP 29: Potassium Permanganate and Sodium Hypochlorite
// Solution.
const (
	USPPermanganatePerOxalate = 0.4718 // mg KMnO4 per mg Na2C2O4
	USPPermanganatePerML003N  = 0.9482 // mg KMnO4 per mL of 0.03 N
	USPHypochloritePerML01N   = 3.722  // mg NaOCl per mL of 0.1 N thiosulfate
)

// StorageStrength is available chlorine in trade % of a store that began at
// 12.5, computed by its author from published rate constants ("Breakdown of
// bleach over time by storage temperature", troublefreepool wiki); a few cells.
type StorageStrength struct {
	Fahrenheit float64
	Days       []float64
	Percent    []float64
}

// StorageStrengths returns the first week at the coolest and warmest store.
func StorageStrengths() []StorageStrength {
	days := []float64{0, 1, 2, 3, 4, 5, 6, 7}
	return []StorageStrength{
		{70, days, []float64{12.5, 12.44, 12.39, 12.33, 12.28, 12.22, 12.17, 12.12}},
		{100, days, []float64{12.5, 11.92, 11.42, 10.99, 10.61, 10.28, 9.98, 9.71}},
	}
}

// ChlorineDecay returns means, worked out here, of the available-chlorine
// fraction at some ages in weeks: Draper and Smith, Applied Regression Analysis
// (Wiley 1966), the product that levels off near 0.39.
func ChlorineDecay() (weeks, fraction []float64) {
	return []float64{8, 12, 16, 20, 28, 36, 42}, []float64{0.490, 0.450, 0.433, 0.423, 0.405, 0.395, 0.390}
}
