package discharge

import (
	"bytes"
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
)

// impatient is a context that is canceled at its n-th question, so that a test
// needs no clock.
type impatient struct {
	context.Context
	left, asked int
}

func (c *impatient) Err() error {
	c.asked++
	if c.left--; c.left < 0 {
		return context.Canceled
	}
	return nil
}

// What may take long asks its context often, and gives its error.
func TestLongWorkEndsWithItsContext(t *testing.T) {
	table, err := ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	m, err := Fit(table, nil)
	require.NoError(t, err)
	p, err := LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	target := Target{ID: "middle", Viewing: m.viewing, Lab: m.path.at(0.5)}
	for name, work := range map[string]func(context.Context) error{
		"fit":     func(ctx context.Context) error { _, err := FitContext(ctx, table, nil); return err },
		"suggest": func(ctx context.Context) error { _, err := m.SuggestContext(ctx, target, nil); return err },
		"plan":    func(ctx context.Context) error { _, err := m.PlanContext(ctx, nil); return err },
		"plan target": func(ctx context.Context) error {
			_, err := m.PlanContext(ctx, &PlanOptions{Target: &target})
			return err
		},
		"first plan": func(ctx context.Context) error { _, err := FirstPlanContext(ctx, p, nil); return err },
	} {
		whole := &impatient{Context: t.Context(), left: 1 << 40}
		require.NoError(t, work(whole), name)
		assert.GreaterOrEqual(t, whole.asked, 5, name)
		for _, share := range []int{0, 1, 2, 3} {
			c := &impatient{Context: t.Context(), left: whole.asked * share / 4}
			require.ErrorIs(t, work(c), context.Canceled, name)
			// Every loop on the way out may ask once more, not go on.
			assert.LessOrEqual(t, c.asked, whole.asked*share/4+25, "%s goes on after it was canceled", name)
		}
	}
}

// The table of ΔE00² along the path against the distance itself.
func TestApproach(t *testing.T) {
	table, err := ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	m, err := Fit(table, nil)
	require.NoError(t, err)
	light, dark := m.path.at(0.55), m.path.at(0.45)
	for _, target := range []Target{
		{Viewing: m.viewing, Lab: m.path.at(0.5)},
		{Viewing: m.viewing, Lab: m.path.at(0.5), Light: &light, Dark: &dark},
		{Viewing: m.viewing, Lab: m.path.at(0.02)},
	} {
		q, err := m.newSearch(target, &SuggestOptions{})
		require.NoError(t, err)
		for s := m.path.lo - 0.1; s < m.path.hi+0.1; s += 0.00137 {
			e := q.deltaE(m.path.at(s))
			tol := 5e-3 // at corners: between limits and outside, and at the ends of the path
			if target.Light == nil && s > m.path.lo+0.02 && s < m.path.hi-0.02 {
				tol = 1e-4 + 1e-5*e*e // a ten-thousandth of a pass probability at most
			}
			assert.InDelta(t, e*e, q.squared(s), tol, "level %g", s)
		}
	}
}
