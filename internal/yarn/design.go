package yarn

import (
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
)

// Ladder returns a practitioner's trials: two levels of all factors but time,
// and a ladder of times, in equal steps or ratios as the laundry is used to.
// Three factors run every time at all four corners. With a temperature there
// are eight: 12 lots run every time at half of them, more lots every other time
// at all. lots must be a multiple of 4, at least 12.
func (l *Laundry) Ladder(lots int) ([]map[string]float64, error) {
	if lots < 12 || lots%4 != 0 {
		return nil, fmt.Errorf("yarn: a ladder has a multiple of 4 and at least 12 lots, not %d", lots)
	}
	times := l.times(lots / 4)
	var all []map[string]float64
	add := func(corner, from, every int) {
		for i := from; i < len(times); i += every {
			all = append(all, l.settings(l.corner(corner, times[i])))
		}
	}
	switch {
	case l.corners() == 4:
		for c := range 4 {
			add(c, 0, 1)
		}
	case lots == 12:
		for _, c := range [4]int{0b100, 0b001, 0b010, 0b111} { // a half fraction
			add(c, 0, 1)
		}
	default:
		for c := range 8 {
			add(c, bits.OnesCount(uint(c))%2, 2)
		}
	}
	return all, nil
}

func (l *Laundry) times(n int) (times []float64) {
	f := l.factors[minutes]
	for i := range n {
		u := float64(i) / float64(n-1)
		t := f.Lo + u*(f.Hi-f.Lo)
		if l.equalRatios {
			t = f.Lo * math.Pow(f.Hi/f.Lo, u)
		}
		times = append(times, round(t, f.digits))
	}
	return times
}

// corners counts the combinations of two levels of all factors but time.
func (l *Laundry) corners() int { return 1 << (len(l.factors) - 1) }

// corner c, whose bits say which factors but time are at their upper end, at a
// time in minutes.
func (l *Laundry) corner(c int, t float64) (x point) {
	for i, f := range l.factors {
		if i == minutes {
			x = append(x, t)
			continue
		}
		x = append(x, [2]float64{f.Lo, f.Hi}[c&1])
		c >>= 1
	}
	return x
}

// RandomSettings draws settings inside the trial region, uniformly and
// independently.
func (l *Laundry) RandomSettings(rng *rand.Rand) map[string]float64 {
	s := map[string]float64{}
	for _, f := range l.factors {
		s[f.Column] = round(f.Lo+(f.Hi-f.Lo)*rng.Float64(), f.digits+1)
	}
	return s
}
