package tables

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/tabletest"
)

// inFormats is the same table in every format.
func inFormats(t *testing.T, text []byte) map[string][]byte {
	t.Helper()
	rows, err := tabletest.Rows(text)
	require.NoError(t, err)
	book, err := tabletest.XLSX(rows)
	require.NoError(t, err)
	return map[string][]byte{"a.csv": text, "b.csv": tabletest.DecimalComma(rows), "c.xlsx": book,
		"d.txt": tabletest.CGATS(rows), "e.cxf": tabletest.CxF(rows)}
}

// The same trials give the same model file, byte for byte, whatever format
// they came in. The file records nothing of its source but a digest of the
// readings themselves.
func TestSameTrialsInEveryFormatGiveTheIdenticalModel(t *testing.T) {
	for name, text := range map[string][]byte{"pellets": demo.PelletTrials(), "bath": demo.HypochloriteTrials()} {
		t.Run(name, func(t *testing.T) {
			models := map[string][]byte{}
			for file, data := range inFormats(t, text) {
				s, err := Read(file, data, Options{})
				require.NoError(t, err, file)
				table, err := discharge.FromSheet(s, nil)
				require.NoError(t, err, file)
				m, err := discharge.Fit(table, nil)
				require.NoError(t, err, file)
				var b bytes.Buffer
				require.NoError(t, m.Save(&b, "test"))
				models[file] = b.Bytes()
			}
			require.Greater(t, len(models["a.csv"]), 5_000)
			for file, data := range models {
				require.Equal(t, string(models["a.csv"]), string(data), file)
			}
		})
	}
}
