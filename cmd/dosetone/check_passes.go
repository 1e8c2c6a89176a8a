package main

import (
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// lastPasses are how light lots were before the last pass that each had.
type lastPasses struct {
	before  map[string]float64
	minutes float64
}

// lastPasses reads the lots as they were before, nil if nothing is said of a pass.
func (e *env) lastPasses(f *checkFlags, t *discharge.Table, m *discharge.Model) (*lastPasses, error) {
	switch {
	case f.before == "" && !f.passTime.set:
		return nil, nil
	case f.before == "" || !f.passTime.set:
		return nil, usage("--before and --pass-time go together: how the lot was before its last pass, and how long that took")
	case !f.reworked || m == nil:
		return nil, usage("--before needs --reworked and --model: a lot that was discharged again, and what knows how long passes take")
	case !(f.passTime.value > 0):
		return nil, usage("--pass-time must be above 0 (minutes)")
	}
	was, err := e.tableBeside(f.before, f, t, m)
	if err != nil {
		return nil, err
	}
	p := &lastPasses{map[string]float64{}, f.passTime.value}
	for _, l := range append(was.ByRole(discharge.Production), was.ByRole(discharge.Trial)...) {
		if light, ok := discharge.MeanLightness(l); ok {
			p.before[l.ID] = light
		}
	}
	lots, err := f.chosen(t)
	if err != nil {
		return nil, err
	}
	for _, l := range lots {
		if _, ok := p.before[l.ID]; !ok {
			e.warn("%s has no finished, dry reading of lot %s: its next pass is worked out without what the last one did", shown(f.before), l.ID)
		}
	}
	return p, nil
}

// of is the last pass of a lot at settings, nil if nothing is known of it.
func (p *lastPasses) of(lot string, settings discharge.Settings) *quality.LastPass {
	if p == nil || len(settings) == 0 {
		return nil
	}
	light, ok := p.before[lot]
	if !ok {
		return nil
	}
	settings = settings.Clone()
	settings["time_min"] = p.minutes
	return &quality.LastPass{Before: light, Settings: settings}
}
