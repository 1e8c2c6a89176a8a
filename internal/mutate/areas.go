package main

// An area is one piece of the core and the tests that must notice a change in it.
type area struct {
	name    string
	pkg     string   // folder from the root of the module
	sources []source // in pkg
	run     string   // -test.run
	args    []string // further arguments of the test binary
}

// A source is a file with the functions to change; none means all.
type source struct {
	file  string
	funcs []string
}

// areas lists the core: where a wrong digit becomes a wrong recipe quietly.
func areas() []area {
	seed := []string{"-rapid.seed=1", "-rapid.nofailfile"}
	return []area{
		{"CIEDE2000", "colorimetry", []source{
			{"ciede2000.go", []string{"withDefaults", "Parts", "ciede2000Terms", "meanHueDegrees", "chromaRatio7", "Diff", "DiffPairs", "DiffMany", "hueTie"}},
			{"ciede2000_fast.go", nil},
		}, "CIEDE2000|Fast|Bulk|Opposite|OrdinaryPairs|Defaults|PublishedDifferences|Parts|Symmetry|Identity", seed},
		{"E308 weights", "colorimetry", []source{
			{"tristimulus.go", nil},
			{"lamp.go", nil},
			{"spectrum.go", []string{"neighbors"}},
		}, "Weights|DotProducts|Widened|EachWeight|IlluminantA|LinesStay|Lagrange|WhitePoints|Worked|Denim|Diffuser|Grids|LabRows|Resample", seed},
		{"curve gradients", "fit", []source{
			{"curve.go", []string{"unit", "order", "softplus", "unitInverse"}},
			{"sigmoid.go", nil},
			{"multifactor.go", []string{"apply", "basis", "varied", "shapeAt", "shapeIn", "Eta", "dotPlain", "grad", "Grad", "Eval", "DoseSlope", "batch"}},
		}, "Curve|Sigmoid|MultiFactor|GroupShifts|DoseResponseReference|BaseReference|StRDGradients", seed},
		{"covariance", "fit", []source{
			{"factorization.go", nil},
			{"qr.go", nil},
			{"result.go", []string{"Covariance", "SE", "roots", "Correlation", "ObservedCovariance", "ObservedSE", "quantile"}},
		}, "Covariance|QR|Condition|Norm|Student|StRD$|KnownSD|Relative|AtBound|DoseResponseReference|BaseReference|NoFinite|Hard", seed},
		{"quantiles", "internal/quantile", []source{
			{"distributions.go", nil},
		}, "", nil},
		{"neutralization, reactions", "discharge/chem", []source{
			{"agents.go", nil},
			{"reaction.go", nil},
			{"halves.go", nil},
		}, "", seed},
		{"neutralization, loads", "discharge/charge", []source{
			{"neutral.go", nil},
		}, "", seed},
	}
}
