package charge

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/chem"
)

// Prices are what the laundry pays, in one currency, and figures of its utilities.
type Prices struct {
	// PerKg is by chemical id in chem, or by carrier word ("stones"); for a
	// liquid hypochlorite it is per liter.
	PerKg map[string]float64
	// WaterPerM3 covers supply and effluent; 0: not counted.
	WaterPerM3 float64
	// EnergyPerKWh is the price of heat; 0: not counted.
	EnergyPerKWh float64
	InletC       *float64 // temperature of the water supply; nil means 15 °C
	CO2PerKWh    float64  // kg; 0: not counted
}

// Cost is what the load takes. Per garment when the count is known.
type Cost struct {
	Chemicals, Water, Energy, Total float64
	PerGarment                      float64 // 0 when the count is not known
	PerKg                           float64
	WaterVolume                     chem.Volume
	HeatKWh                         float64
	CO2Kg                           float64
	NoPrice                         []string // weighed, but without a price: Total is too low by them
}

// cost adds up the sheet. Water is that of every bath in the order of work, heat
// is what brings these baths from the supply to their temperature.
func (m *maker) cost() error {
	p := m.Prices
	if p == nil {
		return nil
	}
	if err := checkPrices(p, m.Process.Carrier); err != nil {
		return err
	}
	inlet := 15.0
	if p.InletC != nil {
		inlet = *p.InletC
	}
	c := &Cost{}
	price := func(key string, amount float64) {
		v, ok := p.PerKg[key]
		if !ok && amount > 0 && !slices.Contains(c.NoPrice, key) {
			c.NoPrice = append(c.NoPrice, key)
		}
		c.Chemicals += v * amount
	}
	_, items := m.Items()
	for _, i := range items {
		switch {
		case i.Info:
		case i.Chemical != "":
			price(i.Chemical, float64(i.Take.Mass/chem.Kilogram)+float64(i.Take.Volume))
		case i.Part == "carrier":
			price(m.Process.Carrier, float64(i.Take.Mass/chem.Kilogram))
		}
	}
	for _, s := range m.Steps {
		c.WaterVolume += s.Bath
		// 4.186 kJ/(kg K), 3600 kJ/kWh.
		if t := (s.TempC[0] + s.TempC[1]) / 2; t > inlet {
			c.HeatKWh += float64(s.Bath) * (t - inlet) * 4.186 / 3600
		}
	}
	for _, i := range m.Shared {
		if !i.Info {
			c.WaterVolume += i.Take.Volume
		}
	}
	c.Water = p.WaterPerM3 * float64(c.WaterVolume/chem.CubicMeter)
	c.Energy = p.EnergyPerKWh * c.HeatKWh
	c.CO2Kg = p.CO2PerKWh * c.HeatKWh
	c.Total = c.Chemicals + c.Water + c.Energy
	c.PerKg = c.Total / float64(m.Sheet.Garments/chem.Kilogram)
	if m.Sheet.Count > 0 {
		c.PerGarment = c.Total / float64(m.Sheet.Count)
	}
	m.Sheet.Cost = c
	return nil
}

func checkPrices(p *Prices, carrier string) error {
	for _, k := range slices.Sorted(maps.Keys(p.PerKg)) {
		v := p.PerKg[k]
		if err := finite("price of "+k, v); err != nil {
			return err
		}
		if _, err := chem.LookupChemical(k); err != nil && k != carrier {
			return fmt.Errorf("price: %w", err)
		}
	}
	if p.InletC != nil && !(*p.InletC >= 0 && *p.InletC <= 95) {
		return fmt.Errorf("%w: water supply at %g °C", ErrLoad, *p.InletC)
	}
	return cmp.Or(finite("price of water", p.WaterPerM3), finite("price of energy", p.EnergyPerKWh), finite("CO2 per kWh", p.CO2PerKWh))
}

// Ranked is a suggestion with the sheet that it makes of the load.
type Ranked struct {
	Suggestion discharge.Suggestion
	Sheet      *Sheet
	Err        error // why it cannot be weighed; then Sheet is nil
}

// RankByCost works out the load for every suggestion and orders them by total
// cost, those that cannot be run last. Columns that a suggestion leaves open are
// taken from l.Settings. l must have Prices.
func RankByCost(l Load, list []discharge.Suggestion) ([]Ranked, error) {
	if l.Prices == nil {
		return nil, fmt.Errorf("%w: ranking by cost needs prices", ErrLoad)
	}
	out := make([]Ranked, len(list))
	for i, s := range list {
		one := l
		one.Settings = discharge.Settings{}
		maps.Copy(one.Settings, l.Settings)
		maps.Copy(one.Settings, s.Settings)
		sheet, err := New(one)
		out[i] = Ranked{s, sheet, err}
	}
	total := func(r Ranked) float64 {
		if r.Sheet == nil {
			return math.MaxFloat64
		}
		return r.Sheet.Cost.Total
	}
	slices.SortStableFunc(out, func(a, b Ranked) int { return cmp.Compare(total(a), total(b)) })
	return out, nil
}
