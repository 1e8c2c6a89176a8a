package published

import (
	"bufio"
	"embed"
	"fmt"
	"path"
	"strconv"
	"strings"
)

//go:embed strd/*.dat
var strdFiles embed.FS

// StRD is one problem of the NIST Statistical Reference Datasets, nonlinear
// regression (https://www.itl.nist.gov/div898/strd/nls/nls_main.shtml, US
// Government work, public domain). The certified values have 11 digits.
type StRD struct {
	Name         string
	Level        string      // Lower, Average or Higher difficulty
	X            [][]float64 // predictors, one row per observation
	Y            []float64
	Start        [2][]float64
	Certified    []float64
	SD           []float64
	RSS          float64
	ResidualSD   float64
	Observations int // as printed
}

// strdNames is NIST's order of increasing difficulty.
var strdNames = [...]string{
	"Misra1a", "Chwirut2", "Chwirut1", "Lanczos3", "Gauss1", "Gauss2", "DanWood", "Misra1b",
	"Kirby2", "Hahn1", "Nelson", "MGH17", "Lanczos1", "Lanczos2", "Gauss3", "Misra1c", "Misra1d", "Roszman1", "ENSO",
	"MGH09", "Thurber", "BoxBOD", "Rat42", "MGH10", "Eckerle4", "Rat43", "Bennett5",
}

// AllStRD returns the 27 problems in NIST's order of difficulty.
func AllStRD() ([]StRD, error) {
	all := make([]StRD, 0, len(strdNames))
	for _, name := range strdNames {
		p, err := parseStRD(name)
		if err != nil {
			return nil, fmt.Errorf("published: strd/%s.dat: %w", name, err)
		}
		all = append(all, p)
	}
	return all, nil
}

func parseStRD(name string) (StRD, error) {
	p := StRD{Name: name}
	f, err := strdFiles.Open(path.Join("strd", name+".dat"))
	if err != nil {
		return p, err
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	data := false
	predictors := 1
	for sc.Scan() {
		line := sc.Text()
		fields := strings.Fields(line)
		switch {
		case len(fields) == 0:
		case fields[0] == "Data:" && len(fields) > 1 && fields[1] == "y":
			data = true
			predictors = len(fields) - 2
		case data:
			row, err := floats(fields)
			if err != nil || len(row) != predictors+1 {
				return p, fmt.Errorf("line %q: %d numbers, want %d", line, len(row), predictors+1)
			}
			p.Y = append(p.Y, row[0])
			p.X = append(p.X, row[1:])
		case strings.Contains(line, "Level of Difficulty"):
			p.Level = fields[0]
		case strings.HasPrefix(line, "Residual Sum of Squares:"):
			p.RSS, err = strconv.ParseFloat(fields[len(fields)-1], 64)
		case strings.HasPrefix(line, "Residual Standard Deviation:"):
			p.ResidualSD, err = strconv.ParseFloat(fields[len(fields)-1], 64)
		case strings.HasPrefix(line, "Number of Observations:"):
			p.Observations, err = strconv.Atoi(fields[len(fields)-1])
		case len(fields) == 6 && fields[1] == "=" && fields[0][0] == 'b':
			var row []float64
			if row, err = floats(fields[2:]); err != nil {
				return p, err
			}
			p.Start[0] = append(p.Start[0], row[0])
			p.Start[1] = append(p.Start[1], row[1])
			p.Certified = append(p.Certified, row[2])
			p.SD = append(p.SD, row[3])
		}
		if err != nil {
			return p, err
		}
	}
	if err := sc.Err(); err != nil {
		return p, err
	}
	if len(p.Y) != p.Observations || len(p.Certified) == 0 || p.RSS == 0 {
		return p, fmt.Errorf("incomplete: %d observations, %d parameters", len(p.Y), len(p.Certified))
	}
	return p, nil
}

func floats(fields []string) ([]float64, error) {
	row := make([]float64, len(fields))
	for i, s := range fields {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return nil, err
		}
		row[i] = v
	}
	return row, nil
}
