package fit

import "math"

// block is a set of observations that may be correlated.
type block struct {
	rows []int
	l    []float64 // Cholesky factor of V, by rows
	w    []float64 // V⁻¹
}

// whitener turns rows with covariance V into rows with covariance 1.
type whitener struct{ blocks []block }

func (w *whitener) apply(r, jac []float64, n int) {
	for _, b := range w.blocks {
		k := len(b.rows)
		for a, i := range b.rows {
			row := jac[i*n : (i+1)*n]
			for c := 0; c < a; c++ {
				l := b.l[a*k+c]
				if l == 0 {
					continue
				}
				o := b.rows[c]
				r[i] -= l * r[o]
				for j, v := range jac[o*n : (o+1)*n] {
					row[j] -= l * v
				}
			}
			d := 1 / b.l[a*k+a]
			r[i] *= d
			for j := range row {
				row[j] *= d
			}
		}
	}
}

// components is the REML state of a task.
type components struct {
	terms   []VarianceTerm
	h       [][]float64 // by term, by observation, scaled by √weight where shared
	key     [][]int     // by term, the number of the sharing set of each observation
	blocks  []block
	theta   []float64
	started bool   // theta holds an estimate, maybe of zeros
	plain   bool   // no prior of the shares
	at      *score // at the estimate
}

func newComponents(v VarianceFunction, data []Observation) *components {
	c := &components{terms: v.Terms, theta: make([]float64, len(v.Terms))}
	widest := Each
	for _, t := range v.Terms {
		key := make([]int, len(data))
		seen := map[[2]string]int{}
		for i, o := range data {
			switch t.Share {
			case Each:
				key[i] = i
				continue
			case ByGroup:
				o.Subgroup = ""
			}
			id := [2]string{o.Group, o.Subgroup}
			if _, ok := seen[id]; !ok {
				seen[id] = len(seen)
			}
			key[i] = seen[id]
		}
		c.key = append(c.key, key)
		c.h = append(c.h, make([]float64, len(data)))
		if t.Share > widest {
			widest = t.Share
		}
	}
	// Blocks: the sets of the widest sharing.
	at := map[int]int{}
	for k, t := range v.Terms {
		if t.Share != widest {
			continue
		}
		for i := range data {
			id := c.key[k][i]
			if _, ok := at[id]; !ok {
				at[id] = len(c.blocks)
				c.blocks = append(c.blocks, block{})
			}
			b := &c.blocks[at[id]]
			b.rows = append(b.rows, i)
		}
		break
	}
	for i := range c.blocks {
		k := len(c.blocks[i].rows)
		c.blocks[i].l = make([]float64, k*k)
		c.blocks[i].w = make([]float64, k*k)
	}
	return c
}

// part returns element (i, j) of V_k.
func (c *components) part(k, i, j int) float64 {
	if c.key[k][i] != c.key[k][j] {
		return 0
	}
	return c.h[k][i] * c.h[k][j]
}

// build forms V, its factor and its inverse; false when V is not positive definite.
func (c *components) build(theta []float64) bool {
	for bi := range c.blocks {
		b := &c.blocks[bi]
		k := len(b.rows)
		for a := 0; a < k; a++ {
			for d := 0; d <= a; d++ {
				v := 0.0
				for t, th := range theta {
					if th > 0 {
						v += th * c.part(t, b.rows[a], b.rows[d])
					}
				}
				for e := 0; e < d; e++ {
					v -= b.l[a*k+e] * b.l[d*k+e]
				}
				if a == d {
					if !(v > 0) {
						return false
					}
					b.l[a*k+a] = math.Sqrt(v)
				} else {
					b.l[a*k+d] = v / b.l[d*k+d]
				}
			}
		}
		// W = L⁻ᵀL⁻¹, column by column.
		for col := 0; col < k; col++ {
			x := b.w[col*k : (col+1)*k]
			for a := 0; a < k; a++ {
				v := 0.0
				if a == col {
					v = 1
				}
				for e := 0; e < a; e++ {
					v -= b.l[a*k+e] * x[e]
				}
				x[a] = v / b.l[a*k+a]
			}
			for a := k - 1; a >= 0; a-- {
				v := x[a]
				for e := a + 1; e < k; e++ {
					v -= b.l[e*k+a] * x[e]
				}
				x[a] = v / b.l[a*k+a]
			}
		}
	}
	return true
}

// without returns a whitener of the covariance without some rows.
func (c *components) without(drop map[int]bool) *whitener {
	w := &whitener{}
	for _, b := range c.blocks {
		var rows []int
		for _, i := range b.rows {
			if !drop[i] {
				rows = append(rows, i)
			}
		}
		k := len(rows)
		if k == 0 {
			continue
		}
		nb := block{rows: rows, l: make([]float64, k*k), w: make([]float64, k*k)}
		tmp := *c
		tmp.blocks = []block{nb}
		if tmp.build(c.theta) {
			w.blocks = append(w.blocks, tmp.blocks[0])
		}
	}
	return w
}
