package discharge

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
)

// savedModel is the file of the demo's model, of spectra and with tensile loss.
var savedModel = sync.OnceValue(func() []byte {
	t, err := ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	if err != nil {
		panic(err)
	}
	m, err := Fit(t, nil)
	if err != nil {
		panic(err)
	}
	var b bytes.Buffer
	if err := m.Save(&b, "test"); err != nil {
		panic(err)
	}
	return b.Bytes()
})

// first rewrites a file as one of schema 1, which has no digest.
func first(t testing.TB, data []byte) []byte {
	t.Helper()
	lines := strings.Split(string(data), "\n")
	lines = slices.DeleteFunc(lines, func(s string) bool { return strings.Contains(s, "file_sha256") })
	out := strings.Replace(strings.Join(lines, "\n"), `"schema": 2`, `"schema": 1`, 1)
	i := strings.LastIndex(out, ",\n}")
	require.Positive(t, i)
	return []byte(out[:i] + out[i+1:])
}

func load(data []byte) (*Model, error) { return Load(bytes.NewReader(data)) }

// A file of the first schema predicts the same, to the last bit, and saving it
// makes one of the present schema.
func TestModelFilesOfSchema1Load(t *testing.T) {
	now, err := load(savedModel())
	require.NoError(t, err)
	old, err := load(first(t, savedModel()))
	require.NoError(t, err)
	s := Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	a, err := now.Predict(s)
	require.NoError(t, err)
	b, err := old.Predict(s)
	require.NoError(t, err)
	require.Equal(t, a, b)
	var again bytes.Buffer
	require.NoError(t, old.Save(&again, "test"))
	require.Equal(t, string(savedModel()), again.String())
	for _, schema := range []string{"0", "3", "-1", "99"} {
		_, err := load(bytes.Replace(savedModel(), []byte(`"schema": 2`), []byte(`"schema": `+schema), 1))
		require.ErrorContains(t, err, "this version reads 1 to 2")
		require.ErrorIs(t, err, ErrModelFile)
	}
}

// One digit changed anywhere is noticed; white space is free.
func TestChangedModelFilesAreRefused(t *testing.T) {
	data := savedModel()
	r := rand.New(rand.NewPCG(9, 3))
	var digits []int
	for i, c := range data {
		if c >= '0' && c <= '8' {
			digits = append(digits, i)
		}
	}
	for range 300 {
		bad := slices.Clone(data)
		bad[digits[r.IntN(len(digits))]]++
		_, err := load(bad)
		require.ErrorIs(t, err, ErrModelFile)
	}
	_, err := load(bytes.Replace(data, []byte(`"base_L": `), []byte(`"base_L": 1`), 1))
	require.ErrorContains(t, err, "the file was changed after it was written")
	for _, cut := range []int{0, 1, len(data) / 2, len(data) - 3} {
		_, err := load(data[:cut])
		require.ErrorIs(t, err, ErrModelFile)
	}
	var compact bytes.Buffer
	require.NoError(t, json.Compact(&compact, data))
	for _, same := range [][]byte{compact.Bytes(), bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n"))} {
		_, err := load(same)
		require.NoError(t, err)
	}
	_, err = load(bytes.Replace(first(t, data), []byte(`"schema": 1`), []byte(`"schema": 2`), 1))
	require.ErrorContains(t, err, "file_sha256 is missing")
}

// Strict decoding, tried on files of schema 1, where no digest helps.
func TestModelFilesAreReadStrictly(t *testing.T) {
	file := string(first(t, savedModel()))
	edit := func(old, with string) string {
		require.Contains(t, file, old)
		return strings.Replace(file, old, with, 1)
	}
	for says, text := range map[string]string{
		`unknown field "seed"`:           edit(`"schema": 1,`, `"schema": 1, "seed": 1,`),
		`"schema" stands twice`:          edit(`"schema": 1,`, `"schema": 1, "schema": 1,`),
		"it lacks viewing":               edit(`"viewing"`, `"x-viewing"`),
		"it lacks base_L in shade_path":  edit(`"base_L"`, `"base_l"`),
		"it lacks weight of item 1":      edit(`"weight"`, `"wait"`),
		"text after the JSON value":      file + "{}",
		"no schema number":               `{"model": 1}`,
		"nested deeper than 32":          `{"schema": 1, "x": ` + strings.Repeat("[", 40) + strings.Repeat("]", 40) + "}",
		"invalid character":              edit(`"base_L": `, `"base_L": NaN, "x": `),
		"cannot unmarshal":               edit(`"base_L": `, `"base_L": 1e999, "x": `),
		"larger than 8 MB":               file + strings.Repeat(" ", maxModelBytes),
		"readings \"specter\"":           edit(`"readings": "spectrum"`, `"readings": "specter"`),
		`condition "sce" is not known`:   edit(`"viewing"`, `"condition": "sce", "viewing"`),
		"unknown illuminant":             edit(`"viewing": "D65/10"`, `"viewing": "D66/10"`),
		"scatter or blank level":         edit(`"sd_inflation": `, `"sd_inflation": -`),
		"curve weights sum to":           edit(`"weight": 0.`, `"weight": 0.0`),
		"leave-one-out":                  edit(`"leave_one_out_delta_e": [`, `"leave_one_out_delta_e": [ 1,`),
		"unknown curve":                  edit(`"curve": "`, `"curve": "super-`),
		"belong to process":              edit(`"column": "`, `"column": "x_`),
		"this process is not one we":     edit(`"process": "permanganate-pellet"`, `"process": "this process is not one we know"`),
		"covariance is not symmetric":    asymmetric(t, file, false),
		"covariance is not positive def": asymmetric(t, file, true),
	} {
		_, err := load([]byte(text))
		if assert.ErrorIs(t, err, ErrModelFile, says) {
			assert.ErrorContains(t, err, says)
		}
	}
}

// asymmetric spoils the path's covariance: one element off the diagonal, or the
// diagonal below zero.
func asymmetric(t *testing.T, file string, diagonal bool) string {
	t.Helper()
	var f map[string]any
	require.NoError(t, json.Unmarshal([]byte(file), &f))
	cov := f["shade_path"].(map[string]any)["spline_covariance"].([]any)
	if diagonal {
		cov[0].([]any)[0] = -1
	} else {
		cov[0].([]any)[1] = 0.5
	}
	out, err := json.Marshal(f)
	require.NoError(t, err)
	return string(out)
}

// FuzzLoad: any bytes are a model or an error, and a model predicts and
// suggests in finite time with finite numbers.
func FuzzLoad(f *testing.F) {
	f.Add(savedModel())
	f.Add(first(f, savedModel()))
	f.Add([]byte(`{"schema":1}`))
	f.Add([]byte("[[[[[["))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := load(data)
		if err == nil {
			mustBehave(t, m)
		}
	})
}

// A short covariance row after sound ones once went past its end.
func TestShortCovarianceRowIsAnError(t *testing.T) {
	var f map[string]any
	require.NoError(t, json.Unmarshal(first(t, savedModel()), &f))
	cov := f["shade_path"].(map[string]any)["spline_covariance"].([]any)
	for i := range cov {
		row := cov[i]
		cov[i] = []any{}
		data, err := json.Marshal(f)
		require.NoError(t, err)
		_, err = load(data)
		require.ErrorContains(t, err, "covariance row")
		cov[i] = row
	}
}

// The seeds of FuzzHostileModel in bulk, which is a hundred times faster than
// under the fuzzer: DOSETONE_HOSTILE=20000 go test ./discharge -run HostileModels -v
func TestHostileModels(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("DOSETONE_HOSTILE"))
	n = max(n, 300)
	var sound map[string]any
	require.NoError(t, json.Unmarshal(first(t, savedModel()), &sound))
	loaded := 0
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 5))
		tree := cloneJSON(sound).(map[string]any)
		for range 1 + seed%2 {
			spoilJSON(r, tree)
		}
		data, err := json.Marshal(tree)
		require.NoError(t, err)
		m, err := load(data)
		if err != nil {
			require.ErrorIs(t, err, ErrModelFile)
			continue
		}
		if loaded++; loaded%10 == 0 || n > 300 && loaded%3 == 0 {
			mustBehave(t, m)
		}
	}
	t.Logf("%d of %d changed files still load and behave", loaded, n)
	require.Positive(t, loaded)
}

// FuzzHostileModel changes numbers and other parts of a sound model's JSON at
// random: most such files are refused, and those that load must behave.
func FuzzHostileModel(f *testing.F) {
	for seed := range uint64(40) {
		f.Add(seed, uint8(1+seed%4))
	}
	var sound map[string]any
	if err := json.Unmarshal(first(f, savedModel()), &sound); err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, seed uint64, changes uint8) {
		r := rand.New(rand.NewPCG(seed, 77))
		tree := cloneJSON(sound).(map[string]any)
		for range 1 + changes%6 {
			spoilJSON(r, tree)
		}
		data, err := json.Marshal(tree)
		if err != nil {
			t.Fatal(err)
		}
		m, err := load(data)
		if err != nil {
			return
		}
		mustBehave(t, m)
	})
}

func cloneJSON(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for k, w := range v {
			out[k] = cloneJSON(w)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i, w := range v {
			out[i] = cloneJSON(w)
		}
		return out
	}
	return v
}

// spoilJSON changes one thing somewhere below v, a list or an object.
func spoilJSON(r *rand.Rand, v any) {
	switch v := v.(type) {
	case map[string]any:
		keys := slices.Sorted(maps.Keys(v))
		if len(keys) == 0 {
			return
		}
		k := keys[r.IntN(len(keys))]
		if r.IntN(30) == 0 {
			delete(v, k)
			return
		}
		if nested(v[k]) && r.IntN(20) > 0 {
			spoilJSON(r, v[k])
			return
		}
		v[k] = hostile(r, v[k])
	case []any:
		if len(v) == 0 {
			return
		}
		i := r.IntN(len(v))
		if nested(v[i]) && r.IntN(20) > 0 {
			spoilJSON(r, v[i])
			return
		}
		v[i] = hostile(r, v[i])
	}
}

func nested(v any) bool {
	switch v.(type) {
	case map[string]any, []any:
		return true
	}
	return false
}

// hostile returns something else in the place of old.
func hostile(r *rand.Rand, old any) any {
	x, number := old.(float64)
	if number && r.IntN(10) > 0 {
		return []float64{0, -x, x * 1e3, x * 1e-3, x + 1, x * (1 + 0.1*r.NormFloat64()), 1e300, -1e300, 1e-300, 1e6, 9.9e6, -1e6, 1, 2, 500}[r.IntN(15)]
	}
	switch r.IntN(6) {
	case 0:
		return nil
	case 1:
		return "x"
	case 2:
		return []any{}
	case 3:
		return map[string]any{}
	case 4:
		return true
	}
	return -1.5
}

// mustBehave asks a loaded model all there is to ask, at ordinary and far-off
// settings: finite numbers or an error, no panic, no end of waiting.
func mustBehave(t *testing.T, m *Model) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	for i, trial := range m.Trials() {
		if i == 4 {
			break
		}
		for _, by := range []float64{1, 1e-6, 1e6, 0.5} {
			s := Settings{}
			for c, v := range trial.Settings {
				s[c] = v * by
			}
			p, err := m.Predict(s)
			if err != nil {
				continue
			}
			if !finite(p.Shade.L, p.Shade.A, p.Shade.B, p.Level, p.DeltaEP95) {
				t.Fatalf("%v gives %+v", s, p)
			}
			for _, c := range [][3][3]float64{p.MeanCovariance, p.LotCovariance} {
				for _, row := range c {
					if !finite(row[:]...) {
						t.Fatalf("%v gives covariance %v", s, c)
					}
				}
			}
		}
		if s, err := m.SuggestContext(ctx, Target{ID: "t", Viewing: m.Viewing(), Lab: trial.Lab}, nil); err == nil {
			for _, x := range s.List {
				if !finite(x.DeltaE, x.PassProbability, x.Along, x.Off, x.Shade.L, x.ActiveGPerKg) || x.PassProbability < 0 || x.PassProbability > 1+1e-9 {
					t.Fatalf("suggests %+v", x)
				}
			}
			if _, err := json.Marshal(s); err != nil {
				t.Fatal(err)
			}
		}
	}
	if ctx.Err() != nil {
		t.Fatal("suggest does not end")
	}
	for _, level := range []float64{-1, 0, 0.5, 1, 2} {
		if c := m.ShadeAt(level); !finite(c.L, c.A, c.B, m.Slope(level), m.DoseBetween(0.2, 0.7)) {
			t.Fatalf("level %g is %v, slope %g", level, c, m.Slope(level))
		}
		m.ScatterAt(level)
		m.SpectrumAt(level)
	}
	m.NearestLevel(colorimetry.Lab{L: 50, A: -2, B: -9})
	var b bytes.Buffer
	if err := m.Save(&b, "again"); err != nil {
		t.Fatal(err)
	}
	if _, err := load(b.Bytes()); err != nil {
		t.Fatalf("what was loaded and saved does not load: %v", err)
	}
}

// FuzzSuggest asks the demo's model for any target within any bounds.
func FuzzSuggest(f *testing.F) {
	m, err := load(savedModel())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(48., -2.6, -9., 1.5, 4., 10., 5., 20., 5)
	f.Add(10., 0., 0., 0., 6., 6., 12., 12., 1)
	f.Add(math.NaN(), 1., 2., 3., 4., 5., 6., 7., -1)
	f.Add(50., 0., 0., math.Inf(1), -1., 1e300, 0., 1e-300, 1<<40)
	f.Fuzz(func(t *testing.T, l, a, b, tolerance, lo, hi, t0, t1 float64, count int) {
		s, err := m.Suggest(Target{ID: "t", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: l, A: a, B: b}},
			&SuggestOptions{Tolerance: tolerance, Count: count, Bounds: map[string]Range{"strength_pct": {Lo: lo, Hi: hi}, "time_min": {Lo: t0, Hi: t1}}})
		if err != nil {
			return
		}
		if _, err := json.Marshal(s); err != nil {
			t.Fatal(err)
		}
		for _, x := range s.List {
			if x.Settings["strength_pct"] < lo || x.Settings["strength_pct"] > hi || x.Settings["time_min"] < t0 || x.Settings["time_min"] > t1 {
				t.Fatalf("%v lies outside the bounds", x.Settings)
			}
			if !(x.PassProbability >= 0 && x.PassProbability <= 1+1e-9) {
				t.Fatalf("pass %v", x.PassProbability)
			}
			if _, err := m.Predict(x.Settings); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// Too many combinations are refused before they are worked out.
func TestSuggestBoundsItsWork(t *testing.T) {
	m, err := load(savedModel())
	require.NoError(t, err)
	var many []float64
	for i := range 3000 {
		many = append(many, 4+float64(i)/1000)
	}
	_, err = m.Suggest(Target{ID: "t", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: 48, A: -2.6, B: -9}},
		&SuggestOptions{Available: map[string][]float64{"strength_pct": many, "ratio": many}})
	require.ErrorContains(t, err, fmt.Sprintf("at most %d", MaxCandidates))
	require.ErrorContains(t, err, "fewer available values")
	for _, bad := range []Target{
		{ID: "t", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: math.NaN()}},
		{ID: "t", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: 40}, Light: &colorimetry.Lab{L: math.Inf(1)}},
		{ID: "t", Viewing: colorimetry.Viewing{Illuminant: colorimetry.A, Observer: colorimetry.TwoDegree}, Spectrum: []float64{0.1, 0.2}, Grid: m.Grid()},
	} {
		_, err := m.Suggest(bad, nil)
		require.Error(t, err)
	}
}
