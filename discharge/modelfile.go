package discharge

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"

	"gonum.org/v1/gonum/mat"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/fit"
)

// Schema is the version of the model file that Save writes. Load reads every
// version since 1:
//
//	1  the first
//	2  file_sha256, the digest of the file itself, so that a damaged or edited
//	   file is noticed
const Schema = 2

// maxModelBytes bounds a model file; real ones are under 100 kB.
const maxModelBytes = 8 << 20

// The file's structures. Numbers are written with as many digits as give the
// same float64 back, so predictions after loading are bit-identical.
type (
	modelFile struct {
		Schema      int           `json:"schema"`
		Tool        string        `json:"tool_version"`
		Digest      string        `json:"data_sha256"`
		Process     string        `json:"process"`
		OwnProcess  *Process      `json:"own_process,omitempty"`
		Viewing     string        `json:"viewing"`
		Readings    ReadingKind   `json:"readings"`
		Grid        *modelGrid    `json:"grid,omitempty"`
		Factors     []modelFactor `json:"factors"`
		Fixed       Settings      `json:"fixed"`
		Path        modelPath     `json:"shade_path"`
		Curves      []modelCurve  `json:"curves"`
		BlankLevel  float64       `json:"blank_level"`
		SDPanel     float64       `json:"sd_panel_log_dose"`
		ReadSD      float64       `json:"sd_reading_level"`
		FloorSD     float64       `json:"sd_floor_level"`
		Inflation   float64       `json:"sd_inflation"`
		Trials      []TrialRecord `json:"trials"`
		LeaveOneOut []float64     `json:"leave_one_out_delta_e"`
		Warnings    []string      `json:"warnings"`

		Recalibration *Recalibration `json:"recalibration,omitempty"`
		Tensile       *tensile       `json:"tensile_loss,omitempty"`

		Sum string `json:"file_sha256,omitempty"` // since schema 2, see sumOf
	}
	modelGrid struct {
		Start int `json:"start_nm"`
		Step  int `json:"step_nm"`
		N     int `json:"bands"`
	}
	modelFactor struct {
		Column    string    `json:"column"`
		Transform Transform `json:"transform"`
		Scale     float64   `json:"scale"`
		Center    float64   `json:"center"`
		Lo        float64   `json:"lo"`
		Hi        float64   `json:"hi"`
		From      float64   `json:"from"`
		To        float64   `json:"to"`
		Needed    bool      `json:"needed"`
		Raises    bool      `json:"raises"`
		Primary   bool      `json:"primary"`
	}
	modelPath struct {
		L0       float64       `json:"base_L"`
		L1       float64       `json:"white_L"`
		Lo       float64       `json:"level_lo"`
		Hi       float64       `json:"level_hi"`
		Coef     [][]float64   `json:"spline"`
		Cov      [][]float64   `json:"spline_covariance"`
		CovScale []float64     `json:"reading_variance"`
		LotOff   [2][2]float64 `json:"lot_off_path"`
		PanelOff [2][2]float64 `json:"panel_off_path"`
	}
	modelCurve struct {
		Curve  string     `json:"curve"`
		Shape  float64    `json:"shape,omitempty"`
		Scale  string     `json:"scale"`
		Weight float64    `json:"weight"`
		Mean   []float64  `json:"mean"`
		Cov    []float64  `json:"covariance"`
		SDLot  float64    `json:"sd_lot"`
		Clock  clock      `json:"clock"`
		Time   [3]float64 `json:"clock_center_lo_hi"` // of the time factor under the clock
	}
)

// Save writes the model as JSON. version is stored as the tool's version.
func (m *Model) Save(w io.Writer, version string) error {
	f := modelFile{
		Schema: Schema, Tool: version, Digest: m.digest, Process: m.process.ID,
		Viewing: m.viewing.String(), Readings: m.kind, Fixed: m.fixed,
		BlankLevel: m.low, SDPanel: m.sdPanel, ReadSD: m.readSD, FloorSD: m.floorSD, Inflation: m.inflation,
		Trials: m.trials, LeaveOneOut: m.loo, Warnings: []string{},
	}
	if _, err := LookupProcess(m.process.ID); err != nil {
		f.OwnProcess = &m.process
	}
	if m.kind == Spectral {
		f.Grid = &modelGrid{m.grid.Start, m.grid.Step, m.grid.N}
	}
	for _, d := range m.basis.factors {
		f.Factors = append(f.Factors, modelFactor(d))
	}
	p := m.path
	f.Path = modelPath{L0: p.L0, L1: p.L1, Lo: p.lo, Hi: p.hi, Coef: p.coef, CovScale: p.covScale, LotOff: p.lotOff, PanelOff: p.panelOff}
	for i := range pathBasis {
		f.Path.Cov = append(f.Path.Cov, mat.Row(nil, i, p.cov))
	}
	for _, c := range m.comps {
		cf := modelCurve{Curve: c.link.curve.Name(), Scale: c.link.scale.String(), Weight: c.weight, Mean: c.mean, Cov: c.cov, SDLot: c.sdLot, Clock: c.basis.clock, Time: c.basis.timeRange()}
		if s, ok := c.link.curve.(fit.ShapedCurve); ok {
			cf.Shape = s.Shape()
		}
		f.Curves = append(f.Curves, cf)
	}
	for _, e := range m.warnings {
		f.Warnings = append(f.Warnings, e.Error())
	}
	f.Recalibration, f.Tensile = m.recal, m.tensile
	f.Sum = noSum
	data, err := json.MarshalIndent(f, "", " ")
	if err != nil {
		return err
	}
	sum, err := sumOf(data)
	if err != nil {
		return err
	}
	data = append(bytes.Replace(data, []byte(noSum), []byte(sum), 1), '\n')
	_, err = w.Write(data)
	return err
}

// noSum stands in for the digest while it is worked out.
const noSum = "0000000000000000000000000000000000000000000000000000000000000000"

// sumOf is the SHA-256 of a model file without its white space and with noSum
// as its digest: it does not depend on line ends or indentation, nor on the
// version of the program that checks it. It tells damage and edits, not who
// wrote the file: anybody can work it out.
func sumOf(data []byte) (string, error) {
	var b bytes.Buffer
	if err := json.Compact(&b, data); err != nil {
		return "", err
	}
	h := sha256.Sum256(b.Bytes())
	return hex.EncodeToString(h[:]), nil
}

// checkSum holds a file against the digest that it states.
func checkSum(data []byte, stated string) error {
	if len(stated) != len(noSum) || bytes.Count(data, []byte(stated)) != 1 {
		return fmt.Errorf("file_sha256 is missing or not one digest")
	}
	sum, err := sumOf(bytes.Replace(data, []byte(stated), []byte(noSum), 1))
	if err != nil {
		return err
	}
	if sum != stated {
		return fmt.Errorf("the file was changed after it was written: its digest is %s…, the file says %s…; take the original, or fit the trials again", sum[:12], stated[:12])
	}
	return nil
}

// Load reads a model that Save wrote and checks all of it.
func Load(r io.Reader) (*Model, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxModelBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrModelFile, err)
	}
	if len(data) > maxModelBytes {
		return nil, fmt.Errorf("%w: larger than %d MB", ErrModelFile, maxModelBytes>>20)
	}
	if offset, err := checkJSON(data); err != nil {
		return nil, fmt.Errorf("%w: line %d: %w", ErrModelFile, 1+bytes.Count(data[:min(int(offset), len(data))], []byte("\n")), err)
	}
	var head struct {
		Schema *int   `json:"schema"`
		Sum    string `json:"file_sha256"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrModelFile, err)
	}
	if head.Schema == nil {
		return nil, fmt.Errorf("%w: it has no schema number; was it written by fit?", ErrModelFile)
	}
	if *head.Schema < 1 || *head.Schema > Schema {
		return nil, fmt.Errorf("%w: schema %d, this version reads 1 to %d; take the version that wrote it, or fit the trials again", ErrModelFile, *head.Schema, Schema)
	}
	if *head.Schema >= 2 {
		if err := checkSum(data, head.Sum); err != nil {
			return nil, fmt.Errorf("%w: %w", ErrModelFile, err)
		}
	}
	if k := missingKey(data, reflect.TypeFor[modelFile]()); k != "" {
		return nil, fmt.Errorf("%w: it lacks %s", ErrModelFile, k)
	}
	var f modelFile
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&f); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrModelFile, err)
	}
	m, err := f.model()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrModelFile, err)
	}
	return m, nil
}

// model rebuilds and checks a model.
func (f *modelFile) model() (*Model, error) {
	m := &Model{digest: f.Digest, kind: f.Readings, fixed: f.Fixed, low: f.BlankLevel, sdPanel: f.SDPanel, readSD: f.ReadSD, floorSD: f.FloorSD, inflation: f.Inflation, trials: f.Trials, loo: f.LeaveOneOut}
	for _, w := range f.Warnings {
		m.warnings = append(m.warnings, fmt.Errorf("%s", w))
	}
	var err error
	if f.OwnProcess != nil {
		m.process = *f.OwnProcess
		if m.process.ID != f.Process {
			return nil, fmt.Errorf("process %q is not the one it defines, %q", f.Process, m.process.ID)
		}
		if err := m.process.check(); err != nil {
			return nil, fmt.Errorf("process %q %w", m.process.ID, err)
		}
	} else if m.process, err = LookupProcess(f.Process); err != nil {
		return nil, err
	}
	if m.viewing, err = colorimetry.ParseViewing(f.Viewing); err != nil {
		return nil, err
	}
	if f.Grid != nil {
		m.grid = colorimetry.Grid{Start: f.Grid.Start, Step: f.Grid.Step, N: f.Grid.N}
		if err := m.grid.Check(); err != nil {
			return nil, err
		}
	}
	if !slices.Contains([]ReadingKind{Spectral, LabKind, XYZKind, Swatch}, m.kind) {
		return nil, fmt.Errorf("readings %q are not known", m.kind)
	}
	if (m.kind == Spectral) != (f.Grid != nil) {
		return nil, fmt.Errorf("readings %q and grid do not go together", f.Readings)
	}
	if err := f.factors(m); err != nil {
		return nil, err
	}
	if m.path, err = f.Path.path(m); err != nil {
		return nil, err
	}
	if !magnitude(scatterLimit, m.sdPanel, m.readSD, m.floorSD) || !finite(m.low, m.inflation) || m.inflation < 1 || m.inflation > 10 || m.low < 0 || m.low > 0.5 || m.sdPanel <= 0 || m.readSD <= 0 || m.floorSD <= 0 {
		return nil, fmt.Errorf("scatter or blank level out of range")
	}
	if err := f.curves(m); err != nil {
		return nil, err
	}
	if len(m.trials) > maxTrials {
		return nil, fmt.Errorf("%d trials; at most %d", len(m.trials), maxTrials)
	}
	if len(m.trials) < 2 || (m.loo != nil && len(m.loo) != len(m.trials)) {
		return nil, fmt.Errorf("%d trials with %d leave-one-out figures", len(m.trials), len(m.loo))
	}
	for _, t := range m.trials {
		var v values
		if err := m.locate(t.Settings, &v); err != nil {
			return nil, fmt.Errorf("trial %q: %w", t.ID, err)
		}
		if !magnitude(colorLimit, t.Lab.L, t.Lab.A, t.Lab.B, t.Weight) || t.Panels < 0 {
			return nil, fmt.Errorf("trial %q: a number is out of range", t.ID)
		}
		for c, v := range t.Settings {
			if !magnitude(valueLimit, v) {
				return nil, fmt.Errorf("trial %q: %s = %g is out of range", t.ID, c, v)
			}
		}
	}
	if !magnitude(valueLimit, m.loo...) {
		return nil, fmt.Errorf("leave-one-out figures out of range")
	}
	return m, f.extras(m)
}

// extras reads what only some models have.
func (f *modelFile) extras(m *Model) error {
	m.recal, m.tensile = f.Recalibration, f.Tensile
	if m.tensile != nil {
		if err := m.tensile.check(); err != nil {
			return err
		}
	}
	if m.recal == nil {
		return nil
	}
	return m.recal.check(m)
}

func (f *modelFile) factors(m *Model) error {
	if len(f.Factors) == 0 || len(f.Factors) > maxFactors {
		return fmt.Errorf("%d factors, must be 1 to %d", len(f.Factors), maxFactors)
	}
	for i, d := range f.Factors {
		pf, ok := m.process.Factor(d.Column)
		if !ok || pf.Transform != d.Transform {
			return fmt.Errorf("factor %q does not belong to process %q", d.Column, m.process.ID)
		}
		if !magnitude(etaLimit, d.Scale, d.Center, d.Lo, d.Hi, d.From, d.To) || d.From >= d.To || d.Scale < 1/etaLimit || d.Lo >= d.Hi {
			return fmt.Errorf("factor %q: range [%g, %g] about %g", d.Column, d.Lo, d.Hi, d.Center)
		}
		if m.basis.index(d.Column) >= 0 {
			return fmt.Errorf("factor %q stands twice", d.Column)
		}
		// The range is stored as set and as transformed: both must say the same.
		own := doseFactor(d)
		for _, end := range [][2]float64{{d.Lo, d.From}, {d.Hi, d.To}} {
			if err := pf.Check(end[1]); err != nil {
				return fmt.Errorf("factor %q: %w", d.Column, err)
			}
			if !(math.Abs(own.x(end[1])-end[0]) <= 1e-6*math.Max(1, math.Abs(d.Center))) {
				return fmt.Errorf("factor %q: the ends %g and %g do not agree", d.Column, end[0], end[1])
			}
		}
		if d.Primary {
			if i != m.basis.primary {
				return fmt.Errorf("factor %q: primary factors come first", d.Column)
			}
			m.basis.primary++
		}
		m.basis.factors = append(m.basis.factors, doseFactor(d))
	}
	if m.basis.primary == 0 {
		return fmt.Errorf("no primary factor")
	}
	m.basis = newBasis(m.basis.factors, m.basis.primary)
	for c, v := range f.Fixed {
		if _, ok := m.process.Factor(c); !ok || !magnitude(valueLimit, v) || m.basis.index(c) >= 0 {
			return fmt.Errorf("fixed factor %q = %g does not belong to process %q", c, v, m.process.ID)
		}
	}
	return nil
}

func (f *modelPath) path(m *Model) (*shadePath, error) {
	p := &shadePath{L0: f.L0, L1: f.L1, lo: f.Lo, hi: f.Hi, coef: f.Coef, covScale: f.CovScale, lotOff: f.LotOff, panelOff: f.PanelOff}
	channels := 2
	if m.kind == Spectral {
		channels += m.grid.N
	}
	if !finite(f.L0, f.L1, f.Lo, f.Hi) || f.L1-f.L0 <= 1 || f.L0 < 0 || f.L1 > 150 || f.Lo > 0 || f.Hi < 1 || f.Lo < -5 || f.Hi > 5 {
		return nil, fmt.Errorf("shade path from L* %g to %g over levels %g to %g", f.L0, f.L1, f.Lo, f.Hi)
	}
	if len(f.Coef) != channels || len(f.CovScale) != 2 || len(f.Cov) != pathBasis {
		return nil, fmt.Errorf("shade path has %d channels of %d", len(f.Coef), channels)
	}
	for i, row := range f.Cov {
		if len(row) != pathBasis || !magnitude(etaLimit, row...) {
			return nil, fmt.Errorf("shade path: covariance row %d", i)
		}
	}
	p.cov = mat.NewSymDense(pathBasis, nil)
	for i, row := range f.Cov {
		for j, v := range row {
			if v != f.Cov[j][i] {
				return nil, fmt.Errorf("shade path: covariance is not symmetric")
			}
			p.cov.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(p.cov) {
		return nil, fmt.Errorf("shade path: covariance is not positive definite")
	}
	for i, c := range f.Coef {
		if len(c) != pathBasis || !magnitude(colorLimit, c...) {
			return nil, fmt.Errorf("shade path: channel %d", i)
		}
	}
	for _, c := range [][2][2]float64{f.LotOff, f.PanelOff} {
		if !magnitude(etaLimit, c[0][0], c[0][1], c[1][1]) || c[0][1] != c[1][0] || c[0][0] <= 0 || c[0][0]*c[1][1] <= c[0][1]*c[0][1] {
			return nil, fmt.Errorf("off-path covariance is not positive definite")
		}
	}
	if !magnitude(etaLimit, f.CovScale...) || slices.Min(f.CovScale) < 0 {
		return nil, fmt.Errorf("reading variance %v", f.CovScale)
	}
	p.prepare()
	return p, nil
}

func (f *modelFile) curves(m *Model) error {
	if len(f.Curves) == 0 || len(f.Curves) > maxComponents {
		return fmt.Errorf("%d curves, must be 1 to %d", len(f.Curves), maxComponents)
	}
	sum := 0.0
	p := m.basis.terms() + 1
	bases := map[clock]*doseBasis{}
	for _, c := range f.Curves {
		basis, ok := bases[c.Clock]
		if !ok {
			b, err := m.basis.restored(c.Clock, c.Time)
			if err != nil {
				return fmt.Errorf("curve %q: %w", c.Curve, err)
			}
			basis = &b
			bases[c.Clock] = basis
		}
		l, err := m.linkNamed(c.Curve, c.Shape, c.Scale)
		if err != nil {
			return err
		}
		if len(c.Mean) != p || len(c.Cov) != p*p || !magnitude(etaLimit, c.Mean...) || !magnitude(etaLimit, c.Cov...) || !magnitude(scatterLimit, c.Weight, c.SDLot) {
			return fmt.Errorf("curve %q: wrong number of values, or one out of range", c.Curve)
		}
		if c.Weight <= 0 || c.SDLot <= 0 || c.Mean[p-1] <= m.low || c.Mean[p-1] > 2 {
			return fmt.Errorf("curve %q: weight, scatter or plateau out of range", c.Curve)
		}
		cov := mat.NewSymDense(p, nil)
		for i := range p {
			for j := range p {
				if math.Abs(c.Cov[i*p+j]-c.Cov[j*p+i]) > 1e-9*math.Sqrt(math.Abs(c.Cov[i*p+i]*c.Cov[j*p+j])) {
					return fmt.Errorf("curve %q: covariance is not symmetric", c.Curve)
				}
				cov.SetSym(i, j, c.Cov[i*p+j])
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(cov) {
			return fmt.Errorf("curve %q: covariance is not positive definite", c.Curve)
		}
		sum += c.Weight
		m.comps = append(m.comps, component{candidate: candidate{link: l, basis: basis}, weight: c.Weight, mean: c.Mean, cov: c.Cov, sdLot: c.SDLot})
	}
	if math.Abs(sum-1) > 1e-9 {
		return fmt.Errorf("curve weights sum to %g, not 1", sum)
	}
	return nil
}

// timeRange is what of a clock's basis differs from the model's.
func (b *doseBasis) timeRange() [3]float64 {
	if b.clock == (clock{}) {
		return [3]float64{}
	}
	f := &b.factors[b.time]
	return [3]float64{f.Center, f.Lo, f.Hi}
}

// possible reports whether times are times and powers are small.
func (c clock) possible() bool {
	for _, t := range [3]float64{c.Lag, c.Life, c.Spread} {
		if !(t == 0 || t >= 1e-6 && t <= valueLimit) {
			return false
		}
	}
	for _, p := range [3]float64{c.Charge, c.Early, c.Heat} {
		if !(p >= 0 && p <= 3) {
			return false
		}
	}
	return true
}

// restored is the basis under a clock whose time factor is centered as saved.
func (b *doseBasis) restored(c clock, time [3]float64) (doseBasis, error) {
	d := doseBasis{factors: slices.Clone(b.factors), primary: b.primary, clock: c, time: b.index(timeColumn)}
	if c == (clock{}) {
		return d, nil
	}
	if d.time < 0 || !c.possible() {
		return d, fmt.Errorf("clock %+v is impossible", c)
	}
	f := &d.factors[d.time]
	f.Center, f.Lo, f.Hi = time[0], time[1], time[2]
	if !magnitude(etaLimit, time[:]...) || f.Lo >= f.Hi {
		return d, fmt.Errorf("time range %v under a clock", time)
	}
	return d, nil
}

// linkNamed finds the candidate with that name, shape and scale.
func (m *Model) linkNamed(curve string, shape float64, sc string) (link, error) {
	for _, l := range m.links() {
		own := 0.0
		if s, ok := l.curve.(fit.ShapedCurve); ok {
			own = s.Shape()
		}
		if l.curve.Name() == curve && own == shape && l.scale.String() == sc {
			return l, nil
		}
	}
	return link{}, fmt.Errorf("unknown curve %q on scale %q", curve, sc)
}

// Limits of what a model file may hold: far beyond any fit, near enough that
// no prediction overflows.
const (
	etaLimit     = 1e7   // log doses, their regressors and covariances
	valueLimit   = 1e12  // settings
	colorLimit   = 1e3   // L*, a*, b*, ln K/S, weights
	scatterLimit = 1e3   // standard deviations of log dose and level
	maxTrials    = 10000 // trial lots
)

// magnitude reports whether all x are numbers from −limit to limit.
func magnitude(limit float64, x ...float64) bool {
	for _, v := range x {
		if !(math.Abs(v) <= limit) {
			return false
		}
	}
	return true
}

func finite(x ...float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// digestOf identifies the data of a table, whatever the order of its lots and
// whatever processor reads it: colors that were worked out count to 9 decimals,
// and not at all beside the spectrum that they come from.
func digestOf(t *Table) string {
	lots := sorted(t.Lots)
	for i := range lots {
		lots[i].Row = 0
		for j := range lots[i].Panels {
			p := &lots[i].Panels[j]
			p.Readings = slices.Clone(p.Readings)
			for k := range p.Readings {
				r := &p.Readings[k]
				r.Row = 0
				if r.Spectrum != nil {
					r.Lab = colorimetry.Lab{}
				} else if t.Kind != LabKind {
					round := func(x float64) float64 { return math.Round(x*1e9) / 1e9 }
					r.Lab = colorimetry.Lab{L: round(r.Lab.L), A: round(r.Lab.A), B: round(r.Lab.B)}
				}
			}
		}
	}
	h := sha256.New()
	// Readings were checked to be finite when they were read, so encoding
	// cannot fail; map keys are sorted by the encoder.
	if err := json.NewEncoder(h).Encode(lots); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}
