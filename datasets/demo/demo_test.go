package demo

import (
	"bytes"
	"encoding/csv"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// TestShape holds the files to what the README and the task promise: they say
// that they are invented, have LF line ends, at most 5 decimals, and the
// stated numbers of lots, panels and positions.
func TestShape(t *testing.T) {
	long := regexp.MustCompile(`\.\d{6,}`)
	for _, c := range []struct {
		name string
		data []byte
		lots map[string]int // by role
	}{
		{PelletTrialsFile, PelletTrials(), map[string]int{"trial": 18, "base": 1, "blank": 1, "white": 1}},
		{PelletSwatchesFile, PelletSwatches(), map[string]int{"trial": 18, "base": 1, "blank": 1, "white": 1}},
		{PelletStandardFile, PelletStandard(), map[string]int{"standard": 1, "light_limit": 1, "dark_limit": 1}},
		{PelletProductionFile, PelletProduction(), map[string]int{"production": 2}},
		{PelletNewFabricFile, PelletNewFabric(), map[string]int{"trial": 2, "base": 1, "white": 1}},
		{HypochloriteTrialFile, HypochloriteTrials(), map[string]int{"trial": 12, "base": 1, "blank": 1, "white": 1}},
	} {
		if !strings.Contains(c.name, "invented") || !bytes.HasPrefix(c.data, []byte("# invented data: ")) {
			t.Errorf("%s does not say that it is invented", c.name)
		}
		if bytes.Contains(c.data, []byte("\r")) || !bytes.HasSuffix(c.data, []byte("\n")) {
			t.Errorf("%s: line ends", c.name)
		}
		if m := long.Find(c.data); m != nil {
			t.Errorf("%s: more than 5 decimals in %s", c.name, m)
		}
		r := csv.NewReader(bytes.NewReader(c.data))
		r.Comment = '#'
		rows, err := r.ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		col := map[string]int{}
		for i, h := range rows[0] {
			col[h] = i
		}
		readings := map[[2]string]map[[2]string]bool{}
		for _, row := range rows[1:] {
			lot := [2]string{row[col["role"]], row[col["lot"]]}
			if readings[lot] == nil {
				readings[lot] = map[[2]string]bool{}
			}
			readings[lot][[2]string{row[col["panel"]], row[col["position"]]}] = true
			if row[col["role"]] == "trial" {
				for _, f := range []string{"time_min", "process"} {
					if row[col[f]] == "" {
						t.Errorf("%s: trial %s without %s", c.name, row[0], f)
					}
				}
			}
			for _, h := range []string{"R400", "R700"} {
				if i, ok := col[h]; ok {
					if v, err := strconv.ParseFloat(row[i], 64); err != nil || v <= 0 || v > 1 {
						t.Errorf("%s: %s = %s", c.name, h, row[i])
					}
				}
			}
		}
		got := map[string]int{}
		for lot, spots := range readings {
			got[lot[0]]++
			want := 8
			if strings.Contains(c.name, "standard") {
				want = 4
			}
			if len(spots) != want {
				t.Errorf("%s: lot %s has %d readings, want %d", c.name, lot[1], len(spots), want)
			}
		}
		for role, n := range c.lots {
			if got[role] != n {
				t.Errorf("%s: %d lots of role %s, want %d", c.name, got[role], role, n)
			}
		}
		if len(got) != len(c.lots) {
			t.Errorf("%s: roles %v, want %v", c.name, got, c.lots)
		}
	}
}

func TestCallerMayChangeWhatItGets(t *testing.T) {
	a := PelletTrials()
	a[0] = 'x'
	if PelletTrials()[0] != '#' {
		t.Error("a caller changed the embedded file")
	}
}
