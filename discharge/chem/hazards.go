package chem

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

func pow10(x float64) float64 { return math.Pow(10, x) }

// Class is what makes chemicals dangerous to each other.
type Class string

// The classes.
const (
	permanganate  Class = "permanganate"
	hypochlorite  Class = "hypochlorite"
	acid          Class = "acid"
	hydrochloric  Class = "hydrochloric acid"
	sulfuric      Class = "sulfuric acid"
	ammonia       Class = "ammonia or urea"
	peroxide      Class = "peroxide"
	sulfite       Class = "sulfite"
	acidSulfite   Class = "acid sulfite"
	reducer       Class = "reducing agent"
	organic       Class = "organic matter"
	polyol        Class = "glycerol or glycol"
	hydroxylamine Class = "hydroxylamine"
	enzyme        Class = "enzyme"
	ozone         Class = "ozone"
	oxalic        Class = "oxalic acid"
)

// Chemical is a substance that may stand on a sheet.
type Chemical struct {
	ID, Name string
	Classes  []Class
}

func (c Chemical) is(k Class) bool { return slices.Contains(c.Classes, k) }

// Chemicals returns all that are known.
func Chemicals() []Chemical {
	return []Chemical{
		{"permanganate", "potassium permanganate", []Class{permanganate}},
		{"hypochlorite", "hypochlorite", []Class{hypochlorite}},
		{"ozone", "ozone", []Class{ozone}},
		{"laccase", "laccase with mediator", []Class{enzyme}},
		{"bisulfite", "sodium bisulfite", []Class{sulfite, acidSulfite, reducer}},
		{"metabisulfite", "sodium metabisulfite", []Class{sulfite, acidSulfite, reducer}},
		{"sulfite", "sodium sulfite", []Class{sulfite, reducer}},
		{"peroxide", "hydrogen peroxide", []Class{peroxide}},
		{"oxalic-acid", "oxalic acid dihydrate", []Class{acid, oxalic, reducer, organic}},
		{"oxalic-acid-anhydrous", "oxalic acid, anhydrous", []Class{acid, oxalic, reducer, organic}},
		{"hydroxylamine", "hydroxylamine sulfate", []Class{acid, hydroxylamine, reducer}},
		{"ascorbic-acid", "ascorbic acid", []Class{acid, reducer, organic}},
		{"sodium-ascorbate", "sodium ascorbate", []Class{reducer, organic}},
		{"thiosulfate", "sodium thiosulfate pentahydrate", []Class{reducer}},
		{"thiosulfate-anhydrous", "sodium thiosulfate, anhydrous", []Class{reducer}},
		{"calcium-thiosulfate", "calcium thiosulfate", []Class{reducer}},
		{"acetic-acid", "acetic acid", []Class{acid}},
		{"phosphoric-acid", "phosphoric acid", []Class{acid}},
		{"formic-acid", "formic acid", []Class{acid, reducer}},
		{"citric-acid", "citric acid", []Class{acid, reducer, organic}},
		{"hydrochloric-acid", "hydrochloric acid", []Class{acid, hydrochloric}},
		{"sulfuric-acid", "sulfuric acid", []Class{acid, sulfuric}},
		{"soda-ash", "sodium carbonate", nil},
		{"caustic-soda", "sodium hydroxide", nil},
		{"ammonia", "ammonia", []Class{ammonia}},
		{"urea", "urea", []Class{ammonia, organic}},
		{"glycerol", "glycerol", []Class{polyol, organic}},
		{"glycol", "glycol", []Class{polyol, organic}},
		{"softener", "softener", []Class{organic}},
		{"brightener", "optical brightener with detergent", []Class{organic}},
	}
}

// LookupChemical returns the chemical of that id.
func LookupChemical(id string) (Chemical, error) {
	var ids []string
	for _, c := range Chemicals() {
		if c.ID == strings.ToLower(strings.TrimSpace(id)) {
			return c, nil
		}
		ids = append(ids, c.ID)
	}
	return Chemical{}, fmt.Errorf("chemical %q is %w; there are %s", id, ErrUnknown, strings.Join(ids, ", "))
}

// Conflict is a pair that must not meet, or only in the way that Text says.
type Conflict struct {
	A, B   string // names
	Refuse bool   // they must not be on one sheet
	Text   string
	Source string
}

type pair struct {
	a, b   Class
	refuse bool
	text   string
	source string
}

// pairs are matched in order; the first that fits two chemicals is told.
func pairs() []pair {
	return []pair{
		{hypochlorite, acid, true, "sets chlorine gas free (EUH031): no acid on a sheet with hypochlorite; rinse it out and sour on another sheet, after the test for chlorine is negative", CommonPractice},
		{hypochlorite, acidSulfite, false, "the concentrates together set chlorine and sulfur dioxide free: only into the drained, diluted bath, kept alkaline; no shared dosing line", CommonPractice},
		{hypochlorite, ammonia, true, "makes chloramines, irritant and unstable", FromMemory},
		{hypochlorite, peroxide, false, "oxygen, heat and foam at once: only slowly into the drained or diluted bath, never concentrate to concentrate", FromMemory},
		{hypochlorite, permanganate, false, "an acid permanganate or neutralizing bath that meets hypochlorite, in the drum or the drain, sets chlorine free: rinse between, no shared dosing line", CommonPractice},
		{hypochlorite, organic, false, "store apart; organic matter eats chlorine and may heat up", CommonPractice},
		{permanganate, hydrochloric, true, "sets chlorine gas free: acidify with acetic or phosphoric acid", FromMemory},
		{permanganate, sulfuric, true, "concentrated sulfuric acid makes an explosive oxide: acidify with acetic or phosphoric acid", FromMemory},
		{permanganate, polyol, true, "ignites on contact", FromMemory},
		{permanganate, peroxide, false, "concentrated or with manganese dioxide: sudden oxygen, heat, pressure: only diluted, in a vented machine", FromMemory},
		{permanganate, hydroxylamine, false, "violent when dry or concentrated: dissolve each on its own, diluted", FromMemory},
		{permanganate, reducer, false, "heat and fire when dry or concentrated: never in one container, scoop or dosing line; dissolve each on its own", FromMemory},
		{permanganate, organic, false, "dry or concentrated it may set it on fire: store and weigh apart", FromMemory},
		{permanganate, acid, false, "acid into water first and diluted, then the dissolved permanganate; never acid onto crystals", CommonPractice},
		{sulfite, acid, false, "sets sulfur dioxide free: add the acid diluted and last, under exhaust, no deeper than the pH on this sheet", FromMemory},
		{peroxide, reducer, false, "heat; each undoes the other", CommonPractice},
		{ozone, organic, false, "ozone eats softener, brightener and rubber: they come after the purge", CommonPractice},
		{ozone, peroxide, false, "together they attack cloth and seals: rinse between", CommonPractice},
		{enzyme, hypochlorite, false, "the enzyme dies, and acid buffers set chlorine free: rinse between", CommonPractice},
	}
}

// Conflicts returns the pairs among the chemicals, those to refuse first. An
// unknown id is an error.
func Conflicts(ids ...string) ([]Conflict, error) {
	var list []Chemical
	for _, id := range ids {
		c, err := LookupChemical(id)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(list, func(d Chemical) bool { return d.ID == c.ID }) {
			list = append(list, c)
		}
	}
	var refuse, care []Conflict
	for i, x := range list {
		for _, y := range list[i+1:] {
			for _, p := range pairs() {
				if !(x.is(p.a) && y.is(p.b) || x.is(p.b) && y.is(p.a)) {
					continue
				}
				c := Conflict{x.Name, y.Name, p.refuse, p.text, p.source}
				if p.refuse {
					refuse = append(refuse, c)
				} else {
					care = append(care, c)
				}
				break
			}
		}
	}
	return append(refuse, care...), nil
}

// Limit is an exposure limit in the air of the workplace.
type Limit struct {
	Of     string
	Text   string
	Source string
}

// Limits returns the exposure limits that belong to the chemicals and to the
// gases that they may set free.
func Limits(ids ...string) []Limit {
	var out []Limit
	add := func(l Limit) {
		if !slices.Contains(out, l) {
			out = append(out, l)
		}
	}
	for _, id := range ids {
		c, err := LookupChemical(id)
		if err != nil {
			continue
		}
		if c.is(permanganate) {
			add(Limit{"manganese compounds as Mn", "OSHA ceiling 5 mg/m³; NIOSH 1 mean, 3 short-term, IDLH 500; ACGIH 0.02 respirable, 0.1 inhalable",
				"OSHA chemical sampling page and summary of 2013: check the current text"})
		}
		if c.is(hypochlorite) {
			add(Limit{"chlorine", "OSHA ceiling 1 ppm (3 mg/m³); NIOSH ceiling 0.5 ppm in 15 min; ACGIH 0.1 mean, 0.4 short-term; IDLH 10 ppm", FromMemory})
		}
		if c.is(ozone) {
			add(Limit{"ozone", "OSHA 0.1 ppm mean; NIOSH ceiling 0.1 ppm; ACGIH 0.05-0.2 ppm by work and time; IDLH 5 ppm", FromMemory})
		}
		if c.is(sulfite) {
			add(Limit{"sulfur dioxide", "OSHA 5 ppm; NIOSH 2 mean, 5 short-term; ACGIH short-term 0.25; IDLH 100 ppm", FromMemory})
		}
		if c.is(acidSulfite) {
			add(Limit{"bisulfite and metabisulfite", "5 mg/m³ (NIOSH, ACGIH); sulfites trouble people with asthma", FromMemory})
		}
		if c.is(peroxide) {
			add(Limit{"hydrogen peroxide", "1 ppm mean (OSHA, NIOSH, ACGIH)", FromMemory})
		}
		if c.is(oxalic) {
			add(Limit{"oxalic acid", "1 mg/m³ mean (OSHA); 2 short-term (NIOSH, ACGIH); harms the kidneys", FromMemory})
		}
		if c.is(hydroxylamine) {
			add(Limit{"hydroxylamine sulfate", "no limit in the US lists; suspected carcinogen, sensitizer, harms the blood; unstable when hot", FromMemory})
		}
		if id == "acetic-acid" {
			add(Limit{"acetic acid", "10 ppm mean (OSHA, NIOSH, ACGIH)", FromMemory})
		}
		if id == "phosphoric-acid" {
			add(Limit{"phosphoric acid mist", "1 mg/m³ mean (OSHA, NIOSH, ACGIH)", FromMemory})
		}
	}
	return out
}
