package figure

import "gonum.org/v1/plot/vg"

// isolines are the lines on which a grid of values, z[i][j] at column i and row
// j, has a level, as chains of points in columns and rows: marching squares
// (Lorensen and Cline, Computer Graphics 21 (1987) 163, in two dimensions).
func isolines(z [][]float64, level float64) [][][2]float64 {
	type edge struct {
		i, j int
		up   bool // from (i,j) to (i,j+1); else to (i+1,j)
	}
	at := func(e edge) [2]float64 {
		a := z[e.i][e.j]
		if e.up {
			return [2]float64{float64(e.i), float64(e.j) + (level-a)/(z[e.i][e.j+1]-a)}
		}
		return [2]float64{float64(e.i) + (level-a)/(z[e.i+1][e.j]-a), float64(e.j)}
	}
	next := map[edge][]edge{}
	var order []edge
	join := func(a, b edge) {
		for _, e := range [2]edge{a, b} {
			if next[e] == nil {
				order = append(order, e)
			}
		}
		next[a], next[b] = append(next[a], b), append(next[b], a)
	}
	for i := 0; i+1 < len(z); i++ {
		for j := 0; j+1 < len(z[i]); j++ {
			bottom, top := edge{i, j, false}, edge{i, j + 1, false}
			left, right := edge{i, j, true}, edge{i + 1, j, true}
			above := func(v float64) bool { return v >= level }
			a, b, c, d := above(z[i][j]), above(z[i+1][j]), above(z[i+1][j+1]), above(z[i][j+1])
			var cut []edge
			for _, e := range []struct {
				e    edge
				p, q bool
			}{{bottom, a, b}, {right, b, c}, {top, c, d}, {left, d, a}} {
				if e.p != e.q {
					cut = append(cut, e.e)
				}
			}
			switch len(cut) {
			case 2:
				join(cut[0], cut[1])
			case 4: // a saddle: the middle decides
				mid := above((z[i][j] + z[i+1][j] + z[i+1][j+1] + z[i][j+1]) / 4)
				if mid == a {
					join(bottom, right)
					join(top, left)
				} else {
					join(bottom, left)
					join(top, right)
				}
			}
		}
	}
	// Chains that end at the border first, then closed ones.
	used := map[edge]bool{}
	var out [][][2]float64
	walk := func(e edge) {
		chain := [][2]float64{at(e)}
		used[e] = true
		for {
			step := false
			for _, n := range next[e] {
				if !used[n] {
					used[n], e, step = true, n, true
					chain = append(chain, at(n))
					break
				}
			}
			if !step {
				break
			}
		}
		if len(next[e]) == 2 && len(chain) > 2 {
			chain = append(chain, chain[0])
		}
		out = append(out, chain)
	}
	for _, ends := range []bool{true, false} {
		for _, e := range order {
			if !used[e] && (len(next[e]) == 1) == ends {
				walk(e)
			}
		}
	}
	return out
}

// path draws a chain in a field whose grid spans it from edge to edge.
func (f *frame) path(chain [][2]float64, columns, rows int) []vg.Point {
	out := make([]vg.Point, len(chain))
	for k, p := range chain {
		out[k] = pt(f.left+p[0]/float64(columns-1)*(f.right-f.left), f.bottom+p[1]/float64(rows-1)*(f.top-f.bottom))
	}
	return out
}
