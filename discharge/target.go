package discharge

import "example.com/dosetone/colorimetry"

// Target is a shade to reach.
type Target struct {
	ID          string
	Viewing     colorimetry.Viewing
	Lab         colorimetry.Lab
	Spectrum    []float64
	Grid        colorimetry.Grid
	Light, Dark *colorimetry.Lab // approved limits, nil when not given
}
