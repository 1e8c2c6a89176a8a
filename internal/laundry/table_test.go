package laundry

import (
	"bytes"
	"encoding/csv"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"example.com/dosetone/colorimetry"
)

func TestLadder(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, id := range Processes() {
		p, err := lookup(id)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range []int{12, 16, 24} {
			lots, err := (&Laundry{process: p}).Ladder(n, rng)
			if err != nil {
				t.Fatal(err)
			}
			if len(lots) != n {
				t.Fatalf("%s: %d lots, want %d", id, len(lots), n)
			}
			times, seen, twice := map[float64]bool{}, map[[4]float64]bool{}, 0
			for _, s := range lots {
				key := [4]float64{}
				j := 0
				for _, f := range p.factors {
					if f.Recorded {
						if _, ok := s[f.Column]; ok {
							t.Errorf("%s: %s is only recorded but was set", id, f.Column)
						}
						continue
					}
					v, ok := s[f.Column]
					if !ok || v < f.Lo || v > f.Hi {
						t.Errorf("%s: %s = %g, want %g..%g", id, f.Column, v, f.Lo, f.Hi)
					}
					key[j] = v
					j++
				}
				if seen[key] {
					twice++
				}
				seen[key] = true
				times[s["time_min"]] = true
			}
			if len(times) != n/4 || twice != 1 {
				t.Errorf("%s, %d lots: %d times, %d replicates; want %d and 1", id, n, len(times), twice, n/4)
			}
		}
	}
	gas, err := lookup("ozone-gas")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []int{0, 4, 13} {
		if _, err := (&Laundry{process: gas}).Ladder(n, rng); err == nil {
			t.Errorf("a ladder of %d lots was made", n)
		}
	}
	if _, err := lookup("sun"); err == nil {
		t.Error("an unknown process was accepted")
	}
}

func TestTable(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	l, err := New(Contact, "permanganate-pellet", rng)
	if err != nil {
		t.Fatal(err)
	}
	ladder, err := l.Ladder(8, rng)
	if err != nil {
		t.Fatal(err)
	}
	o := RunOptions{Panels: 3, Positions: 2, BasePanels: 1}
	lots := l.Trials(ladder, rng, o)
	blank := l.Blank(ladder[0], rng, o)
	blank.ID = "K01"
	lots = append(lots, blank)
	srgb, err := colorimetry.NewWeights(colorimetry.SRGBViewing(), Grid())
	if err != nil {
		t.Fatal(err)
	}
	for _, form := range []Form{Spectra, Swatches, LabForm} {
		var b bytes.Buffer
		if err := Table(&b, TableOptions{Form: form, Tensile: true, Comment: "invented data: test"}, lots...); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		if !strings.HasPrefix(text, "# invented data: test\nlot,role,process,fabric,machine,strength_pct,ratio,time_min,rpm,moisture_pct,panel,position,tensile_loss_pct,") {
			t.Fatalf("header: %.200s", text)
		}
		if strings.Contains(text, "\r") || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Error("CR, NaN or Inf in the table")
		}
		r := csv.NewReader(strings.NewReader(text))
		r.Comment = '#'
		rows, err := r.ReadAll() // every row must have the header's length
		if err != nil {
			t.Fatal(err)
		}
		if want := 1 + 8*(6+2) + 6; len(rows) != want {
			t.Errorf("%d rows, want %d", len(rows), want)
		}
		for _, row := range rows[1:] {
			for i, cell := range row[13:] {
				if rows[0][13+i] == "illuminant" {
					break
				}
				v, err := strconv.ParseFloat(cell, 64)
				if err != nil {
					t.Fatal(err)
				}
				if form == Spectra && (v <= 0 || v > 1) || form == Swatches && (v < 0 || v > 255) {
					t.Errorf("%s = %s", rows[0][13+i], cell)
				}
			}
			if row[1] == "blank" && row[5] != "0" {
				t.Errorf("a blank of strength %s", row[5])
			}
			if row[1] == "base" && (row[5] != "" || row[7] != "") {
				t.Errorf("a base with settings %v", row)
			}
		}
		if form == Swatches {
			// The written bytes are the spectrum's color to within rounding.
			first := lots[0].Readings[0].R
			var rgb colorimetry.SRGB8
			row := rows[3] // after two base rows
			for i, p := range []*uint8{&rgb.R, &rgb.G, &rgb.B} {
				v, _ := strconv.Atoi(row[13+i])
				*p = uint8(v)
			}
			if d := deltaE(srgb.Lab(first), colorimetry.SRGB8ToLab(rgb)); d > 0.6 {
				t.Errorf("swatch %v is %.2f ΔE00 from its spectrum", rgb, d)
			}
		}
	}
	lots[1].ID = ""
	if err := Table(&bytes.Buffer{}, TableOptions{}, lots...); err == nil {
		t.Error("a lot without ID was written")
	}
	if err := Table(&bytes.Buffer{}, TableOptions{}); err == nil {
		t.Error("an empty table was written")
	}
}
