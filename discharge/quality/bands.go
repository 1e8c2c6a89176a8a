package quality

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"example.com/dosetone/colorimetry"
)

// Item is a lot or a fabric roll to be banded.
type Item struct {
	ID  string
	Lab colorimetry.Lab
}

// Band is a group of items of which any two differ by at most the limit.
type Band struct {
	// Label is "L" and the lightness of the band's first item in the input,
	// to half a unit, such as L47.5, with a letter (b, c, …) behind it when
	// several bands would share it. It does not depend on how many other bands
	// there are, so that a band keeps its name when others open.
	Label  string
	Items  []int // indexes into the input, light to dark
	Spread float64
}

// Bands is a grouping.
type Bands struct {
	List  []Band // light to dark
	Limit float64
	// Exact says that no grouping has fewer bands. Otherwise it is the best of
	// a bounded search, and LowerBound what is known to be needed.
	Exact      bool
	LowerBound int
}

// The exact search is bounded in steps and in work, n² per step: enough for any
// 20 items and for most sets of 60, at most about half a second. MaxItems is
// the most that are grouped at all.
const (
	searchSteps = 300_000
	searchWork  = 300_000_000
	MaxItems    = 1000
)

// Group finds the fewest bands in which any two items differ by at most limit,
// by CIEDE2000. Bands are cliques of the graph of near items, so that this is
// the coloring of its complement: Brelaz's saturation order [7] with branch
// and bound. When the search reaches its bound of steps, which 20 items or
// fewer practically never do, the best grouping so far is returned and Exact
// is false, unless it has as few bands as the items that all differ from each
// other demand.
func Group(items []Item, limit float64) (*Bands, error) {
	if !(limit > 0) || math.IsInf(limit, 0) {
		return nil, fmt.Errorf("a band must be wider than 0 and finite, not %g", limit)
	}
	if len(items) > MaxItems {
		return nil, fmt.Errorf("%d items are too many to band at once, at most %d", len(items), MaxItems)
	}
	if len(items) == 0 {
		return &Bands{Limit: limit, Exact: true}, nil
	}
	seen := map[string]bool{}
	for _, it := range items {
		if !finite(it.Lab.L, it.Lab.A, it.Lab.B) {
			return nil, fmt.Errorf("%q has a color that is not finite", it.ID)
		}
		if seen[it.ID] {
			return nil, fmt.Errorf("%q is given twice", it.ID)
		}
		seen[it.ID] = true
	}
	g := newGrouping(items, limit)
	g.search(make([]int, len(items)), 0, 0)
	out := &Bands{Limit: limit, LowerBound: g.lower, Exact: g.steps < g.bound || g.count == g.lower}
	if out.Exact {
		out.LowerBound = g.count
	}
	out.List = g.bands()
	return out, nil
}

type grouping struct {
	items []Item
	far   [][]bool // differ by more than the limit: never in one band
	diff  [][]float64
	best  []int // band of each item, from 1
	count int
	lower int
	steps int
	bound int
}

func newGrouping(items []Item, limit float64) *grouping {
	n := len(items)
	g := &grouping{items: items, best: make([]int, n), count: n + 1, far: make([][]bool, n), diff: make([][]float64, n), bound: min(searchSteps, searchWork/(n*n))}
	var f colorimetry.CIEDE2000
	for i := range n {
		g.far[i], g.diff[i] = make([]bool, n), make([]float64, n)
	}
	for i := range n {
		for j := range i {
			d := f.Diff(items[i].Lab, items[j].Lab)
			g.diff[i][j], g.diff[j][i] = d, d
			g.far[i][j], g.far[j][i] = d > limit, d > limit
		}
	}
	// Items that all differ from each other, taken greedily from the light end
	// and from the dark one, need a band each.
	order := g.byLightness()
	for _, reverse := range []bool{false, true} {
		if reverse {
			slices.Reverse(order)
		}
		var clique []int
		for _, i := range order {
			if !slices.ContainsFunc(clique, func(k int) bool { return !g.far[i][k] }) {
				clique = append(clique, i)
			}
		}
		g.lower = max(g.lower, len(clique))
	}
	return g
}

func (g *grouping) byLightness() []int {
	order := make([]int, len(g.items))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(g.items[b].Lab.L, g.items[a].Lab.L), cmp.Compare(g.items[a].ID, g.items[b].ID))
	})
	return order
}

// search colors the next item in every way; band 0 means not yet.
func (g *grouping) search(band []int, done, used int) {
	if used >= g.count {
		return
	}
	if done == len(band) {
		copy(g.best, band)
		g.count = used
		return
	}
	if g.count == g.lower {
		return
	}
	// The first descent always finishes, so that there is an answer.
	if g.steps++; g.steps >= g.bound && g.count <= len(band) {
		return
	}
	i := g.next(band)
	for b := 1; b <= used+1; b++ {
		ok := true
		for k, c := range band {
			if c == b && g.far[i][k] {
				ok = false
				break
			}
		}
		if !ok {
			continue
		}
		band[i] = b
		g.search(band, done+1, max(used, b))
		band[i] = 0
	}
}

// next is the item with the fewest bands left to it; of equal ones that with
// the most far items, then the lightest.
func (g *grouping) next(band []int) int {
	best, bestSat, bestFar := -1, -1, -1
	for i, c := range band {
		if c != 0 {
			continue
		}
		var seen [64]bool
		sat, far := 0, 0
		for k, b := range band {
			if !g.far[i][k] {
				continue
			}
			far++
			if b > 0 && !seen[b%64] {
				seen[b%64] = true
				sat++
			}
		}
		if sat > bestSat || sat == bestSat && (far > bestFar || far == bestFar && g.items[i].Lab.L > g.items[best].Lab.L) {
			best, bestSat, bestFar = i, sat, far
		}
	}
	return best
}

// bands orders and names the result.
func (g *grouping) bands() []Band {
	list := make([]Band, g.count)
	first := make([]int, g.count)
	for i := range first {
		first[i] = len(g.items)
	}
	for _, i := range g.byLightness() {
		b := g.best[i] - 1
		for _, k := range list[b].Items {
			list[b].Spread = math.Max(list[b].Spread, g.diff[i][k])
		}
		list[b].Items = append(list[b].Items, i)
		first[b] = min(first[b], i)
	}
	mean := func(b Band) (l float64) {
		for _, i := range b.Items {
			l += g.items[i].Lab.L / float64(len(b.Items))
		}
		return l
	}
	order := make([]int, len(list))
	for b := range order {
		order[b] = b
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(mean(list[b]), mean(list[a])), cmp.Compare(first[a], first[b]))
	})
	// Names are given in the order of the input, so that what comes later
	// does not rename what was there.
	byFirst := slices.Clone(order)
	slices.SortFunc(byFirst, func(a, b int) int { return cmp.Compare(first[a], first[b]) })
	taken := map[string]int{}
	for _, b := range byFirst {
		label := "L" + strconv.FormatFloat(math.Round(2*g.items[first[b]].Lab.L)/2, 'f', -1, 64)
		taken[label]++
		if n := taken[label]; n > 1 {
			label += suffix(n)
		}
		list[b].Label = label
	}
	out := make([]Band, len(list))
	for k, b := range order {
		out[k] = list[b]
	}
	return out
}

// suffix is b, c, … z, then numbers.
func suffix(n int) string {
	if n <= 26 {
		return string(rune('a' + n - 1))
	}
	return "-" + strconv.Itoa(n)
}
