package discharge_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// The least that Fit takes: four lots of one panel each, a base and a white.
// Left-out lots then leave five points to the path.
func TestFitOfTheFewestLots(t *testing.T) {
	const file = `lot,role,strength_pct,ratio,time_min,panel,L,a,b,illuminant,observer
BASE,base,,,,1,19.5,0.4,-8.9,D65,10
WHITE,white,,,,1,84.0,-1.5,5.5,D65,10
L1,trial,4,1,8,1,27.8,-1.0,-11.6,D65,10
L2,trial,4,2,12,1,38.2,-2.1,-11.2,D65,10
L3,trial,8,1,12,1,39.4,-2.2,-11.1,D65,10
L4,trial,8,2,8,1,43.7,-2.4,-10.2,D65,10
`
	table, err := discharge.ReadTable("four.csv", strings.NewReader(file), &discharge.ReadOptions{Process: "permanganate-pellet"})
	require.NoError(t, err)
	m, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	p, err := m.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.4, "time_min": 10})
	require.NoError(t, err)
	assert.True(t, p.Shade.L > 27.8 && p.Shade.L < 43.7, "%v", p.Shade)
	last := 0.0
	for i := range 21 {
		c := m.ShadeAt(float64(i) / 20)
		assert.Greater(t, c.L, last)
		last = c.L
		assert.True(t, c.A > -6 && c.A < 4 && c.B > -16 && c.B < 10, "the path stays near its points: %v", c)
	}
}
