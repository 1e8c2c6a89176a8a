package discharge

import (
	"example.com/dosetone/colorimetry"
)

// Target is a shade to reach. A target under another viewing than a model's is seen
// anew by its spectrum, if it has one; without, and with limits, it is [ErrViewing].
type Target struct {
	ID          string
	Viewing     colorimetry.Viewing // of Lab, Light and Dark
	Lab         colorimetry.Lab
	Spectrum    []float64        // reflectance from 0 to 1 on Grid; nil when not known
	Grid        colorimetry.Grid // of Spectrum
	Light, Dark *colorimetry.Lab // approved limits, nil when not given
	Condition   Condition        // of all of them; "" when not stated
}

// CheckLimits returns why the limits cannot be those of one shade: the light one must be
// lighter than the dark one.
func (t Target) CheckLimits() error {
	if t.Light != nil && t.Dark != nil && t.Light.L <= t.Dark.L {
		return badValue("the light limit (L* %.2f) is not lighter than the dark limit (L* %.2f)", t.Light.L, t.Dark.L)
	}
	return nil
}
