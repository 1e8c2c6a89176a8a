package charge

import (
	"fmt"
	"math"

	"example.com/dosetone/discharge/chem"
)

// split spreads the garments over the machines so that each is filled to the
// same share of its capacity: the fill changes the shade. Whole garments stay
// whole. Machines without limit share what is left equally.
func (m *maker) split() error {
	total, err := m.Load.Garments.mass()
	if err != nil {
		return err
	}
	count := m.Load.Garments.Count
	m.Sheet.Garments, m.Sheet.Count = total, count
	machines := m.Machines
	if len(machines) == 0 {
		machines = []Machine{{Name: "machine 1"}}
	}
	capacity, unlimited := chem.Mass(0), 0
	for _, c := range machines {
		capacity += c.Dry
		if c.Dry == 0 {
			unlimited++
		}
	}
	if unlimited > 0 && unlimited < len(machines) {
		return fmt.Errorf("%w: give the capacity of every machine or of none", ErrLoad)
	}
	if unlimited == 0 && total > capacity*(1+1e-12) {
		return fmt.Errorf("%w: %v of dry garments for machines that hold %v; make %d loads of at most %v, or add a machine",
			ErrCapacity, total, capacity, int(math.Ceil(float64(total/capacity))), capacity)
	}
	share := func(c Machine) float64 {
		if unlimited > 0 {
			return 1 / float64(len(machines))
		}
		return float64(c.Dry / capacity)
	}
	masses := make([]chem.Mass, len(machines))
	counts := make([]int, len(machines))
	for i, c := range machines {
		masses[i] = chem.Mass(share(c)) * total
	}
	if count > 0 {
		each := total / chem.Mass(count)
		left := count
		for i, c := range machines {
			counts[i] = int(math.Floor(share(c)*float64(count) + 1e-9))
			left -= counts[i]
		}
		// What is over goes where the fill is lowest and one more still fits.
		for ; left > 0; left-- {
			best := -1
			for i, c := range machines {
				fits := c.Dry == 0 || chem.Mass(counts[i]+1)*each <= c.Dry*(1+1e-12)
				if fits && (best < 0 || float64(counts[i]+1)/share(c) < float64(counts[best]+1)/share(machines[best])) {
					best = i
				}
			}
			if best < 0 {
				return fmt.Errorf("%w: %d garments of %v do not fit as whole pieces; take one out", ErrCapacity, count, each)
			}
			counts[best]++
		}
		for i := range masses {
			masses[i] = chem.Mass(counts[i]) * each
		}
	}
	for i, c := range machines {
		if masses[i] == 0 {
			continue // fewer garments than machines
		}
		name := c.Name
		if name == "" {
			name = fmt.Sprintf("machine %d", i+1)
		}
		m.Batches = append(m.Batches, Batch{Machine: name, Garments: masses[i], Count: counts[i]})
		m.drumLimits = append(m.drumLimits, c.Drum)
		if c.Dry > 0 && masses[i] < c.Dry/2 {
			m.warn("%s is filled to %.0f %% only: a light load tumbles differently and takes more color off (%s)", name, 100*float64(masses[i]/c.Dry), chem.CommonPractice)
		}
	}
	return nil
}

// drum adds up what is in each drum and refuses what is above its limit.
func (m *maker) drum() error {
	wet, _ := m.moisture()
	for i := range m.Batches {
		b := &m.Batches[i]
		b.InDrum = b.Garments + wet.Of(b.Garments)
		for _, it := range b.Items {
			if it.Part == "neutralize" {
				continue
			}
			switch {
			case it.Name == waterName && it.Part == "drum", m.form == gas && it.oxidizer:
				// already counted as moisture; gas flows through and weighs nothing
			case it.Part == "carrier" || it.Part == "drum" || it.Part == "bath" && !it.Info:
				b.InDrum += it.Take.Mass + chem.Mass(it.Take.Volume)*chem.Kilogram
			}
		}
		if limit := m.drumLimits[i]; limit > 0 && b.InDrum > limit {
			return fmt.Errorf("%w: %s would hold %v with carrier and water, its drum takes %v; split the load or lower the ratio", ErrCapacity, b.Machine, b.InDrum, limit)
		}
	}
	return nil
}

const waterName = "water in the garments"
