package study

import (
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// size is Quick, or Full with as many laundries of each kind and process as
// DOSETONE_STUDY says, from seed DOSETONE_STUDY_FROM on, and as asked says. The
// quick form has too few laundries to judge by figures that differ by a tenth:
// it asserts only what is plain in a handful.
func size() Size {
	if !full() {
		return Quick()
	}
	z := Full(env("DOSETONE_STUDY", 1))
	z.From = uint64(env("DOSETONE_STUDY_FROM", int(z.From)))
	return asked(z)
}

func full() bool { return os.Getenv("DOSETONE_STUDY") != "" }

func TestDesigns(t *testing.T) {
	t.Parallel()
	z := size()
	if !full() {
		z.Seeds = 8 // four laundries cannot tell designs apart
	}
	r, err := Designs(z)
	require.NoError(t, err)
	t.Log(r)
	t.Logf("plan of 12 over ladder of 16: median %.2f, 95th percentile %.2f", r.Median("plan, 12 lots")/r.Median("ladder, 16 lots"), r.P95("plan, 12 lots")/r.P95("ladder, 16 lots"))
	assert.Less(t, r.Median("plan, 12 lots"), 1.1*r.Median("ladder, 12 lots"))
	assert.Less(t, r.P95("plan, 12 lots"), r.P95("ladder, 12 lots"))
}

func TestNextLots(t *testing.T) {
	t.Parallel()
	z := size()
	if !full() {
		z.Seeds = 6 // four laundries cannot tell what four lots are worth
	}
	r, err := NextLots(z)
	require.NoError(t, err)
	t.Log(r)
	for _, how := range []string{"predict, ", "suggest time, "} {
		gain := r.Median(how+"12 lots") - r.Median(how+"and 4 planned")
		ladder := r.Median(how+"12 lots") - r.Median(how+"and 4 of a ladder")
		t.Logf("%sgain in the median: planned %.2f, ladder %.2f", how, gain, ladder)
		assert.Greater(t, gain, ladder)
		if full() && env("DOSETONE_STUDY", 1) >= 2 { // fewer laundries cannot tell
			assert.GreaterOrEqual(t, gain, 2*ladder)
			assert.Greater(t, gain, 0.0)
		}
	}
}

func TestRecalibrations(t *testing.T) {
	t.Parallel()
	r, err := Recalibrations(size())
	require.NoError(t, err)
	t.Log(r)
	for _, n := range novelties() {
		what := "new " + n.name + ", "
		in := r.Inside[n.name]
		t.Logf("%s2 lots / 16 lots anew: %.2f; %.1f %% of %d next lots inside the 95 %% region", what, r.Median(what+"recalibrated by 2 lots")/r.Median(what+"16 lots anew"), 100*in.Share(), in.Of)
		assert.GreaterOrEqual(t, in.Share(), 0.85)
		// Another machine shifts the dose by less than lots scatter: a handful
		// of laundries cannot show what two lots gain there.
		if full() || n.name != "machine" {
			assert.Less(t, r.Median(what+"recalibrated by 2 lots"), r.Median(what+"as it was"))
		}
	}
}

func TestUpsetLots(t *testing.T) {
	t.Parallel()
	r, err := Upsets(size())
	require.NoError(t, err)
	t.Log(r)
	t.Logf("one upset lot in 16 costs a factor of %.3f in the median", r.Median("16 lots, one upset")/r.Median("16 lots"))
	assert.Less(t, r.Median("16 lots, one upset"), 1.5*r.Median("16 lots"))
}

func TestSwatches(t *testing.T) {
	t.Parallel()
	r, err := Swatches(size())
	require.NoError(t, err)
	t.Log(r)
	t.Logf("swatches instead of spectra cost a factor of %.3f in the median", r.Median("16 lots as swatches")/r.Median("16 lots as spectra"))
	assert.Less(t, r.Median("16 lots as swatches"), 1.3*r.Median("16 lots as spectra"))
}

func TestReachability(t *testing.T) {
	t.Parallel()
	r, err := Reachability(size())
	require.NoError(t, err)
	t.Log(r)
	assert.LessOrEqual(t, r.Refused.Share(), 0.05)
	for d, c := range r.Called {
		assert.GreaterOrEqual(t, c.Share(), 0.9, d)
	}
}

func TestPassCalibration(t *testing.T) {
	t.Parallel()
	bins, err := PassCalibration(size())
	require.NoError(t, err)
	for _, b := range bins {
		t.Logf("%.2f to %.2f: %3d suggestions, promised %.3f, kept %.3f", b.Lo, b.Hi, b.Suggestions, b.Promised, b.Kept)
		if b.Suggestions >= 10 {
			assert.Less(t, math.Abs(b.Promised-b.Kept), 0.25)
		}
	}
}

func TestTensile(t *testing.T) {
	t.Parallel()
	z := size()
	if !full() {
		z.Seeds = 4 // lots of one laundry miss together: four laundries cannot tell coverage
	}
	r, err := Tensile(z)
	require.NoError(t, err)
	t.Logf("tensile loss: median error %.2f points, %.1f %% of %d lots inside the 95 %% interval", r.Median, 100*r.Covered.Share(), r.Covered.Of)
	assert.Less(t, r.Median, 2.5)
	assert.GreaterOrEqual(t, r.Covered.Share(), 0.85)
}
