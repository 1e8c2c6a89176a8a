package surface

// factor is a column of the table with the range that settings stay in.
type factor struct {
	column string
	lo, hi float64
}

// factors are strength, second factor and time of a process. The ranges are
// written here, not asked of the tool, so that no change of it moves a draw.
func factors(process string) [3]factor {
	switch process {
	case "permanganate-stone":
		return [3]factor{{"strength_gpl", 1.5, 50}, {"ratio", 0.3, 2.5}, {"time_min", 1.5, 30}}
	case "permanganate-powder":
		return [3]factor{{"strength_pct", 0.5, 10}, {"ratio", 0.05, 0.6}, {"time_min", 5, 30}}
	case "permanganate-pellet":
		return [3]factor{{"strength_pct", 0.5, 12}, {"ratio", 0.05, 2.5}, {"time_min", 3, 40}}
	case "hypochlorite-bath":
		return [3]factor{{"strength_gpl", 0.3, 12}, {"liquor_ratio", 4, 20}, {"time_min", 3, 60}}
	case "laccase-bath":
		return [3]factor{{"strength_pct", 0.1, 5}, {"liquor_ratio", 4, 20}, {"time_min", 10, 60}}
	default: // ozone-gas
		return [3]factor{{"strength_gnm3", 5, 120}, {"moisture_pct", 20, 80}, {"time_min", 3, 50}}
	}
}

// plan is what a process may change before the laundry is built from it.
type plan struct {
	goal        float64    // level that the center of the region reaches, 0 base to 1 white
	center      [3]float64 // strength, second factor, minutes
	width       [3]float64 // highest over lowest
	penetration float64    // of the oxidizer, in yarn radii
	ring        float64    // depth of the dye, in yarn radii
}

// drawProcess draws what the group has of its own: process, center of the
// region, kinetics, and its way with casts and sulfur dye.
func (l *Laundry) drawProcess(d draw, group string, p *plan) {
	f := &l.fabric
	switch group {
	case "permanganate":
		l.process = [3]string{"permanganate-stone", "permanganate-powder", "permanganate-pellet"}[d.IntN(3)]
		switch l.process {
		case "permanganate-stone":
			p.center = [3]float64{d.log(4, 18), d.log(0.7, 1.5), d.log(6, 12)}
		case "permanganate-powder":
			p.center = [3]float64{d.log(1.2, 4), d.log(0.15, 0.4), d.log(9, 15)}
		default:
			p.center = [3]float64{d.log(2, 7), d.log(0.4, 1.5), d.log(8, 16)}
		}
		f.castMost, f.cast = d.log(0.01, 0.35), fading(d.uniform(85, 130))
		l.kinetics = newPermanganate(d, l.process)
	case "hypochlorite":
		l.process = "hypochlorite-bath"
		p.center = [3]float64{d.log(1, 5), d.log(7, 12), d.log(9, 22)}
		f.castMost, f.cast = d.log(0.005, 0.1), fading(d.uniform(35, 60))
		f.sturdy = d.log(0.6, 2.5) // sulfur dyes do not stand chlorine
		l.kinetics = newHypochlorite(d)
	case "laccase":
		l.process = "laccase-bath"
		p.center = [3]float64{d.log(0.5, 2), d.log(7, 12), d.log(20, 32)}
		p.goal = d.uniform(0.2, 0.45)
		f.castMost, f.cast = d.log(0.01, 0.2), fading(d.uniform(110, 220))
		f.sturdy = d.log(0.02, 0.3)
		f.backMost *= 2.5
		p.penetration *= 0.7
		l.kinetics = newLaccase(d)
	case "ozone":
		l.process = "ozone-gas"
		p.center = [3]float64{d.log(18, 60), d.uniform(35, 55), d.log(9, 20)}
		f.cast = fading(100) // castMost stays 0: ozone leaves no cast
		f.isatin *= 1.3
		l.kinetics = newOzone(d, p.center[1])
	}
}
