package discharge

// Processes returns the built-in processes. The slice is the caller's own.
//
// The ranges are habit of the trade, wide enough to hold what is printed in
// patents, trade papers and course notes, and only ever cause a warning.
func Processes() []Process {
	return []Process{
		{
			ID: "permanganate-stone", Title: "tumbling with stones soaked in permanganate",
			Oxidizer: "potassium permanganate", Carrier: "stones",
			Factors: factors(
				strengthGPL("permanganate in the soak", 1.5, 50, 0.5),
				carrierRatio("stones per dry garment", 0.3, 2.5),
				tumbleTime(1.5, 30),
				ambientTemp(), acidity("pH of the soak", 2, 8), drumSpeed(), moisture(),
				recorded("uptake_lpkg", "liquid held by the drained stones, weighed", "L/kg", 0.2, 0.6),
			),
			Active: ActiveRule{Scale: 1, Times: []string{"strength_gpl", "ratio", "uptake_lpkg"}, Of: "KMnO4"},
			Practice: []string{
				"soak the stones until no more bubbles rise (15-60 min for small grades, up to 2 h), drain them, use them within the shift, covered, out of light",
				"about 2 kg of stones per kg of dry garment; garments dry or evenly damp, desized and free of peroxide and softener",
				"tumble about 15 min and take the garments out at once: those left lying on wet stones get hot spots",
				"weigh the liquid that the stones hold, and assay the bath: both drift with every reuse",
			},
			Cautions: permanganateCautions(dustCaution(), carrierCaution()),
		},
		{
			ID: "permanganate-powder", Title: "tumbling with moist permanganate powder",
			Oxidizer: "potassium permanganate", Carrier: "powder",
			Factors: factors(
				strengthPct("permanganate on the powder", 0.5, 10, 0.1),
				carrierRatio("powder per dry garment", 0.05, 0.6),
				tumbleTime(5, 30),
				ambientTemp(), drumSpeed(), moisture(),
			),
			Active: ActiveRule{Scale: 10, Times: []string{"strength_pct", "ratio"}, Of: "KMnO4"},
			Practice: []string{
				"powder of 1-4 % strength at 45-50 % of the dry garment weight, with rubber tumbling aids 2.5:1",
				"30-35 rpm, 15-20 min; garments extracted to an even moisture",
				"take the garments out at once and shake the powder off before they get wet",
			},
			Cautions: permanganateCautions(dustCaution(), carrierCaution()),
		},
		{
			ID: "permanganate-pellet", Title: "tumbling with permanganate pellets",
			Oxidizer: "potassium permanganate", Carrier: "pellets",
			Factors: factors(
				strengthPct("permanganate on the pellets", 0.5, 12, 0.5),
				carrierRatio("pellets per dry garment", 0.05, 2.5),
				tumbleTime(3, 40),
				ambientTemp(), drumSpeed(), moisture(),
			),
			Active: ActiveRule{Scale: 10, Times: []string{"strength_pct", "ratio"}, Of: "KMnO4"},
			Practice: []string{
				"pellets of 4-10 % strength, 2 kg per kg of dry garment",
				"take the garments out at once: those left lying on pellets get hot spots",
				"assay a crushed portion before the first load and after reuse",
			},
			Cautions: permanganateCautions(dustCaution(), carrierCaution()),
		},
		{
			ID: "permanganate-spray", Title: "spraying or brushing permanganate solution",
			Oxidizer: "potassium permanganate",
			Factors: factors(
				strengthGPL("permanganate in the spray", 5, 60, 0.5),
				Factor{Column: "add_on_gsm", Title: "liquid put on the cloth", Unit: "g/m²", Transform: Log,
					Typical: usual(20, 400), Step: 5, Increases: true},
				Factor{Column: "time_min", Title: "dwell before neutralizing", Unit: "min", Transform: Log,
					Typical: usual(2, 60), Step: 1, Less: true, Increases: true},
				ambientTemp(), acidity("pH of the spray", 2, 8), moisture(),
				recorded("fabric_gsm", "mass of the dry cloth per area", "g/m²", 150, 550),
			),
			// g/L × g/m² ÷ (1000 g/L) ÷ (g/m² ÷ 1000 g/kg): the thousands cancel;
			// the spray is taken to weigh 1 kg/L.
			Active: ActiveRule{Scale: 1, Times: []string{"strength_gpl", "add_on_gsm"}, Over: []string{"fabric_gsm"}, Of: "KMnO4"},
			Practice: []string{
				"one gun distance and one number of strokes for all pieces; weigh a panel before and after for the add-on",
				"give every piece the same dwell, then neutralize: drying alone does not stop the reaction",
			},
			Cautions: permanganateCautions(Caution{"permanganate mist",
				"Spray only in an exhausted booth with respirator, gloves, tight goggles and an eye wash at hand: mist burns lungs, eyes and skin.",
				CommonPractice}),
		},
		{
			ID: "hypochlorite-bath", Title: "bleaching down in a hypochlorite bath",
			Oxidizer: "sodium or calcium hypochlorite",
			Factors: factors(
				strengthGPL("available chlorine in the bath", 0.3, 12, 0.1),
				liquorRatio(), bathTime(3, 60),
				temperature("bath temperature", 20, 60, true),
				acidity("pH of the bath", 8.5, 12.5), drumSpeed(),
			),
			Active: ActiveRule{Scale: 1, Times: []string{"strength_gpl", "liquor_ratio"}, Of: "available chlorine as Cl2"},
			Practice: []string{
				"pH 9-11 kept with soda ash: cotton is damaged fastest near neutral",
				"the time in which the shade is right is short: sample every minute or two towards the end",
				"an antichlor and rinses must follow, or the cloth yellows and goes on losing strength",
				"on cloth that was not abraded the bleach looks flat",
			},
			Cautions: hypochloriteCautions(),
		},
		{
			ID: "laccase-bath", Title: "fading in a laccase bath with mediator",
			Oxidizer: "laccase with mediator and the oxygen of the air",
			Factors: factors(
				strengthPct("enzyme product on weight of garment", 0.1, 5, 0.1),
				dilutingLiquor(), bathTime(10, 60),
				temperature("bath temperature", 30, 70, false),
				acidity("pH of the bath", 4, 9), drumSpeed(),
			),
			Active: ActiveRule{Scale: 10, Times: []string{"strength_pct"}, Of: "enzyme product"},
			Practice: []string{
				"pH 4.5-6.5 and 50-65 °C for most fungal enzymes: follow the maker's sheet",
				"no antichlor; a hot or alkaline rinse stops the enzyme",
				"the cast is greyer than with chlorine, and loose indigo stains back: measure weft and pocketing too",
			},
			Cautions: laccaseCautions(),
		},
		{
			ID: "ozone-gas", Title: "fading in ozone gas",
			Oxidizer: "ozone",
			Factors: factors(
				Factor{Column: "strength_gnm3", Title: "ozone in the feed gas", Unit: "g/Nm³", Transform: Log,
					Typical: usual(5, 120), Step: 1, Less: true, Increases: true},
				Factor{Column: "moisture_pct", Title: "moisture of the garments", Unit: "% of dry weight", Transform: Linear,
					Typical: usual(20, 80), Step: 5},
				bathTime(3, 50),
				ambientTemp(), drumSpeed(),
				Factor{Column: "flow_nm3pmin", Title: "flow of the feed gas", Unit: "Nm³/min", Transform: Log, Optional: true, Step: 0.05, Increases: true},
				Factor{Column: "load_kg", Title: "dry garments in the drum", Unit: "kg", Transform: Log, Optional: true, Step: 1, Monotone: true},
			),
			Active: ActiveRule{Scale: 1, Times: []string{"strength_gnm3", "flow_nm3pmin", "time_min"}, Over: []string{"load_kg"}, Of: "O3 applied"},
			Practice: []string{
				"moisture 50-60 % of dry weight: dry cloth hardly reacts, soaking cloth keeps the gas out",
				"15-20 min of tumbling, then purge until the drum reads free of ozone",
			},
			Cautions: ozoneCautions(),
		},
	}
}

func usual(lo, hi float64) Range { return Range{Lo: lo, Hi: hi, Note: CommonPractice} }

// factors are those of a process, and what any load may be measured for.
func factors(f ...Factor) []Factor { return append(f, ownBase()) }

func strengthPct(title string, lo, hi, step float64) Factor {
	return Factor{Column: "strength_pct", Title: title, Unit: "%", Transform: Log,
		Typical: usual(lo, hi), Step: step, Less: true, Increases: true}
}

func strengthGPL(title string, lo, hi, step float64) Factor {
	return Factor{Column: "strength_gpl", Title: title, Unit: "g/L", Transform: Log,
		Typical: usual(lo, hi), Step: step, Less: true, Increases: true}
}

func carrierRatio(title string, lo, hi float64) Factor {
	return Factor{Column: "ratio", Title: title, Unit: "kg/kg", Transform: Log,
		Typical: usual(lo, hi), Step: 0.05, Increases: true}
}

func liquorRatio() Factor {
	return Factor{Column: "liquor_ratio", Title: "bath per dry garment", Unit: "L/kg", Transform: Log,
		Typical: usual(4, 20), Step: 0.5, Increases: true}
}

// dilutingLiquor is the liquor ratio of what is weighed on garment: more of it
// dilutes the agent, and wets and moves the garments more evenly.
func dilutingLiquor() Factor {
	f := liquorRatio()
	f.Increases, f.Monotone = false, true
	return f
}

func tumbleTime(lo, hi float64) Factor {
	return Factor{Column: "time_min", Title: "tumbling time", Unit: "min", Transform: Log,
		Typical: usual(lo, hi), Step: 0.5, Less: true, Increases: true}
}

func bathTime(lo, hi float64) Factor {
	f := tumbleTime(lo, hi)
	f.Title = "time of treatment"
	return f
}

func temperature(title string, lo, hi float64, increases bool) Factor {
	return Factor{Column: "temp_c", Title: title, Unit: "°C", Transform: InverseKelvin, Optional: true,
		Typical: usual(lo, hi), Step: 1, Increases: increases}
}

func ambientTemp() Factor { return temperature("temperature in the drum", 10, 45, false) }

func acidity(title string, lo, hi float64) Factor {
	return Factor{Column: "ph", Title: title, Transform: Linear, Optional: true, Typical: usual(lo, hi), Step: 0.1}
}

func drumSpeed() Factor {
	return Factor{Column: "rpm", Title: "drum speed", Unit: "1/min", Transform: Log, Optional: true,
		Typical: usual(10, 40), Step: 1}
}

func moisture() Factor {
	return Factor{Column: "moisture_pct", Title: "moisture of the garments", Unit: "% of dry weight", Transform: Linear, Optional: true,
		Typical: usual(0, 80), Step: 5}
}

// ownBase is how light the garments of a load were before it.
func ownBase() Factor {
	return Factor{Column: baseColumn, Title: "L* of the garments of the load before it", Transform: Linear, Optional: true,
		Typical: usual(15, 35), Step: 0.1, Measured: true}
}

func recorded(column, title, unit string, lo, hi float64) Factor {
	f := Factor{Column: column, Title: title, Unit: unit, Transform: Recorded, Optional: true}
	if hi > lo {
		f.Typical = usual(lo, hi)
	}
	return f
}
