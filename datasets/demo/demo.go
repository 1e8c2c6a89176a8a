// Package demo holds an invented laundry's trial lots as files. No real
// laundry, mill, buyer or product stands behind them; README.md tells the
// scenario and how the program in generate makes them. The first line of each
// file is a comment that says so.
package demo

import (
	"embed"
	"io/fs"
)

//go:generate go run ./generate

//go:embed *.csv
var files embed.FS

// File names of the demo.
const (
	PelletTrialsFile      = "invented-pellet-trials.csv"
	PelletSwatchesFile    = "invented-pellet-swatches.csv"
	PelletStandardFile    = "invented-pellet-standard.csv"
	PelletProductionFile  = "invented-pellet-production.csv"
	PelletNewFabricFile   = "invented-pellet-new-fabric.csv"
	HypochloriteTrialFile = "invented-hypochlorite-trials.csv"
)

// Names lists the files in the order in which the README tells of them.
func Names() []string {
	return []string{PelletTrialsFile, PelletSwatchesFile, PelletStandardFile, PelletProductionFile, PelletNewFabricFile, HypochloriteTrialFile}
}

// Files returns all files, read-only.
func Files() fs.FS { return files }

// PelletTrials returns 18 trial lots of 4 panels × 2 positions with
// permanganate pellets, as spectra, with base, blank and white.
func PelletTrials() []byte { return read(PelletTrialsFile) }

// PelletSwatches returns the same readings as 8-bit sRGB.
func PelletSwatches() []byte { return read(PelletSwatchesFile) }

// PelletStandard returns the buyer's standard with its light and dark limit.
func PelletStandard() []byte { return read(PelletStandardFile) }

// PelletProduction returns two production lots: P101 near the standard, P102
// with the brown cast of unreduced manganese dioxide.
func PelletProduction() []byte { return read(PelletProductionFile) }

// PelletNewFabric returns base, white and two trial lots of another fabric in the
// same machine.
func PelletNewFabric() []byte { return read(PelletNewFabricFile) }

// HypochloriteTrials returns 12 trial lots of a hypochlorite bath in which the
// temperature was varied too.
func HypochloriteTrials() []byte { return read(HypochloriteTrialFile) }

// read returns a fresh copy, so that a caller may change it.
func read(name string) []byte {
	b, err := files.ReadFile(name)
	if err != nil {
		panic("demo: " + err.Error()) // the names are constants of embedded files
	}
	return b
}
