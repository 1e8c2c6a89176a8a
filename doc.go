// Package dosetone is the root of a module that learns, from a garment
// laundry's own trial lots, how the shade of dyed denim depends on an
// oxidizer's strength, carrier ratio and time, and turns a target shade into
// settings. It holds no code: see the packages colorimetry, fit and discharge
// and the tool cmd/dosetone.
package dosetone
