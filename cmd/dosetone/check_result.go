package main

import (
	"strings"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// checkResult is the JSON form of one lot's judgment; other programs rely on
// its keys. With one lot it stands alone, with several in a list.
type checkResult struct {
	Lot             string           `json:"lot"`
	Verdict         quality.Decision `json:"verdict"`
	Probability     float64          `json:"probability"`
	MeanProbability float64          `json:"mean_probability"`
	Share           shareJSON        `json:"share_inside"`
	MorePanels      *int             `json:"more_panels"` // null unless measure-more can be settled
	Confidence      float64          `json:"confidence"`
	Difference      string           `json:"difference"`
	Tolerance       float64          `json:"tolerance"`
	LimitTolerance  float64          `json:"limit_tolerance"` // past a light or dark limit
	Viewing         string           `json:"viewing"`
	Standard        shadeJSON        `json:"standard"`
	Mean            shadeJSON        `json:"mean"`
	DeltaELot       float64          `json:"delta_e_lot"`
	DeltaEDecisive  float64          `json:"delta_e_decisive"` // from the nearest approved shade
	DeltaEInterval  [2]float64       `json:"delta_e_interval"`
	Panels          []panelJSON      `json:"panels"`
	Worst           *spotJSON        `json:"worst_reading"`
	Reread          *rereadJSON      `json:"reread"` // null unless one reading stands alone
	Along           *float64         `json:"along"`  // null without a model
	Off             *float64         `json:"off"`
	Level           *float64         `json:"level"`
	StandardLevel   *float64         `json:"standard_level"`
	DosePct         *float64         `json:"dose_pct"`
	DoseMinutes     *float64         `json:"dose_minutes"`
	DoseResidual    *float64         `json:"dose_residual_z"` // against the settings
	LikelyCause     *string          `json:"likely_cause"`    // null when there is nothing to explain
	Causes          []causeJSON      `json:"causes"`
	Correction      *correctionJSON  `json:"correction"`
	Positions       []positionJSON   `json:"positions"`
	Contrasts       []contrastJSON   `json:"contrasts"`
	Metamerism      []metamerJSON    `json:"metamerism"`
	ShadeBand       string           `json:"shade_band"`
	ReadAt          string           `json:"read_at,omitempty"`
	Notes           []string         `json:"notes"`
	Drift           *driftJSON       `json:"drift,omitempty"`

	report *quality.Report
}

type shareJSON struct {
	Estimate    float64    `json:"estimate"`
	Interval    [2]float64 `json:"interval"`
	Required    *float64   `json:"required"`
	Probability *float64   `json:"probability"`
	K           *float64   `json:"k"` // one-sided tolerance factor
	Q           *float64   `json:"q"` // to be at least k
}

type panelJSON struct {
	ID string `json:"id"`
	shadeJSON
	DeltaE   float64 `json:"delta_e"`
	Decisive float64 `json:"delta_e_decisive"` // from the nearest approved shade
	Inside   bool    `json:"inside"`
	HotSpot  bool    `json:"hot_spot"`
}

type rereadJSON struct {
	Panel    string  `json:"panel"`
	Position string  `json:"position"`
	Apart    float64 `json:"apart"` // from its panel's other readings
	Usual    float64 `json:"usual"` // in the other panels
}

type spotJSON struct {
	Panel    string  `json:"panel"`
	Position string  `json:"position"`
	DeltaE   float64 `json:"delta_e"`
}

type causeJSON struct {
	Cause    string  `json:"cause"`
	Size     float64 `json:"size"`
	Evidence string  `json:"evidence"`
	Remedy   string  `json:"remedy"`
}

type correctionJSON struct {
	Possible     bool               `json:"possible"`
	Why          string             `json:"why,omitempty"`
	GoOn         bool               `json:"go_on"` // with the charge in the drum, rather than a second pass with a fresh one
	Settings     discharge.Settings `json:"settings,omitempty"`
	Minutes      *float64           `json:"minutes"`
	Interval     *[2]float64        `json:"interval"` // 90 %
	DosePct      *float64           `json:"dose_pct"`
	Extrapolated bool               `json:"extrapolated"`
	Pace         *float64           `json:"pace"` // times the least minutes that the last pass took; null where nothing is known of it
	Caution      string             `json:"caution,omitempty"`
}

type positionJSON struct {
	Position string  `json:"position"`
	DL       float64 `json:"dL"`
	DA       float64 `json:"da"`
	DB       float64 `json:"db"`
}

type contrastJSON struct {
	Sides    [2]string  `json:"sides"`
	DeltaE   float64    `json:"delta_e"`
	DL       float64    `json:"dL"`
	Interval [2]float64 `json:"interval"`
}

type metamerJSON struct {
	Viewing string  `json:"viewing"`
	DeltaE  float64 `json:"delta_e"`
	Index   float64 `json:"index"`
	Judged  bool    `json:"judged"` // false where lot and standard differ too much to begin with
	Risk    bool    `json:"risk"`
}

type driftJSON struct {
	Lots         int      `json:"lots"`
	Drifted      bool     `json:"drifted"`
	Since        string   `json:"since,omitempty"`
	FromStart    bool     `json:"from_start"` // since the first lots, so that nothing has changed
	Returned     int      `json:"returned"`   // lots since a drift that are as promised again
	DoseShiftPct *float64 `json:"dose_shift_pct"`
	Words        []string `json:"words"`
}

// newDriftJSON is nil without a trend.
func newDriftJSON(t *quality.Trend) *driftJSON {
	if t == nil {
		return nil
	}
	d := &driftJSON{Lots: t.Lots, Drifted: t.Drifted, Since: t.Since, FromStart: t.FromStart, Returned: t.Returned, Words: t.Words}
	if t.Since != "" {
		d.DoseShiftPct = &t.DoseShiftPct
	}
	return d
}

func newCheckResult(r *quality.Report) checkResult {
	v := r.Verdict
	out := checkResult{Lot: r.Lot, Verdict: v.Decision, Probability: v.Probability, MeanProbability: v.MeanProbability, Confidence: v.Confidence,
		Share:      shareJSON{Estimate: v.ShareInside, Interval: [2]float64{v.ShareLo, v.ShareHi}},
		Difference: r.Difference, Tolerance: r.Tolerance, LimitTolerance: r.LimitTolerance, Viewing: r.Viewing.String(), Standard: shadeOf(r.Standard), Mean: shadeOf(r.Mean),
		DeltaELot: r.DeltaE, DeltaEDecisive: r.Decisive, DeltaEInterval: [2]float64{v.DeltaELo, v.DeltaEHi},
		Panels: []panelJSON{}, Causes: []causeJSON{}, Positions: []positionJSON{}, Contrasts: []contrastJSON{}, Metamerism: []metamerJSON{},
		ReadAt: r.ReadAt, Notes: append([]string{}, r.Notes...), report: r}
	if v.MorePanels > 0 {
		out.MorePanels = &v.MorePanels
	}
	if v.RequiredShare > 0 {
		out.Share.Required, out.Share.Probability = &v.RequiredShare, &v.ShareProbability
	}
	if x := v.Variables; x != nil {
		out.Share.K, out.Share.Q = &x.K, &x.Q
	}
	for _, p := range r.Panels {
		out.Panels = append(out.Panels, panelJSON{p.ID, shadeOf(p.Lab), p.DeltaE, p.Decisive, p.Inside, p.HotSpot})
	}
	if r.ReadAt == "" {
		out.Worst = &spotJSON{r.Worst.Panel, r.Worst.Position, r.Worst.DeltaE}
	}
	if a := r.Reread; a != nil {
		out.Reread = &rereadJSON{a.Panel, a.Position, a.Apart, a.Usual}
	}
	if s := r.Split; s != nil {
		out.Along, out.Off, out.Level, out.StandardLevel, out.DosePct = &s.Along, &s.Off, &s.Level, &s.StandardLevel, &s.DosePct
		if s.HasMinutes {
			out.DoseMinutes = &s.Minutes
		}
		if s.Residual != nil && s.ResidualUsable {
			out.DoseResidual = &s.ResidualZ
		}
	}
	for _, c := range r.Causes {
		out.Causes = append(out.Causes, causeJSON{string(c.Fault), c.Size, c.Evidence, c.Remedy})
	}
	if len(out.Causes) > 0 {
		out.LikelyCause = &out.Causes[0].Cause
	}
	if c := r.Correction; c != nil {
		out.Correction = &correctionJSON{Possible: c.Possible, Why: c.Why, GoOn: c.GoOn}
		if c.Possible {
			out.Correction = &correctionJSON{Possible: true, GoOn: c.GoOn, Settings: c.Settings, Minutes: &c.Minutes, Interval: &[2]float64{c.Lo, c.Hi}, DosePct: &c.DosePct,
				Extrapolated: c.Extrapolated, Caution: c.Caution}
			if c.Learned {
				out.Correction.Pace = &c.Pace
			}
		}
	}
	for _, p := range r.Uniformity.Positions {
		out.Positions = append(out.Positions, positionJSON{p.Position, p.DL, p.DA, p.DB})
	}
	for _, c := range r.Uniformity.Contrasts {
		out.Contrasts = append(out.Contrasts, contrastJSON{c.Sides, c.DeltaE, c.DL, c.LoHi})
	}
	for _, m := range r.Metamerism {
		out.Metamerism = append(out.Metamerism, metamerJSON{m.Viewing.String(), m.DeltaE, m.Index, m.Judged, m.Risk})
	}
	return out
}

func checkRows(list []checkResult) [][]any {
	rows := [][]any{{"lot", "verdict", "probability", "delta_e_lot", "delta_e_lo", "delta_e_hi", "share_inside", "along", "off", "dose_pct", "dose_residual_z",
		"likely_cause", "correction_min", "correction_lo", "correction_hi", "shade_band", "L", "a", "b", "viewing", "difference", "tolerance", "delta_e_decisive", "panels_outside"}}
	for _, r := range list {
		var cause any
		if r.LikelyCause != nil {
			cause = *r.LikelyCause
		}
		var minutes, lo, hi any
		if c := r.Correction; c != nil && c.Possible {
			minutes, lo, hi = *c.Minutes, c.Interval[0], c.Interval[1]
		}
		rows = append(rows, []any{r.Lot, string(r.Verdict), r.Probability, r.DeltaELot, r.DeltaEInterval[0], r.DeltaEInterval[1], r.Share.Estimate,
			r.Along, r.Off, r.DosePct, r.DoseResidual, cause, minutes, lo, hi, r.ShadeBand, r.Mean.L, r.Mean.A, r.Mean.B, r.Viewing, r.Difference, r.Tolerance, r.DeltaEDecisive, strings.Join(r.report.Outside(), "; ")})
	}
	return rows
}
