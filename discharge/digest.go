package discharge

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
)

// digestOf identifies the data of a table, whatever the order of its lots and
// whatever processor reads it: colors that were worked out count to 9 decimals,
// and not at all beside the spectrum that they come from.
func digestOf(t *Table) string {
	lots := sorted(t.Lots)
	for i := range lots {
		lots[i].Row, lots[i].File = 0, ""
		for j := range lots[i].Panels {
			p := &lots[i].Panels[j]
			p.Readings = slices.Clone(p.Readings)
			for k := range p.Readings {
				r := &p.Readings[k]
				r.Row = 0
				if r.Spectrum != nil {
					r.Lab = colorimetry.Lab{}
				} else if t.Kind != LabKind {
					round := func(x float64) float64 { return math.Round(x*1e9) / 1e9 }
					r.Lab = colorimetry.Lab{L: round(r.Lab.L), A: round(r.Lab.A), B: round(r.Lab.B)}
				}
			}
		}
	}
	h := sha256.New()
	// Readings were checked to be finite when they were read, so encoding
	// cannot fail; map keys are sorted by the encoder.
	if err := json.NewEncoder(h).Encode(lots); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}

// digestFor identifies a model for one of several fabrics or machines, of which there are
// others from the same data; for a model of all it is that of the data.
func digestFor(t *Table, at site) string {
	data := digestOf(t)
	if at == (site{}) {
		return data
	}
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %q %q", data, at.fabric, at.machine))
	return hex.EncodeToString(sum[:])
}

// noSum stands in for the digest while it is worked out.
const noSum = "0000000000000000000000000000000000000000000000000000000000000000"

// sumOf is the SHA-256 of a model file without its white space and with noSum
// as its digest: it does not depend on line ends or indentation, nor on the
// version of the program that checks it. It tells damage and edits, not who
// wrote the file: anybody can work it out.
func sumOf(data []byte) (string, error) {
	var b bytes.Buffer
	if err := json.Compact(&b, data); err != nil {
		return "", err
	}
	h := sha256.Sum256(b.Bytes())
	return hex.EncodeToString(h[:]), nil
}

// checkSum holds a file against the digest that it states.
func checkSum(data []byte, stated string) error {
	if len(stated) != len(noSum) || bytes.Count(data, []byte(stated)) != 1 {
		return fmt.Errorf("file_sha256 is missing or not one digest")
	}
	sum, err := sumOf(bytes.Replace(data, []byte(stated), []byte(noSum), 1))
	if err != nil {
		return err
	}
	if sum != stated {
		return fmt.Errorf("the file was changed after it was written: its digest is %s…, the file says %s…; take the original, or fit the trials again", sum[:12], stated[:12])
	}
	return nil
}
