package discharge

import (
	"fmt"
	"strings"
)

// leastPH is the pH below which hypochlorite sets chlorine gas free (supplemental
// hazard EUH031 of Regulation (EC) No 1272/2008, "contact with acids liberates toxic
// gas"; that it is at or about neutral is common practice, no source).
const leastPH = 7

// Hazard says why a lot must not be run at settings, "" when nothing that this package
// knows of speaks against it. It replaces no safety data sheet.
func (p Process) Hazard(s Settings) string {
	// A laundry's own process may name its oxidizer otherwise.
	chlorine := strings.Contains(strings.ToLower(p.Oxidizer), "hypochlorite") || strings.Contains(p.Active.Of, "chlorine")
	if ph, ok := s["ph"]; ok && ph < leastPH && chlorine {
		return fmt.Sprintf("hypochlorite at pH %g sets chlorine gas free and ruins cotton; run it at pH 9-11", ph)
	}
	return ""
}

// safe refuses settings with a hazard.
func (p Process) safe(s Settings) error {
	if h := p.Hazard(s); h != "" {
		return fmt.Errorf("%w: %s", ErrHazard, h)
	}
	return nil
}

// safeRange refuses a range of one factor that reaches into a hazard.
func (p Process) safeRange(column string, r Range) error {
	for _, v := range []float64{r.Lo, r.Hi} {
		if err := p.safe(Settings{column: v}); err != nil {
			return fmt.Errorf("bounds of %s, %g to %g: %w", column, r.Lo, r.Hi, err)
		}
	}
	return nil
}
