package yarn

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// form tells where the oxidizer comes from.
type form int

const (
	carrier form = iota
	bath
	enzyme
	gas
)

// process is what all laundries of a process have in common.
type process struct {
	id       string
	form     form
	contacts float64 // of a carrier: times as many per weight as pellets have
	spans    [3]span // of strength, medium and time
}

// span is the range of a factor in practice; a laundry's trial region is a part of it.
type span struct {
	column string
	lo, hi float64
	digits int // decimals to which ends of regions are rounded
}

// processes is the table of what can be simulated.
func processes() []process {
	return []process{
		{"permanganate-pellet", carrier, 1, [3]span{{"strength_pct", 2, 12, 2}, {"ratio", 0.5, 2.5, 2}, {"time_min", 4, 40, 1}}},
		{"permanganate-powder", carrier, 4, [3]span{{"strength_pct", 0.8, 8, 2}, {"ratio", 0.12, 0.6, 3}, {"time_min", 5, 30, 1}}},
		{"permanganate-stone", carrier, 1, [3]span{{"strength_gpl", 3, 40, 1}, {"ratio", 0.5, 2.5, 2}, {"time_min", 3, 30, 1}}},
		{"hypochlorite-bath", bath, 0, [3]span{{"strength_gpl", 0.8, 10, 2}, {"liquor_ratio", 5, 20, 1}, {"time_min", 5, 60, 1}}},
		{"laccase-bath", enzyme, 0, [3]span{{"strength_pct", 0.3, 5, 2}, {"liquor_ratio", 5, 20, 1}, {"time_min", 8, 60, 1}}},
		{"ozone-gas", gas, 0, [3]span{{"strength_gnm3", 12, 120, 1}, {"moisture_pct", 22, 80, 1}, {"time_min", 4, 50, 1}}},
	}
}

// Processes lists the processes that can be simulated.
func Processes() (ids []string) {
	for _, p := range processes() {
		ids = append(ids, p.id)
	}
	return ids
}

func lookup(id string) (process, error) {
	all := processes()
	i := slices.IndexFunc(all, func(p process) bool { return p.id == id })
	if i < 0 {
		return process{}, fmt.Errorf("yarn: no process %q, only %s", id, strings.Join(Processes(), ", "))
	}
	return all[i], nil
}

// Factor is one column of the settings of a laundry with its trial region.
type Factor struct {
	Column string // file column, ending in its unit
	Lo, Hi float64
	digits int // decimals of Lo and Hi; random settings have one more
}

// A point is settings in the order of a laundry's factors.
type point []float64

// Indices of a point.
const (
	strength = iota
	medium   // weight of carrier or of liquor over that of garments, or moisture in %
	minutes
	celsius // of an enzyme only
)

// at returns settings as a point. A factor that is not given is at the middle.
func (l *Laundry) at(settings map[string]float64) point {
	x := slices.Clone(l.middle)
	for i, f := range l.factors {
		if v, ok := settings[f.Column]; ok {
			x[i] = v
		}
	}
	return x
}

func (l *Laundry) settings(x point) map[string]float64 {
	s := map[string]float64{}
	for i, f := range l.factors {
		s[f.Column] = x[i]
	}
	return s
}

// round gives x with so many decimals.
func round(x float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(x*p) / p
}
