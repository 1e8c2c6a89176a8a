package study

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// Words say that oxidizer runs short where the simulation has it run short, and not
// where it acts by a power law of strength and time: what is told follows the
// trials, not the model's own assumptions.
func TestWordsOnSupply(t *testing.T) {
	for _, process := range []string{"permanganate-pellet", "permanganate-stone", "hypochlorite-bath"} {
		for kind, want := range map[laundry.Kind]bool{laundry.Depletion: true, laundry.PowerLaw: false} {
			for seed := range uint64(2) {
				sc, err := NewScene(kind, process, 901+seed)
				require.NoError(t, err)
				m, err := discharge.Fit(sc.Table(sc.Ladder(16), -1), nil)
				require.NoError(t, err)
				said := false
				for _, w := range m.Summary().Words {
					said = said || strings.HasPrefix(w, "oxidizer")
				}
				require.Equal(t, want, said, "%v laundry, %s, seed %d", kind, process, 901+seed)
			}
		}
	}
}
