package discharge

// Limits are for the air at the workplace unless said otherwise. None was
// checked against the current official text: each carries FromMemory.

func permanganateCautions(more ...Caution) []Caution {
	return append([]Caution{
		{"potassium permanganate", "Strong oxidizer: harmful if swallowed, burns eyes and skin, very toxic to water life, suspected to harm the unborn child. " +
			"Gloves, goggles and dust protection when weighing.", FromMemory},
		{"permanganate with organics or acids", "Keep it from glycerol, glycols, oils, dry organic dust and reducing agents (it ignites them), from hydrochloric acid (chlorine), " +
			"from concentrated sulfuric acid (an explosive oxide) and from concentrated peroxide. Dissolve it on its own in water; dilute acid into water first.", FromMemory},
		{"manganese dust", "OSHA ceiling 5 mg/m³ as Mn; NIOSH 1 mg/m³ mean and 3 mg/m³ short-term; ACGIH 0.02 respirable and 0.1 inhalable.", FromMemory},
		{"neutralizing permanganate", "Bisulfite and metabisulfite give off sulfur dioxide in acid (OSHA 5 ppm; NIOSH 2 ppm, 5 short-term) and trouble people with asthma; peroxide gives off oxygen, heat and foam: " +
			"never in a closed vessel; oxalic acid harms the kidneys (1 mg/m³); hydroxylamine sulfate is unstable when hot, a sensitizer and a suspected carcinogen.", FromMemory},
		{"permanganate and hypochlorite", "Never run an acid permanganate or acid neutralizing step into a hypochlorite bath or its drain: chlorine gas. Rinse between the steps; no shared dosing lines.", CommonPractice},
		{"effluent and sludge", "Manganese dioxide ends in sludge and water; local permits set the limit for manganese.", FromMemory},
	}, more...)
}

func dustCaution() Caution {
	return Caution{"carrier dust", "Diatomaceous earth, sand and some pumice hold crystalline silica: OSHA 0.05 mg/m³ respirable, action level 0.025. " +
		"Exhaust the tumbler and the shake-out; see the data sheet of the carrier.", FromMemory}
}

func carrierCaution() Caution {
	return Caution{"charged carrier", "Store charged carrier moist, covered, cool and apart from rags, oil and softener: a dry charged carrier can set organics on fire.", CommonPractice}
}

func hypochloriteCautions() []Caution {
	return []Caution{
		{"hypochlorite with acid", "Never let it meet acid, an acid sour, excess bisulfite or an acid permanganate bath: chlorine gas. Rinse between the steps; no shared dosing lines.", CommonPractice},
		{"chlorine", "OSHA ceiling 1 ppm; NIOSH 0.5 ppm over 15 min; ACGIH 0.1 ppm mean, 0.4 short-term; immediately dangerous at 10 ppm.", FromMemory},
		{"hypochlorite with ammonia or urea", "Gives chloramines, irritant and unstable: keep softeners, urea and ammonia away.", FromMemory},
		{"hypochlorite with peroxide", "Gives off oxygen, heat and foam at once: add peroxide slowly to a drained or diluted bath, never concentrate to concentrate.", FromMemory},
		{"antichlor", "Bisulfite and metabisulfite make acid as they work: keep the bath alkaline until no chlorine is left, or chlorine and sulfur dioxide escape. " +
			"Sulfur dioxide: OSHA 5 ppm; NIOSH 2 ppm, 5 short-term. Sulfites trouble people with asthma.", FromMemory},
		{"hypochlorite on skin and eyes", "Corrosive: gloves, goggles, apron, eye wash at hand.", CommonPractice},
		{"effluent", "Chlorinated organics (AOX) and residual chlorine are limited by local permits.", FromMemory},
	}
}

func laccaseCautions() []Caution {
	return []Caution{
		{"enzyme dust and mist", "Enzymes sensitize the lungs: no dry dust, no spray, no high-pressure cleaning of spills.", CommonPractice},
		{"mediators", "Phenolic and phenothiazine mediators may irritate or sensitize: see the data sheet of the product.", CommonPractice},
		{"after another oxidizer", "Do not run it into a bath that still holds hypochlorite, peroxide or permanganate: the enzyme dies, and acid buffers release chlorine from hypochlorite.", CommonPractice},
	}
}

func ozoneCautions() []Caution {
	return []Caution{
		{"ozone", "OSHA 0.1 ppm mean; NIOSH ceiling 0.1 ppm; ACGIH 0.05-0.2 ppm by work and time; immediately dangerous at 5 ppm.", FromMemory},
		{"opening the drum", "Interlocked door, destruct unit, purge before opening, and an ozone alarm in the room: the nose gets used to it.", CommonPractice},
		{"oxygen feed", "Feed gas rich in oxygen feeds fires: no oil or grease on fittings, no ignition source.", CommonPractice},
		{"materials", "Ozone attacks natural rubber, elastane and some trims: try them first.", CommonPractice},
	}
}
