package discharge_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// What the lightest lot is decides how sure the model is beyond it: a recalibration from
// lighter lots brings it along, and a white that was read darker than the lots
// still makes a model that can be loaded.
func TestTheLightestLotFollowsTheLots(t *testing.T) {
	table := demoTable(t)
	light := func(l discharge.Lot) bool {
		return l.Role == discharge.Trial && l.Readings()[0].Lab.L > 52
	}
	dark, news := *table, *table
	dark.Lots = slices.DeleteFunc(slices.Clone(table.Lots), light)
	news.Lots = slices.DeleteFunc(slices.Clone(table.Lots), func(l discharge.Lot) bool { return l.Role == discharge.Trial && !light(l) })
	require.NotEmpty(t, news.ByRole(discharge.Trial))
	m := fitted(t, &dark)
	before, ok := m.Lightest()
	require.True(t, ok)
	again, err := m.Recalibrate(&news, nil)
	require.NoError(t, err)
	after, ok := again.Lightest()
	require.True(t, ok)
	require.Greater(t, after, before+5)
	whole, _ := fitted(t, table).Lightest()
	require.InDelta(t, whole, after, 1e-9)

	var b strings.Builder
	b.WriteString("lot,role,process,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b\nB,base,permanganate-pellet,,,,1,D65,10,20,-1,-10\nW,white,permanganate-pellet,,,,1,D65,10,30,-1,-8\n")
	for i, l := range []float64{23, 24, 25, 26, 27, 28, 45, 52, 60} {
		fmt.Fprintf(&b, "T%d,trial,permanganate-pellet,%d,1,%d,1,D65,10,%g,-2,-9\n", i, 4+i%3, 6+2*i, l)
	}
	poor, err := discharge.ReadTable("poor.csv", strings.NewReader(b.String()), nil)
	require.NoError(t, err)
	var file bytes.Buffer
	require.NoError(t, fitted(t, poor).Save(&file, "test"))
	_, err = discharge.Load(&file)
	require.NoError(t, err)
}
