package study

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/fit"
	"example.com/dosetone/internal/laundry"
)

func env(name string, def int) int {
	if v, err := strconv.Atoi(os.Getenv(name)); err == nil {
		return v
	}
	return def
}

// asked is the size with what CALM, WIDE and RICH give in percent, factors on
// the scatter of lots, on the trial region and on the oxidizer, and with the
// only kind that KIND and the only process that PROCESS names.
func asked(z Size) Size {
	z.Calm = float64(env("CALM", 100)) / 100
	z.Scale = laundry.Scale{Region: float64(env("WIDE", 100)) / 100, Oxidizer: float64(env("RICH", 100)) / 100}
	if name := os.Getenv("PROCESS"); name != "" {
		z.Processes = []string{name}
	}
	if name := os.Getenv("KIND"); name != "" {
		all := laundry.Kinds()
		z.Kinds = slices.DeleteFunc(all, func(k laundry.Kind) bool { return k.String() != name })
		if len(z.Kinds) == 0 {
			panic("KIND is none of those of package laundry")
		}
	}
	return z
}

// TestResearch prints how well the model does on laundries of every kind and
// process: SEEDS of each from FROM on, with LOTS trial lots only, SUGGEST=1
// with suggestions, WIDTH=1 with the width of intervals against that of what
// lots do. CALM, WIDE, RICH, KIND and PROCESS are as asked says: CALM=70 is 70 % of the
// lots' scatter, WIDE=150 a trial region that reaches one and a half times as
// far.
func TestResearch(t *testing.T) {
	if os.Getenv("RESEARCH") == "" {
		t.Skip()
	}
	seeds := env("SEEDS", 4)
	kinds, processes := asked(Full(1)).Kinds, asked(Full(1)).Processes
	var de colorimetry.CIEDE2000
	for _, n := range []int{12, 16, 24} {
		if only := env("LOTS", 0); only > 0 && only != n {
			continue
		}
		var all, sug, sugFix, near, rsm, rsmLog, one, logistic, normal []float64
		cover, total := 0, 0
		var ours, lots float64 // widths of the 90 % interval of L* and of what lots do
		nominals := [4]float64{0.5, 0.7, 0.9, 0.95}
		var in [3][4]float64 // L*, a*, b*
		byKind := map[laundry.Kind][]float64{}
		byProc := map[string][]float64{}
		pk := map[laundry.Kind][]float64{}
		pp := map[string][]float64{}
		for _, k := range kinds {
			for _, p := range processes {
				for seed := range seeds {
					s, err := asked(Size{}).scene(k, p, uint64(seed+env("FROM", 0)))
					if err != nil {
						t.Fatal(err)
					}
					tab := s.Table(s.Ladder(n), -1)
					m, err := discharge.Fit(tab, nil)
					if err != nil {
						t.Fatal(k, p, seed, err)
					}
					rng := rand.New(rand.NewPCG(99, uint64(seed)))
					var cols []string
					for _, f := range s.Laundry.Factors() {
						if !f.Recorded {
							cols = append(cols, f.Column)
						}
					}
					pn, pr, pl := Nearest(tab, cols), Surface(tab, cols, false), Surface(tab, cols, true)
					p1, p2, p3 := OneDose(tab, cols, fit.OrderM{M: 1.5}, 0.01), OneDose(tab, cols, fit.LogLogistic{}, 0.3), OneDose(tab, cols, fit.LogNormal{}, 0.3)
					for range 12 {
						set := s.Random(rng)
						_, truth := s.Laundry.Expected(set, s.Weights)
						pred, err := m.Predict(discharge.Settings(set))
						if err != nil {
							t.Fatal(err)
						}
						d := de.Diff(truth, pred.Shade)
						all = append(all, d)
						near = append(near, de.Diff(truth, pn(set)))
						rsm = append(rsm, de.Diff(truth, pr(set)))
						rsmLog = append(rsmLog, de.Diff(truth, pl(set)))
						one = append(one, de.Diff(truth, p1(set)))
						logistic = append(logistic, de.Diff(truth, p2(set)))
						normal = append(normal, de.Diff(truth, p3(set)))
						pk[k] = append(pk[k], rsmLog[len(rsmLog)-1])
						pp[p] = append(pp[p], rsmLog[len(rsmLog)-1])
						byKind[k] = append(byKind[k], d)
						byProc[p] = append(byProc[p], d)
						lot := s.Laundry.Run(set, s.rng, laundry.RunOptions{NoHotSpots: true, Panels: 12}).MeanLab(s.Weights)
						total++
						if env("WIDTH", 0) == 1 {
							cov := s.Laundry.LotSpread(set, s.Weights, s.rng, 16, laundry.RunOptions{NoHotSpots: true}).Cov
							lots += 2 * 1.645 * math.Sqrt(cov[0][0])
							lo, hi := pred.Interval(0, 0.9)
							ours += hi - lo
						}
						for i, nominal := range nominals {
							for ch, v := range [3]float64{lot.L, lot.A, lot.B} {
								if lo, hi := pred.Interval(ch, nominal); lo < v && v < hi {
									in[ch][i]++
								}
							}
						}
						if Inside(&pred, lot) {
							cover++
						}
						if env("SUGGEST", 0) == 1 && total%3 == 0 {
							target := discharge.Target{ID: "t", Viewing: s.Viewing, Lab: truth}
							r, err := m.Suggest(target, nil)
							if err != nil {
								t.Fatal(err)
							}
							if len(r.List) > 0 {
								_, got := s.Laundry.Expected(r.List[0].Settings, s.Weights)
								sug = append(sug, de.Diff(truth, got))
							}
							r, err = m.Suggest(target, allBut("strength_", set))
							if err != nil {
								t.Fatal(err)
							}
							if len(r.List) > 0 {
								_, got := s.Laundry.Expected(r.List[0].Settings, s.Weights)
								sugFix = append(sugFix, de.Diff(truth, got))
							}
						}
					}
				}
			}
		}
		for ch := range in {
			for i := range in[ch] {
				in[ch][i] /= float64(total)
			}
		}
		t.Logf("nominal %v intervals of L*, a*, b* hold %.3f", nominals, in)
		t.Logf("lots %d: median %.3f p95 %.3f cover %.3f n %d; suggest free %.3f/%.3f (%d) fixed %.3f/%.3f (%d)", n, Quantile(all, 0.5), Quantile(all, 0.95), float64(cover)/float64(total), total,
			Quantile(sug, 0.5), Quantile(sug, 0.95), len(sug), Quantile(sugFix, 0.5), Quantile(sugFix, 0.95), len(sugFix))
		if lots > 0 {
			t.Logf("   mean width of the 90 %% interval of L* over that of lots %.2f", ours/lots)
		}
		t.Logf("   peers: nearest %.2f/%.2f rsm %.2f/%.2f rsm log %.2f/%.2f", Quantile(near, .5), Quantile(near, .95), Quantile(rsm, .5), Quantile(rsm, .95), Quantile(rsmLog, .5), Quantile(rsmLog, .95))
		t.Logf("   one dose: order-m %.2f/%.2f, second order log-logistic %.2f/%.2f, log-normal %.2f/%.2f", Quantile(one, .5), Quantile(one, .95), Quantile(logistic, .5), Quantile(logistic, .95), Quantile(normal, .5), Quantile(normal, .95))
		for _, k := range kinds {
			t.Logf("   %-10s %.3f %.3f   rsm %.2f %.2f", k, Quantile(byKind[k], 0.5), Quantile(byKind[k], 0.95), Quantile(pk[k], 0.5), Quantile(pk[k], 0.95))
		}
		for _, p := range processes {
			t.Logf("   %-20s %.3f %.3f   rsm %.2f %.2f", p, Quantile(byProc[p], 0.5), Quantile(byProc[p], 0.95), Quantile(pp[p], 0.5), Quantile(pp[p], 0.95))
		}
	}
}

// TestReplicates prints how near the mean of lots at the very setting comes to
// the truth: as far as anybody could come without a model.
func TestReplicates(t *testing.T) {
	if os.Getenv("RESEARCH") == "" {
		t.Skip()
	}
	kinds, processes := asked(Full(1)).Kinds, asked(Full(1)).Processes
	var de colorimetry.CIEDE2000
	for _, n := range []int{1, 16} {
		var e []float64
		for _, k := range kinds {
			for _, p := range processes {
				for seed := range env("SEEDS", 2) {
					s, err := asked(Size{}).scene(k, p, uint64(seed+env("FROM", 0)))
					if err != nil {
						t.Fatal(err)
					}
					rng := rand.New(rand.NewPCG(99, uint64(seed)))
					for range 8 {
						set := s.Random(rng)
						sp := s.Laundry.LotSpread(set, s.Weights, rng, n, laundry.RunOptions{})
						e = append(e, de.Diff(s.truth(set), sp.Mean))
					}
				}
			}
		}
		t.Logf("%d lots at the very setting: median %.2f, 95 %% within %.2f", n, Quantile(e, .5), Quantile(e, .95))
	}
}
