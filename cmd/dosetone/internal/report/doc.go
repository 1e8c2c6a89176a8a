// Package report writes results as people and programs read them: aligned
// text, CSV and JSON.
package report
