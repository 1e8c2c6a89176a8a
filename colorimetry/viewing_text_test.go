package colorimetry

import (
	"encoding/json"
	"testing"
)

// In JSON illuminants, observers and viewings are the names that people write, and come
// back; what is not set is no text.
func TestViewingsInJSON(t *testing.T) {
	type seen struct {
		Lamp    Illuminant
		Field   Observer
		Viewing Viewing
	}
	for _, lamp := range Illuminants() {
		for _, field := range []Observer{TwoDegree, TenDegree} {
			want := seen{lamp, field, Viewing{lamp, field}}
			data, err := json.Marshal(want)
			if err != nil {
				t.Fatal(err)
			}
			if plain := `{"Lamp":"` + lamp.String() + `","Field":"` + field.String() + `","Viewing":"` + want.Viewing.String() + `"}`; string(data) != plain {
				t.Errorf("%s, want %s", data, plain)
			}
			var got seen
			if err := json.Unmarshal(data, &got); err != nil || got != want {
				t.Errorf("%s is read as %v, %v", data, got, err)
			}
		}
	}
	for _, v := range []any{Illuminant(0), Observer(0), Illuminant(99), Observer(-1), Viewing{}} {
		if data, err := json.Marshal(v); err == nil {
			t.Errorf("%v is written as %s", v, data)
		}
	}
	kept := seen{Lamp: A, Field: TwoDegree}
	for _, text := range []string{`{"Lamp":"D93"}`, `{"Field":"7"}`, `{"Lamp":1}`} {
		if err := json.Unmarshal([]byte(text), &kept); err == nil || kept.Lamp != A || kept.Field != TwoDegree {
			t.Errorf("%s: %v, %v", text, kept, err)
		}
	}
}
