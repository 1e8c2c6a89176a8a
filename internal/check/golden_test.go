package check

import "testing"

func TestTextDifference(t *testing.T) {
	for _, c := range []struct {
		got, want string
		same      bool
	}{
		{"L* 47.1 ± 2.3", "L*  47.1\n±  2.3", true},
		{"L* 47.3", "L* 47.1", true},
		{"L* 47.4", "L* 47.1", false},
		{"12.5-16.0 min", "12.5-16.1 min", true},
		{"12.5-16.0 min", "12.5-16.5 min", false},
		{"unload", "upload", false},
		{"a -3.1", "a 3.1", false},
		{"a", "a b", false},
		{"a b", "a", false},
		{"strength_pct 7", "strength_pct 9.5", false},
		{"v1", "v1.5", false},
	} {
		if d := textDifference(c.got, c.want); (d == "") != c.same {
			t.Errorf("%q against %q: %q", c.got, c.want, d)
		}
	}
}
