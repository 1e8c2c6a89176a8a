package main

import (
	"errors"
	"fmt"
	"image"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// regionColumns are where a patch of a chart lies in the picture, in pixels from
// its top left, as --region has it.
func regionColumns() []string { return []string{"left", "top", "width", "height"} }

// chartPatch is a row of the file of a chart.
type chartPatch struct {
	id     string
	region image.Rectangle
	known  colorimetry.XYZ // D65/2
	row    int
}

// chart reads the patches of --chart in a picture and fits the correction.
func (e *env) chart(f convertFlags, im *colorimetry.Image, cloth image.Rectangle) (*colorimetry.ChartCorrection, error) {
	name := shown(f.chart)
	list, err := e.chartPatches(f)
	if err != nil {
		return nil, err
	}
	var patches []colorimetry.ChartPatch
	for _, p := range list {
		if p.region.Overlaps(cloth) {
			e.warn("%v", &discharge.RowError{File: name, Row: p.row, Err: fmt.Errorf("patch %s overlaps --region: the cloth's color is mixed with the chart's", p.id)})
		}
		patch, err := colorimetry.ReadPatch(p.id, p.known, im.Pixels, p.region)
		if err != nil {
			return nil, &discharge.RowError{File: name, Row: p.row, Err: err}
		}
		patches = append(patches, patch)
	}
	c, err := colorimetry.FitChart(colorimetry.Linear, patches)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return c, nil
}

// chartPatches reads the table of a chart: id, region and known color.
func (e *env) chartPatches(f convertFlags) ([]chartPatch, error) {
	s, err := e.sheet(f.chart)
	if err != nil {
		return nil, err
	}
	colors, regions, err := splitRegions(s)
	if err != nil {
		return nil, err
	}
	opt := &discharge.ReadOptions{Percent: bool(f.percent)}
	if len(f.viewings) > 0 && !hasColumn(s, "illuminant") && !hasColumn(s, "viewing") {
		opt.Viewing = f.viewings[0]
	}
	samples, err := discharge.SamplesFromSheet(colors, opt)
	if err != nil {
		return nil, err
	}
	e.warnAll(samples.Warnings)
	known, err := e.knownColors(samples)
	if err != nil {
		return nil, err
	}
	var list []chartPatch
	for i, item := range samples.Items {
		cells := regions[item.Row]
		region, err := colorimetry.ParseRegion(strings.Join(cells, ","))
		if err != nil {
			return nil, &discharge.RowError{File: s.Name, Row: item.Row, Column: strings.Join(regionColumns(), ", "), Value: strings.Join(cells, ", "), Err: err}
		}
		list = append(list, chartPatch{item.ID, region, known[i], item.Row})
	}
	return list, nil
}

// splitRegions takes the columns of the region out of a sheet, and returns their
// cells by line.
func splitRegions(s *discharge.Sheet) (colors *discharge.Sheet, regions map[int][]string, err error) {
	var at []int
	for _, name := range regionColumns() {
		i := columnOf(s, name)
		if i < 0 {
			return nil, nil, &discharge.RowError{File: s.Name, Row: s.HeaderLine, Column: name,
				Err: errors.New("the column is missing: a chart has one row per patch with id, left, top, width, height (its place in the picture, in pixels) and its known color")}
		}
		at = append(at, i)
	}
	cell := func(row []string, i int) string {
		if i < len(row) { // a short row lacks its last cells
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	without := func(row []string) []string {
		var out []string
		for i, v := range row {
			if !slices.Contains(at, i) {
				out = append(out, v)
			}
		}
		return out
	}
	c := *s
	c.Header, c.Rows = without(s.Header), nil
	regions = map[int][]string{}
	for n, row := range s.Rows {
		c.Rows = append(c.Rows, without(row))
		for _, i := range at {
			regions[s.Lines[n]] = append(regions[s.Lines[n]], cell(row, i))
		}
	}
	return &c, regions, nil
}

// knownColors brings the known colors under D65/2, where pictures are: spectra by
// computing them for it, others of the same observer by chromatic adaptation.
func (e *env) knownColors(s *discharge.Samples) ([]colorimetry.XYZ, error) {
	srgb := colorimetry.SRGBViewing()
	var known []colorimetry.XYZ
	if s.Kind == discharge.Spectral {
		w, err := colorimetry.NewWeights(srgb, s.Grid)
		if err != nil {
			return nil, err
		}
		for _, item := range s.Items {
			known = append(known, w.XYZ(item.Spectrum))
		}
		return known, nil
	}
	if s.Viewing.Observer != srgb.Observer {
		return nil, fmt.Errorf("%s: the known colors are under %s, and pictures are under %s: give the patches' spectra, or their colors for the 2 degree observer", s.Name, s.Viewing, srgb)
	}
	if s.Viewing != srgb {
		e.warn("%s: the known colors are under %s and are adapted to %s (%s), which is near to what the patches show under it; their spectra would tell", s.Name, s.Viewing, srgb, colorimetry.Bradford)
	}
	for _, item := range s.Items {
		xyz := item.XYZ
		if s.Viewing != srgb {
			xyz = colorimetry.Bradford.Adapt(xyz, s.Viewing.White(), srgb.White())
		}
		known = append(known, xyz)
	}
	return known, nil
}

// chartJSON is how well the correction meets the chart.
type chartJSON struct {
	Model   string  `json:"model"`
	Patches int     `json:"patches"`          // fitted
	LOOMean float64 `json:"loo_delta_e_mean"` // ΔE00 of patches predicted from the others
	LOOMax  float64 `json:"loo_delta_e_max"`
	Worst   string  `json:"worst_patch"`
}

func newChartJSON(c *colorimetry.ChartCorrection) *chartJSON {
	if c == nil {
		return nil
	}
	return &chartJSON{c.Model.String(), len(c.Patches), c.LeaveOneOutMean, c.LeaveOneOutMax, c.Worst().Name}
}
