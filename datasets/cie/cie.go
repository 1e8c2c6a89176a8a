// Package cie embeds the CIE tables that colorimetry computes with: the 1931
// (2 degree) and 1964 (10 degree) standard observers at 1 nm and the relative
// spectral power of nine illuminants at 5 nm. README.md gives origin, licence
// and SHA-256 of each file.
//
// Every call parses the embedded bytes anew and returns values that the caller
// owns, so the package has no state. Callers that need the tables often keep
// them.
package cie

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

//go:embed cmf_1931_2deg.csv
var observer1931 string

//go:embed cmf_1964_10deg.csv
var observer1964 string

//go:embed illuminants.csv
var illuminants string

// Wavelength range of the observer tables, in nm, in steps of 1 nm.
const (
	ObserverStart = 360
	ObserverEnd   = 830
	observerLen   = ObserverEnd - ObserverStart + 1
)

// An Observer holds the color-matching functions at 360, 361, … 830 nm.
type Observer struct{ X, Y, Z [observerLen]float64 }

// Observer1931 returns the CIE 1931 (2 degree) standard observer.
func Observer1931() Observer { return parseObserver("cmf_1931_2deg.csv", observer1931) }

// Observer1964 returns the CIE 1964 (10 degree) standard observer.
func Observer1964() Observer { return parseObserver("cmf_1964_10deg.csv", observer1964) }

// A Lamp is the relative spectral power of an illuminant at Start, Start+5, … nm.
// Wavelengths outside the table are not known; the printed tables begin at
// 300 nm (A, C, D50, D65) or 380 nm (the others) and end at 780 nm.
type Lamp struct {
	Start  int
	Values []float64
}

// LampStep is the step of the illuminant tables in nm.
const LampStep = 5

// LampNames lists the illuminants in the order of the table's columns:
// A, C, D50, D65, F2, F7, F11, LED-B3, LED-B4.
func LampNames() []string { return rows("illuminants.csv", illuminants)[0][1:] }

// Illuminant returns the table of the named illuminant; ok is false when
// the name is not one of LampNames.
func Illuminant(name string) (l Lamp, ok bool) {
	table := rows("illuminants.csv", illuminants)
	column := slices.Index(table[0][1:], name) + 1
	if column == 0 {
		return Lamp{}, false
	}
	for i, row := range table[1:] {
		if row[column] == "" {
			continue
		}
		if l.Values == nil {
			l.Start = int(number("illuminants.csv", i+2, row[0]))
		}
		l.Values = append(l.Values, number("illuminants.csv", i+2, row[column]))
	}
	return l, true
}

func parseObserver(name, text string) (o Observer) {
	table := rows(name, text)[1:]
	if len(table) != observerLen {
		panic(fmt.Sprintf("cie: %s has %d rows, want %d", name, len(table), observerLen))
	}
	for i, row := range table {
		if nm := number(name, i+2, row[0]); nm != float64(ObserverStart+i) {
			panic(fmt.Sprintf("cie: %s line %d: wavelength %v, want %d", name, i+2, nm, ObserverStart+i))
		}
		o.X[i] = number(name, i+2, row[1])
		o.Y[i] = number(name, i+2, row[2])
		o.Z[i] = number(name, i+2, row[3])
	}
	return o
}

// rows splits a plain comma-separated table without quotes.
func rows(name, text string) [][]string {
	var out [][]string
	for line := range strings.Lines(text) {
		out = append(out, strings.Split(strings.TrimRight(line, "\r\n"), ","))
		if got, want := len(out[len(out)-1]), len(out[0]); got != want {
			panic(fmt.Sprintf("cie: %s line %d: %d fields, want %d", name, len(out), got, want))
		}
	}
	return out
}

// number parses a cell. The tables are embedded and their sums are tested, so
// a bad cell is a fault of this package.
func number(name string, line int, cell string) float64 {
	x, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		panic(fmt.Sprintf("cie: %s line %d: %v", name, line, err))
	}
	return x
}
