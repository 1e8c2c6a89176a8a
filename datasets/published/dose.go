package published

import (
	"embed"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"
)

// Sources and licences of these files are in README-statistics.md.
//
//go:embed dose/*.csv dose/*.json stat/*.csv stat/*.json stat/*.dat
var statFiles embed.FS

// DoseFit is a reference fit of a published dose-response data set: computed in
// R from many starts and polished to about 12 digits (standard errors to 9,
// those of the observed information to 7).
type DoseFit struct {
	ID   string // data set / model
	Data string // name for DoseData
	Fit  struct {
		Model      string
		Fixed      map[string]float64
		N, P, DF   int
		Parameters map[string]float64
		SE         map[string]float64
		ObservedSE map[string]float64 `json:"se_observed_information"`
		RSS        float64
		ResidualSD float64 `json:"residual_se"`
		LogLik     float64
		AIC, AICc  float64
		Condition  float64 `json:"scaled_jacobian_condition"`
		ED         map[string]struct {
			Estimate   float64
			SE         float64    `json:"se_delta"`
			CI         [2]float64 `json:"ci95_delta"`
			ObservedSE float64    `json:"se_delta_observed_information"`
		}
		LackOfFit *struct {
			PureSS float64 `json:"ss_pure_error"`
			PureDF int     `json:"df_pure_error"`
			LackSS float64 `json:"ss_lack_of_fit"`
			LackDF int     `json:"df_lack_of_fit"`
			F      float64
			P      float64 `json:"p_value"`
		} `json:"lack_of_fit"`
		// Profile limits at 95 %; nil where the profile never reaches the limit.
		Profile    map[string][2]*float64 `json:"ci95_profile"`
		Prediction []struct {
			X          float64
			Fit        float64
			SE         float64    `json:"se_fit"`
			Confidence [2]float64 `json:"ci95"`
			Prediction [2]float64 `json:"pi95"`
		}
	}
}

// DoseFits returns all reference fits.
func DoseFits() ([]DoseFit, error) {
	b, err := statFiles.ReadFile("dose/fits.json")
	if err != nil {
		return nil, err
	}
	var fits []DoseFit
	if err := json.Unmarshal(b, &fits); err != nil {
		return nil, fmt.Errorf("published: dose/fits.json: %w", err)
	}
	return fits, nil
}

// DoseData returns the text cells of a data set of dose/, header first.
func DoseData(name string) ([][]string, error) { return table("dose/" + name) }

// StatTable returns the text cells of a table of stat/, header first.
func StatTable(name string) ([][]string, error) { return table("stat/" + name) }

// StatJSON decodes a file of stat/ into v.
func StatJSON(name string, v any) error {
	b, err := statFiles.ReadFile("stat/" + name)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(b, v); err != nil {
		return fmt.Errorf("published: stat/%s: %w", name, err)
	}
	return nil
}

// StatColumns returns the numeric columns of a table of stat/ by name; cells
// that are no numbers are an error.
func StatColumns(name string, columns ...string) ([][]float64, error) {
	cells, err := StatTable(name)
	if err != nil {
		return nil, err
	}
	return numbers(name, cells, columns)
}

// DoseColumns is StatColumns for a data set of dose/.
func DoseColumns(name string, columns ...string) ([][]float64, error) {
	cells, err := DoseData(name)
	if err != nil {
		return nil, err
	}
	return numbers(name, cells, columns)
}

func table(name string) ([][]string, error) {
	f, err := statFiles.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	cells, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("published: %s: %w", name, err)
	}
	return cells, nil
}

func numbers(name string, cells [][]string, columns []string) ([][]float64, error) {
	out := make([][]float64, len(columns))
	for k, want := range columns {
		at := -1
		for j, h := range cells[0] {
			if h == want {
				at = j
			}
		}
		if at < 0 {
			return nil, fmt.Errorf("published: %s: no column %q", name, want)
		}
		for i, row := range cells[1:] {
			v, err := strconv.ParseFloat(row[at], 64)
			if err != nil {
				return nil, fmt.Errorf("published: %s: row %d: %w", name, i+2, err)
			}
			out[k] = append(out[k], v)
		}
	}
	return out, nil
}

// StatFile returns a file of stat/ as it is.
func StatFile(name string) ([]byte, error) { return statFiles.ReadFile("stat/" + name) }
