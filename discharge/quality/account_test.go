package quality_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
	"example.com/dosetone/internal/laundry"
	"example.com/dosetone/internal/study"
)

// flat is the K/S of sulfur black in arbitrary units: broad, little higher in the red
// (common practice, no source).
func flat(nm float64) float64 { return 0.6 + 0.4*math.Exp(-(nm-630)*(nm-630)/(2*110*110)) }

// scaled multiplies the K/S of every reading: cloth dyed to another depth.
func (r *room) scaled(lot discharge.Lot, f float64) discharge.Lot {
	for i := range lot.Panels {
		for k := range lot.Panels[i].Readings {
			x := &lot.Panels[i].Readings[k]
			for n, v := range x.Spectrum {
				x.Spectrum[n] = colorimetry.FromKS(f * colorimetry.KS(v))
			}
			x.Lab = r.Weights.Lab(x.Spectrum)
		}
	}
	return lot
}

// Loads with less indigo and more sulfur than those of the trials, of which a third is
// left after discharge, differ in their bases by one to two units. Lots of them lie off
// the path: that is their fabric, and not a tenth of the dye spread over everything and
// taken away again by twice the dose. With 0.82 of the dye and a flat K/S on top it
// does look much like it: one lot in ten may still be taken for it.
func TestAnotherFabricIsNoBackStaining(t *testing.T) {
	c := confusion{}
	for _, kind := range laundry.Kinds()[:2] {
		for _, process := range study.Processes() {
			r := newRoom(t, kind, process, 5)
			for range 5 {
				lot, base := r.run(r.Laundry, r.settings, laundry.RunOptions{NoHotSpots: true})
				base[0] = r.addCast(r.scaled(base[0], 0.82), 1, flat)
				lot = r.addCast(r.scaled(lot, 0.82), 0.3, flat)
				rep, err := quality.Judge(r.table, lot, r.standard, &quality.Options{Model: r.model, Base: base, Tolerance: 2 * r.scatter})
				require.NoError(t, err)
				c.add("other fabric", said(rep))
			}
		}
	}
	c.print(t)
	stained, _ := c.share("other fabric", string(quality.BackStaining))
	assert.LessOrEqual(t, stained, 0.1)
}

// A load whose base lies between a usual one and another fabric's is judged by its lots:
// one off the path by what is left of the base's difference is of another fabric, one on
// the path at its standard's lightness or darker is a matter of dose.
func TestBaseAndLotTogetherTellTheFabric(t *testing.T) {
	m := pelletModel(t)
	standard := discharge.Target{ID: "S", Viewing: m.Viewing(), Lab: m.ShadeAt(0.4)}
	base := m.ShadeAt(0)
	base.L, base.B = base.L+1.6, base.B+0.7 // 3.5 standard deviations of loads together
	load := []discharge.Lot{{ID: "P", Role: discharge.Base, Panels: []discharge.Panel{{ID: "b", Readings: []discharge.Reading{{Lab: base}}}}}}
	judge := func(c colorimetry.Lab) quality.Fault {
		table, lot := lotOf(m, c, c, c, c)
		r, err := quality.Judge(table, lot, standard, &quality.Options{Model: m, Base: load, Tolerance: 1})
		require.NoError(t, err)
		require.NotEmpty(t, r.Causes)
		return r.Causes[0].Fault
	}
	off := m.ShadeAt(0.4)
	off.A, off.B = off.A+1, off.B+1.5
	assert.Equal(t, quality.OtherFabric, judge(off))
	assert.Equal(t, quality.UnderDischarged, judge(m.ShadeAt(0.36)))
}

// What neutralization has left on every other garment is as brown as what it has left on
// all; the garments' own scatter must not hide it.
func TestAPatchyCastIsSeen(t *testing.T) {
	residue := func(nm float64) float64 { return 0.1 + 0.9*math.Exp(-(nm-400)/140) }
	c := confusion{}
	for _, kind := range laundry.Kinds() {
		r := newRoom(t, kind, "permanganate-pellet", 6)
		q := r.castOf(6*r.scatter, residue)
		for range 12 {
			lot, base := r.run(r.Laundry, r.settings, laundry.RunOptions{NoHotSpots: true})
			stained := lot
			stained.Panels = lot.Panels[:2]
			r.addCast(stained, q, residue)
			c.add("patchy", said(r.judge(t, lot, base, 2*r.scatter)))
		}
	}
	c.print(t)
	share, _ := c.share("patchy", string(quality.BrownCast))
	assert.GreaterOrEqual(t, share, 0.9)
}
