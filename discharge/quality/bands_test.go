package quality_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge/quality"
)

// fewest tries every partition: restricted growth strings.
func fewest(items []quality.Item, limit float64) int {
	n := len(items)
	near := make([][]bool, n)
	for i := range n {
		near[i] = make([]bool, n)
		for j := range n {
			near[i][j] = de(items[i].Lab, items[j].Lab) <= limit
		}
	}
	best := n
	var place func(i, used int, band []int)
	place = func(i, used int, band []int) {
		if i == n {
			best = min(best, used)
			return
		}
		for b := range used + 1 {
			ok := true
			for k := range i {
				ok = ok && (band[k] != b || near[i][k])
			}
			if ok {
				band[i] = b
				place(i+1, max(used, b+1), band)
			}
		}
	}
	place(0, 0, make([]int, n))
	return best
}

func denims(rng *rand.Rand, n int) []quality.Item {
	items := make([]quality.Item, n)
	for i := range items {
		items[i] = quality.Item{ID: fmt.Sprint(i), Lab: colorimetry.Lab{L: 47 + 1.5*rng.NormFloat64(), A: -2.6 + 0.3*rng.NormFloat64(), B: -9 + 0.8*rng.NormFloat64()}}
	}
	return items
}

func valid(t *testing.T, items []quality.Item, b *quality.Bands) {
	t.Helper()
	seen := map[int]int{}
	labels := map[string]bool{}
	last := math.Inf(1)
	for _, band := range b.List {
		require.NotEmpty(t, band.Items)
		require.False(t, labels[band.Label], "label %s twice", band.Label)
		labels[band.Label] = true
		mean := 0.0
		for _, i := range band.Items {
			seen[i]++
			mean += items[i].Lab.L / float64(len(band.Items))
			for _, k := range band.Items {
				require.LessOrEqual(t, de(items[i].Lab, items[k].Lab), b.Limit+1e-9)
			}
		}
		require.LessOrEqual(t, mean, last+1e-9, "bands go from light to dark")
		last = mean
	}
	require.Len(t, seen, len(items))
	for _, n := range seen {
		require.Equal(t, 1, n)
	}
}

func TestBandsAreOptimalAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for range 150 {
		items := denims(rng, 1+rng.IntN(10))
		limit := 0.5 + 2*rng.Float64()
		b, err := quality.Group(items, limit)
		require.NoError(t, err)
		valid(t, items, b)
		require.True(t, b.Exact)
		require.Len(t, b.List, fewest(items, limit))
	}
}

func TestManyRollsAreBandedWithinBounds(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 2))
	for _, n := range []int{20, 60, 300} {
		items := denims(rng, n)
		b, err := quality.Group(items, 1)
		require.NoError(t, err)
		valid(t, items, b)
		require.GreaterOrEqual(t, len(b.List), b.LowerBound)
		t.Logf("%d rolls: %d bands, at least %d needed, exact %v", n, len(b.List), b.LowerBound, b.Exact)
		if n <= 20 {
			require.True(t, b.Exact)
		}
	}
}

// A band keeps its name when another opens.
func TestBandLabelsAreStable(t *testing.T) {
	items := []quality.Item{{"a", colorimetry.Lab{L: 47.6}}, {"b", colorimetry.Lab{L: 47.9}}, {"c", colorimetry.Lab{L: 52.1}}}
	before, err := quality.Group(items, 1)
	require.NoError(t, err)
	require.Len(t, before.List, 2)
	require.Equal(t, "L52", before.List[0].Label)
	require.Equal(t, "L47.5", before.List[1].Label)
	after, err := quality.Group(append(items, quality.Item{ID: "d", Lab: colorimetry.Lab{L: 44}}, quality.Item{ID: "e", Lab: colorimetry.Lab{L: 47.7, B: 6}}), 1)
	require.NoError(t, err)
	var labels []string
	for _, b := range after.List {
		labels = append(labels, b.Label)
	}
	require.ElementsMatch(t, []string{"L52", "L47.5", "L47.5b", "L44"}, labels)
}

func TestGroupRefuses(t *testing.T) {
	for _, c := range []struct {
		items []quality.Item
		limit float64
	}{
		{nil, 0}, {nil, math.NaN()}, {[]quality.Item{{ID: "a", Lab: colorimetry.Lab{L: math.NaN()}}}, 1},
		{[]quality.Item{{ID: "a"}, {ID: "a"}}, 1}, {make([]quality.Item, quality.MaxItems+1), 1},
	} {
		_, err := quality.Group(c.items, c.limit)
		require.Error(t, err)
	}
	b, err := quality.Group(nil, 1)
	require.NoError(t, err)
	require.Empty(t, b.List)
}
