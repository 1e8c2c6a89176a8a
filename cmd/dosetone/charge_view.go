package main

import (
	"fmt"
	"strconv"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/charge"
	"example.com/dosetone/discharge/chem"
)

// The JSON form of a weigh sheet. Masses are in g, volumes in L unless the key
// says kg.
type (
	sheetJSON struct {
		Process      string             `json:"process"`
		Settings     discharge.Settings `json:"settings"`
		GarmentsKg   float64            `json:"garments_kg"`
		Count        int                `json:"count,omitempty"`
		OxidizerG    float64            `json:"oxidizer_g"`
		ActiveOf     string             `json:"active_of"`
		Shared       []itemJSON         `json:"shared"`
		Batches      []batchJSON        `json:"batches"`
		SecondPass   bool               `json:"second_pass,omitempty"`
		WindowMin    *[2]float64        `json:"time_window_min"`
		Neutralizing *neutralJSON       `json:"neutralizing"`
		Steps        []stepJSON         `json:"steps"`
		Incompatible []pairJSON         `json:"incompatible"`
		Limits       []limitJSON        `json:"exposure_limits"`
		Cautions     []limitJSON        `json:"cautions"`
		Protection   []string           `json:"protection"`
		Effluent     string             `json:"effluent"`
		Deference    string             `json:"deference"`
		Cost         *costJSON          `json:"cost"`
		Warnings     []string           `json:"warnings"`
	}
	itemJSON struct {
		Part     string  `json:"part"`
		Name     string  `json:"name"`
		Chemical string  `json:"chemical,omitempty"`
		Amount   float64 `json:"amount"`
		Unit     string  `json:"unit"`
		Exact    float64 `json:"exact"`
		Weighed  bool    `json:"weighed"`
		Note     string  `json:"note,omitempty"`
	}
	batchJSON struct {
		Machine      string             `json:"machine"`
		GarmentsKg   float64            `json:"garments_kg"`
		Count        int                `json:"count,omitempty"`
		InDrumKg     float64            `json:"in_drum_kg"`
		Items        []itemJSON         `json:"items"`
		Realized     discharge.Settings `json:"realized_settings"`
		ActiveGPerKg float64            `json:"active_g_per_kg"`
		DoseErrorPct float64            `json:"dose_error_pct"`
		DeltaE       *float64           `json:"delta_e_rounding"`
	}
	neutralJSON struct {
		Kind          string     `json:"kind"`
		Agent         string     `json:"agent"`
		Equations     []string   `json:"equations"`
		Factor        [2]float64 `json:"factor_g_per_g"`
		Excess        float64    `json:"excess"`
		PurityPct     float64    `json:"purity_pct"`
		OxidizerG     float64    `json:"oxidizer_g"`
		AgentG        [2]float64 `json:"agent_g"`
		IfSpentG      float64    `json:"if_spent_g"`
		DioxideG      float64    `json:"manganese_dioxide_g"`
		Acid          string     `json:"acid,omitempty"`
		AcidG         float64    `json:"acid_g"`
		SodaAshG      float64    `json:"soda_ash_g"`
		Gas           string     `json:"gas,omitempty"`
		GasL          float64    `json:"gas_l"`
		PH            [2]float64 `json:"ph"`
		TempC         float64    `json:"temp_c"`
		TimeMin       float64    `json:"time_min"`
		Without       string     `json:"without"`
		ResidualTests []string   `json:"residual_tests"`
		Notes         []string   `json:"notes"`
		Source        string     `json:"source"`
	}
	stepJSON struct {
		Do      string      `json:"do"`
		TimeMin *[2]float64 `json:"time_min"`
		TempC   *[2]float64 `json:"temp_c"`
		BathL   float64     `json:"bath_l"`
		Caution string      `json:"caution,omitempty"`
	}
	pairJSON struct {
		A      string `json:"a"`
		B      string `json:"b"`
		Text   string `json:"text"`
		Source string `json:"source"`
	}
	limitJSON struct {
		Of     string `json:"of"`
		Text   string `json:"text"`
		Source string `json:"source"`
	}
	costJSON struct {
		Chemicals  float64  `json:"chemicals"`
		Water      float64  `json:"water"`
		Energy     float64  `json:"energy"`
		Total      float64  `json:"total"`
		PerGarment *float64 `json:"per_garment"`
		PerKg      float64  `json:"per_kg"`
		WaterL     float64  `json:"water_l"`
		HeatKWh    float64  `json:"heat_kwh"`
		CO2Kg      float64  `json:"co2_kg"`
		NoPrice    []string `json:"no_price"`
	}
)

func amount(q charge.Quantity) (float64, string) {
	if q.Volume != 0 {
		return float64(q.Volume), "L"
	}
	return float64(q.Mass), "g"
}

func itemsJSON(items []charge.Item) []itemJSON {
	out := make([]itemJSON, len(items))
	for i, x := range items {
		v, unit := amount(x.Take)
		exact, _ := amount(x.Exact)
		out[i] = itemJSON{x.Part, x.Name, x.Chemical, v, unit, exact, !x.Info, x.Note}
	}
	return out
}

func pairOrNil(p [2]float64) *[2]float64 {
	if p == ([2]float64{}) {
		return nil
	}
	return &p
}

func kilograms(m chem.Mass) float64 { return float64(m / chem.Kilogram) }

func sheetView(s *charge.Sheet) sheetJSON {
	v := sheetJSON{Process: s.Process.ID, Settings: s.Settings, GarmentsKg: kilograms(s.Garments), Count: s.Count, OxidizerG: float64(s.Oxidizer), ActiveOf: s.ActiveOf,
		Shared: itemsJSON(s.Shared), SecondPass: s.SecondPass, WindowMin: pairOrNil(s.Window), Protection: s.Protection, Effluent: s.Effluent, Deference: s.Deference, Warnings: append([]string{}, s.Warnings...),
		Incompatible: []pairJSON{}, Limits: []limitJSON{}, Cautions: []limitJSON{}}
	for _, b := range s.Batches {
		v.Batches = append(v.Batches, batchJSON{b.Machine, kilograms(b.Garments), b.Count, kilograms(b.InDrum), itemsJSON(b.Items), b.Realized, b.ActivePerKg, 100 * b.DoseError, b.DeltaE})
	}
	for _, x := range s.Steps {
		v.Steps = append(v.Steps, stepJSON{x.Do, pairOrNil(x.Min), pairOrNil(x.TempC), float64(x.Bath), x.Caution})
	}
	for _, c := range s.Conflicts {
		v.Incompatible = append(v.Incompatible, pairJSON{c.A, c.B, c.Text, c.Source})
	}
	for _, l := range s.Limits {
		v.Limits = append(v.Limits, limitJSON(l))
	}
	for _, c := range s.Cautions {
		v.Cautions = append(v.Cautions, limitJSON{c.Hazard, c.Text, c.Source})
	}
	if n := s.Neutralizing; n != nil {
		v.Neutralizing = neutralView(n)
	}
	if c := s.Cost; c != nil {
		v.Cost = &costJSON{Chemicals: c.Chemicals, Water: c.Water, Energy: c.Energy, Total: c.Total, PerKg: c.PerKg,
			WaterL: float64(c.WaterVolume), HeatKWh: c.HeatKWh, CO2Kg: c.CO2Kg, NoPrice: append([]string{}, c.NoPrice...)}
		if s.Count > 0 {
			v.Cost.PerGarment = &c.PerGarment
		}
	}
	return v
}

func neutralView(n *charge.Neutralizing) *neutralJSON {
	v := &neutralJSON{Kind: neutralKind(n), Agent: n.Demand.Agent.Name, Factor: [2]float64{float64(n.Demand.Least), float64(n.Demand.Most)}, Excess: n.Excess,
		PurityPct: n.Purity.Percent(), OxidizerG: float64(n.Oxidizer), AgentG: [2]float64{float64(n.Least), float64(n.Most)}, IfSpentG: float64(n.IfSpent),
		DioxideG: float64(n.Dioxide), Acid: n.Acid, AcidG: float64(n.AcidNet), SodaAshG: float64(n.SodaAsh), Gas: n.Gas, GasL: float64(n.GasAt25),
		PH: [2]float64{n.Conditions.PH.Lo, n.Conditions.PH.Hi}, TempC: n.TempC, TimeMin: n.Min, Without: n.Conditions.WithoutThem,
		ResidualTests: n.Conditions.ResidualTests, Notes: append([]string{}, n.Notes...), Source: chem.CommonPractice}
	v.Equations = equations(n)
	return v
}

func neutralKind(n *charge.Neutralizing) string {
	if n.Antichlor {
		return "antichlor"
	}
	return "neutralize"
}

// equations are written as they happen: antichlor baths are alkaline.
func equations(n *charge.Neutralizing) []string {
	var out []string
	for _, s := range n.Demand.Steps {
		r := s.Reaction
		if n.Antichlor {
			r = r.Alkaline()
		}
		text := r.String()
		if s.When != "" {
			text += " (" + s.When + ")"
		}
		out = append(out, text)
	}
	return out
}

func (e *env) showSheet(s *charge.Sheet) error {
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, sheetView(s))
	case formatCSV:
		return e.rows(sheetRows(s))
	}
	e.sheetText(s)
	return nil
}

// sheetRows lists the warnings, what is weighed, the steps and the cautions, so that no
// copy of the list goes without them.
func sheetRows(s *charge.Sheet) [][]any {
	rows := [][]any{{"machine", "part", "item", "amount", "unit", "exact", "weighed", "note"}}
	for _, w := range s.Warnings {
		rows = append(rows, []any{"", "warning", w, nil, "", nil, false, ""})
	}
	machines, items := s.Items()
	for i, x := range itemsJSON(items) {
		rows = append(rows, []any{machines[i], x.Part, x.Name, x.Amount, x.Unit, x.Exact, x.Weighed, x.Note})
	}
	for i, x := range s.Steps {
		rows = append(rows, []any{"", "step " + strconv.Itoa(i+1), x.Do, nil, "", nil, false, joinNotes(stepNote(x), x.Caution)})
	}
	for _, c := range s.Conflicts {
		rows = append(rows, []any{"", "caution", c.A + " with " + c.B, nil, "", nil, false, c.Text + " (" + c.Source + ")"})
	}
	for _, l := range s.Limits {
		rows = append(rows, []any{"", "caution", l.Of, nil, "", nil, false, l.Text + " (" + l.Source + ")"})
	}
	for _, c := range s.Cautions {
		rows = append(rows, []any{"", "caution", c.Hazard, nil, "", nil, false, c.Text + " (" + c.Source + ")"})
	}
	if s.Effluent != "" {
		rows = append(rows, []any{"", "caution", "effluent", nil, "", nil, false, s.Effluent})
	}
	return append(rows, []any{"", "caution", "who comes first", nil, "", nil, false, s.Deference})
}

func joinNotes(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

func rangeText(r [2]float64, unit string) string {
	switch {
	case r == [2]float64{}:
		return ""
	case r[0] == r[1]:
		return report.Short(r[0], 4) + unit
	}
	return report.Short(r[0], 4) + "-" + report.Short(r[1], 4) + unit
}

// stepNote is time, temperature and bath of a step.
func stepNote(s charge.Step) string {
	out := rangeText(s.Min, " min")
	if t := rangeText(s.TempC, " °C"); t != "" {
		f := [2]float64{chem.Celsius(s.TempC[0]).Fahrenheit(), chem.Celsius(s.TempC[1]).Fahrenheit()}
		out = joinNotes(out, t+" ("+rangeText([2]float64{round0(f[0]), round0(f[1])}, " °F")+")")
	}
	if s.Bath > 0 {
		out = joinNotes(out, fmt.Sprintf("%v of water", s.Bath.Round(1)))
	}
	return out
}

func round0(v float64) float64 { return float64(int(v + 0.5)) }
