package discharge

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"

	"gonum.org/v1/gonum/mat"

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
		Schema     int           `json:"schema"`
		Tool       string        `json:"tool_version"`
		Digest     string        `json:"data_sha256"`
		Process    string        `json:"process"`
		OwnProcess *Process      `json:"own_process,omitempty"`
		Viewing    string        `json:"viewing"`
		Condition  Condition     `json:"condition,omitempty"` // "" when the trials state none
		Readings   ReadingKind   `json:"readings"`
		Grid       *modelGrid    `json:"grid,omitempty"`
		Factors    []modelFactor `json:"factors"`
		Fixed      Settings      `json:"fixed"`
		Path       modelPath     `json:"shade_path"`
		Curves     []modelCurve  `json:"curves"`
		BlankLevel float64       `json:"blank_level"`
		SDPanel    float64       `json:"sd_panel_log_dose"`
		ReadSD     float64       `json:"sd_reading_level"`
		FloorSD    float64       `json:"sd_floor_level"`
		Inflation  float64       `json:"sd_inflation"`
		// Freedom is the degrees of freedom of Student's distribution of lots
		// about predictions; without it they are normal.
		Freedom      float64       `json:"lot_degrees_of_freedom,omitempty"`
		Joint        bool          `json:"joint_plateau,omitempty"`          // the plateau's covariance with the coefficients counts
		Edged        bool          `json:"edge_bounds_certainty,omitempty"`  // outside the trials nothing is surer than at their edge
		Untried      bool          `json:"untried_widens,omitempty"`         // what never varied and is set elsewhere makes predictions less sure
		LotsAlone    bool          `json:"expected_of_lots_alone,omitempty"` // the expected shade is no mean over what is uncertain of the dose
		BaseAssumed  bool          `json:"base_assumed,omitempty"`
		WhiteAssumed bool          `json:"white_assumed,omitempty"`
		Fabric       string        `json:"fabric,omitempty"`
		Machine      string        `json:"machine,omitempty"`
		Others       []Other       `json:"others,omitempty"` // fabrics and machines that taught besides
		Trials       []TrialRecord `json:"trials"`
		LeaveOneOut  []float64     `json:"leave_one_out_delta_e"`
		Warnings     []string      `json:"warnings"`

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
		Monotone  bool      `json:"monotone,omitempty"`
		Heats     bool      `json:"heats,omitempty"`
		Primary   bool      `json:"primary"`
		// Drift is how far trials lie from the center in a factor that nobody chose; without it
		// loads are taken not to drift.
		Drift float64 `json:"drift,omitempty"`
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
		// CastAtBase is the share of both at the base; without it they are the
		// same all along the path.
		CastAtBase float64 `json:"off_path_at_base,omitempty"`
		// Lightest is the level of the lightest lot; without it the path is held to be
		// known beyond it.
		Lightest float64 `json:"lightest_lot,omitempty"`
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
		// Supplied says that ln of the supply stands in Mean before the plateau.
		Supplied bool `json:"supplied,omitempty"`
		// SpentBy is "dose" where what the oxidizer does spends it, in place of
		// the dye.
		SpentBy string `json:"spent_by,omitempty"`
	}
)

// Save writes the model as JSON. version is stored as the tool's version. A model that
// [Load] would refuse is an error, and nothing is written.
func (m *Model) Save(w io.Writer, version string) error {
	data, err := m.file(version)
	if err != nil {
		return err
	}
	_, err = w.Write(data)
	return err
}

// MarshalJSON is what [Model.Save] writes, without white space and the version of a tool.
func (m Model) MarshalJSON() ([]byte, error) { return m.file("") }

// UnmarshalJSON reads what [Model.Save] or MarshalJSON wrote, as [Load] does.
func (m *Model) UnmarshalJSON(data []byte) error {
	loaded, err := Load(bytes.NewReader(data))
	if err != nil {
		return err
	}
	*m = *loaded
	return nil
}

// file is the model's file, which has been loaded once to know that it can be.
func (m *Model) file(version string) ([]byte, error) {
	if m.path == nil {
		return nil, errors.New("there is no model to save: Fit or Load makes one")
	}
	f := modelFile{
		Schema: Schema, Tool: version, Digest: m.digest, Process: m.process.ID,
		Viewing: m.viewing.String(), Condition: m.condition, Readings: m.kind, Fixed: m.fixed,
		BlankLevel: m.low, SDPanel: m.sdPanel, ReadSD: m.readSD, FloorSD: m.floorSD, Inflation: m.inflation,
		Freedom: m.freedom, Joint: m.joint, Edged: m.edged, LotsAlone: m.lotsAlone, Untried: m.untriedWidens, BaseAssumed: m.baseAssumed, WhiteAssumed: m.whiteAssumed, Fabric: m.fabric, Machine: m.machine, Others: m.others, Trials: m.trials, LeaveOneOut: m.loo, Warnings: []string{},
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
	f.Path = modelPath{L0: p.L0, L1: p.L1, Lo: p.lo, Hi: p.hi, Coef: p.coef, CovScale: p.covScale, LotOff: p.lotOff, PanelOff: p.panelOff, CastAtBase: p.castAtBase, Lightest: p.lightest}
	for i := range pathBasis {
		f.Path.Cov = append(f.Path.Cov, mat.Row(nil, i, p.cov))
	}
	for _, c := range m.comps {
		cf := modelCurve{Curve: c.link.curve.Name(), Scale: c.link.scale.String(), Weight: c.weight, Mean: c.mean, Cov: c.cov, SDLot: c.sdLot, Clock: c.basis.clock, Time: c.basis.timeRange(), Supplied: c.supplied(), SpentBy: c.demand.spentBy()}
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
		return nil, err
	}
	sum, err := sumOf(data)
	if err != nil {
		return nil, err
	}
	data = append(bytes.Replace(data, []byte(noSum), []byte(sum), 1), '\n')
	if _, err := Load(bytes.NewReader(data)); err != nil {
		return nil, fmt.Errorf("the model cannot be saved, since it could not be loaded: %w", err)
	}
	return data, nil
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
	if text := bytes.TrimSpace(data); len(text) > 0 && text[0] != '{' {
		return nil, fmt.Errorf("%w: it is no JSON object, as fit writes one; trials become a model by fit", ErrModelFile)
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
