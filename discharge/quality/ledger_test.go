package quality_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

func drawEntry(t *rapid.T) quality.Entry {
	// No control characters and no blanks at the ends: a table trims its cells.
	text := rapid.StringMatching(`[=+'@a-zµ"0-9,;-]{0,12}`)
	number := func(name string) *float64 {
		v := rapid.Float64Range(-1e3, 1e3).Draw(t, name)
		return &v
	}
	e := quality.Entry{Lot: rapid.SampledFrom([]string{"L", "#", "=", "'"}).Draw(t, "start") + text.Draw(t, "lot"), Checked: text.Draw(t, "checked"), Fabric: text.Draw(t, "fabric"), Machine: text.Draw(t, "machine"),
		Process: text.Draw(t, "process"), Model: text.Draw(t, "model"), Cause: text.Draw(t, "cause"), DeltaE: *number("de"),
		Verdict: rapid.SampledFrom([]quality.Decision{quality.Accept, quality.Reject, quality.MeasureMore}).Draw(t, "verdict")}
	e.Panels = rapid.IntRange(0, 40).Draw(t, "panels")
	if rapid.Bool().Draw(t, "dose") {
		e.DoseResidual, e.DoseZ = number("residual"), number("z")
		sd := rapid.Float64Range(1e-6, 10).Draw(t, "sd")
		e.DoseSD = &sd
	}
	if rapid.Bool().Draw(t, "off") {
		e.OffA, e.OffB, e.OffZ = number("a"), number("b"), number("offz")
	}
	return e
}

func TestLedgerRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := &quality.Ledger{}
		for _, e := range rapid.SliceOfN(rapid.Custom(drawEntry), 0, 6).Draw(t, "entries") {
			_ = l.Add(e) // a name that was drawn twice is refused
		}
		data, err := l.Bytes()
		require.NoError(t, err)
		got, err := quality.ReadLedger("ledger.csv", bytes.NewReader(data))
		require.NoError(t, err, string(data))
		require.Equal(t, l.Entries, got.Entries)
	})
}

func TestLedgerTakesALotOnce(t *testing.T) {
	l := &quality.Ledger{}
	require.NoError(t, l.Add(quality.Entry{Lot: "P1", Verdict: quality.Accept}))
	require.ErrorIs(t, l.Add(quality.Entry{Lot: "P1", Verdict: quality.Reject}), quality.ErrInLedger)
	require.Len(t, l.Entries, 1)
	require.Error(t, l.Add(quality.Entry{}))
}

// What was open is settled in its own line; what was settled stays.
func TestLedgerSettlesWhatWasOpen(t *testing.T) {
	l := &quality.Ledger{}
	for _, e := range []quality.Entry{{Lot: "P1", Verdict: quality.MeasureMore, Panels: 2}, {Lot: "P2", Verdict: quality.Accept, Panels: 2}, {Lot: "P3", Verdict: quality.MeasureMore}} {
		_, err := l.Put(e)
		require.NoError(t, err)
	}
	for _, again := range []quality.Entry{
		{Lot: "P1", Verdict: quality.Accept, Panels: 2}, // the same panels
		{Lot: "P2", Verdict: quality.Reject, Panels: 9}, // settled before
		{Lot: "P3", Verdict: quality.MeasureMore, Panels: 4},
	} {
		_, err := l.Put(again)
		require.ErrorIs(t, err, quality.ErrInLedger)
	}
	old, err := l.Put(quality.Entry{Lot: "P1", Verdict: quality.MeasureMore, Panels: 4})
	require.NoError(t, err)
	require.Equal(t, 2, old.Panels)
	for _, e := range []quality.Entry{{Lot: "P1", Verdict: quality.Reject, Panels: 8}, {Lot: "P3", Verdict: quality.Accept, Panels: 8}} {
		_, err := l.Put(e)
		require.NoError(t, err)
	}
	var got []string
	for _, e := range l.Entries {
		got = append(got, e.Lot+" "+string(e.Verdict))
	}
	require.Equal(t, []string{"P1 reject", "P2 accept", "P3 accept"}, got)
}

// A lot that was discharged again has one line: its last verdict, the one of its first
// pass, and that pass's dose, which is what drift is seen by.
func TestLedgerOfReworkedLots(t *testing.T) {
	residual, sd, z, other := -0.3, 0.1, -3.0, 1.0
	l := &quality.Ledger{}
	require.NoError(t, l.Add(quality.Entry{Lot: "P1", Model: "m", Verdict: quality.Reject, DeltaE: 5, Panels: 4, DoseResidual: &residual, DoseSD: &sd, DoseZ: &z}))
	old, err := l.Rework(quality.Entry{Lot: "P1", Model: "m", Verdict: quality.MeasureMore, DeltaE: 1.4, Panels: 4, DoseResidual: &other, DoseSD: &sd, DoseZ: &other})
	require.NoError(t, err)
	require.Equal(t, quality.Reject, old.Verdict)
	_, err = l.Rework(quality.Entry{Lot: "P1", Model: "m", Verdict: quality.Accept, DeltaE: 0.8, Panels: 8})
	require.NoError(t, err)
	_, err = l.Rework(quality.Entry{Lot: "P2", Model: "m", Verdict: quality.Accept, DeltaE: 1, Panels: 4, DoseResidual: &other, DoseSD: &sd, DoseZ: &other})
	require.NoError(t, err)
	want := []quality.Entry{
		{Lot: "P1", Model: "m", Verdict: quality.Accept, First: quality.Reject, DeltaE: 0.8, Panels: 8, DoseResidual: &residual, DoseSD: &sd, DoseZ: &z},
		{Lot: "P2", Model: "m", Verdict: quality.Accept, DeltaE: 1, Panels: 4},
	}
	require.Equal(t, want, l.Entries)
	data, err := l.Bytes()
	require.NoError(t, err)
	again, err := quality.ReadLedger("ledger.csv", bytes.NewReader(data))
	require.NoError(t, err)
	require.Equal(t, want, again.Entries)
	_, err = quality.ReadLedger("ledger.csv", strings.NewReader(strings.Replace(string(data), ",reject,8,", ",rejected,8,", 1)))
	require.ErrorContains(t, err, "first_verdict")
}

// Ledgers of before have fifteen columns, without first_verdict, panels and what came later.
func TestLedgerWithoutPanelsIsRead(t *testing.T) {
	l := &quality.Ledger{}
	require.NoError(t, l.Add(quality.Entry{Lot: "P1", Verdict: quality.Accept, DeltaE: 1}))
	data, err := l.Bytes()
	require.NoError(t, err)
	var before string
	for line := range strings.Lines(string(data)) {
		before += strings.Join(strings.Split(strings.TrimSpace(line), ",")[:15], ",") + "\n"
	}
	require.True(t, strings.HasSuffix(strings.Split(before, "\n")[0], ",off_z"), before)
	got, err := quality.ReadLedger("ledger.csv", strings.NewReader(before))
	require.NoError(t, err)
	require.Equal(t, l.Entries, got.Entries)
}

// What ReadLedger refuses does not get in, by any way.
func TestLedgerTakesWhatItCanRead(t *testing.T) {
	nan, inf, one, zero := math.NaN(), math.Inf(1), 1.0, 0.0
	for name, change := range map[string]func(e *quality.Entry){
		"verdict":          func(e *quality.Entry) { e.Verdict = "fine" },
		"no verdict":       func(e *quality.Entry) { e.Verdict = "" },
		"first verdict":    func(e *quality.Entry) { e.First = "fine" },
		"difference NaN":   func(e *quality.Entry) { e.DeltaE = nan },
		"difference Inf":   func(e *quality.Entry) { e.DeltaE = inf },
		"dose NaN":         func(e *quality.Entry) { e.DoseResidual, e.DoseSD, e.DoseZ = &nan, &one, &one },
		"dose sd 0":        func(e *quality.Entry) { e.DoseResidual, e.DoseSD, e.DoseZ = &one, &zero, &one },
		"half of the dose": func(e *quality.Entry) { e.DoseResidual = &one },
		"off Inf":          func(e *quality.Entry) { e.OffA = &inf },
		"panels":           func(e *quality.Entry) { e.Panels = -3 },
	} {
		bad := quality.Entry{Lot: "P1", Verdict: quality.Accept, DeltaE: 1}
		change(&bad)
		l := &quality.Ledger{}
		require.Error(t, l.Add(bad), name)
		_, err := l.Put(bad)
		require.Error(t, err, name)
		require.Empty(t, l.Entries, name)
		open := quality.Entry{Lot: "P1", Verdict: quality.MeasureMore, DeltaE: 1, Panels: 1}
		require.NoError(t, l.Add(open))
		bad.Panels += 4
		if name == "panels" {
			bad.Panels = -3
		}
		_, err = l.Put(bad)
		require.Error(t, err, name)
		if name == "verdict" || name == "difference NaN" {
			_, err = l.Rework(bad)
			require.Error(t, err, name)
		}
		require.Equal(t, []quality.Entry{open}, l.Entries, name)
	}
	l := &quality.Ledger{}
	require.ErrorContains(t, l.Add(quality.Entry{Lot: " a", Verdict: quality.Accept}), "blank")
}

func TestLedgerFaultsAreLocated(t *testing.T) {
	good, near := &quality.Ledger{}, 1.25
	require.NoError(t, good.Add(quality.Entry{Lot: "P1", Verdict: quality.Accept, DeltaE: 1, Panels: 4, Nearest: &near}))
	data, err := good.Bytes()
	require.NoError(t, err)
	text := string(data)
	for _, c := range []struct{ from, to, says string }{
		{"accept", "fine", `column "verdict": value "fine"`},
		{",1,accept", ",wide,accept", `column "delta_e": value "wide"`},
		{",1,accept", ",NaN,accept", "finite"},
		{",1,accept", ",,accept", "empty"},
		{"dose_sd", "dose_se", "not a ledger"},
		{",4,", ",none,", `column "panels": value "none"`},
		{",4,", ",0,", "number of panels"},
		{",4,,,,", ",4,,,,-1", `column "tolerance": value "-1"`},
		{",1.25\n", ",x\n", `column "delta_e_nearest": value "x"`},
		{"\nP1", "\n#P1", "put the name in quotes"},
	} {
		_, err := quality.ReadLedger("ledger.csv", strings.NewReader(strings.Replace(text, c.from, c.to, 1)))
		require.ErrorContains(t, err, c.says)
		var row *discharge.RowError
		require.ErrorAs(t, err, &row)
		require.Equal(t, "ledger.csv", row.File)
		require.Positive(t, row.Row)
	}
	twice := text + strings.SplitN(text, "\n", 2)[1]
	_, err = quality.ReadLedger("ledger.csv", strings.NewReader(twice))
	require.ErrorIs(t, err, quality.ErrInLedger)
	cut, err := quality.ReadLedger("ledger.csv", strings.NewReader(text+strings.Replace(strings.SplitN(text, "\n", 2)[1], "P1", "P2", 1)+
		"P3,,,,,,1,accept,,,,,,,,,12,,,,,1.25\nP4,,,,,,1,accept,,,,,,,,,,,,,,"))
	require.NoError(t, err)
	require.Len(t, cut.Warnings, 1)
	require.ErrorContains(t, cut.Warnings[0], "cut off")
	empty, err := quality.ReadLedger("ledger.csv", strings.NewReader(""))
	require.NoError(t, err)
	require.Empty(t, empty.Entries)
}

// A ledger of as many lots as are read takes a second. Comparing each with all
// before took minutes.
func TestLongLedgersAreReadInTime(t *testing.T) {
	var b strings.Builder
	b.WriteString("lot,checked,fabric,machine,process,model,delta_e,verdict,cause,dose_residual,dose_sd,dose_z,off_a,off_b,off_z,panels\n")
	for i := range discharge.MaxRows {
		fmt.Fprintf(&b, "lot-2026-%07d,,,,,,0.5,accept,,,,,,,,3\n", i)
	}
	start := time.Now()
	l, err := quality.ReadLedger("ledger.csv", strings.NewReader(b.String()))
	require.NoError(t, err)
	require.Len(t, l.Entries, discharge.MaxRows)
	require.Less(t, time.Since(start), 30*time.Second)
}

func FuzzReadLedger(f *testing.F) {
	l := &quality.Ledger{}
	_ = l.Add(quality.Entry{Lot: "P1", Verdict: quality.Accept})
	data, _ := l.Bytes()
	f.Add(data)
	f.Add([]byte("lot\nx\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := quality.ReadLedger("fuzz", bytes.NewReader(data))
		if err != nil {
			return
		}
		out, err := got.Bytes()
		require.NoError(t, err)
		_, err = quality.ReadLedger("fuzz", bytes.NewReader(out))
		require.NoError(t, err)
	})
}

// What would not be read back as it is does not enter, since it would make the whole file
// unreadable.
func TestLedgerTakesNoTextThatIsLost(t *testing.T) {
	var l quality.Ledger
	for _, name := range []string{"P\x00", "P\xff", "P\r2", " P", "P "} {
		require.Error(t, l.Add(quality.Entry{Lot: name, Verdict: quality.Accept}), "%q", name)
		require.Error(t, l.Add(quality.Entry{Lot: "P", Fabric: name + "\x00", Verdict: quality.Accept}), "%q", name)
	}
	for _, name := range []string{"P1", "=P2", "'P3", "#4", "P;5", "P\"6\"", "Größe 7", "P,8"} {
		require.NoError(t, l.Add(quality.Entry{Lot: name, Verdict: quality.Accept}), "%q", name)
	}
	data, err := l.Bytes()
	require.NoError(t, err)
	back, err := quality.ReadLedger("ledger.csv", bytes.NewReader(data))
	require.NoError(t, err)
	require.Equal(t, l.Entries, back.Entries)
}

// A column that the laundry added, such as remarks, stays where it was.
func TestLedgerKeepsColumnsOfTheLaundry(t *testing.T) {
	l := &quality.Ledger{}
	require.NoError(t, l.Add(quality.Entry{Lot: "P1", Verdict: quality.MeasureMore, DeltaE: 1, Panels: 2}))
	require.NoError(t, l.Add(quality.Entry{Lot: "P2", Verdict: quality.Accept, DeltaE: 1, Panels: 4}))
	data, err := l.Bytes()
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(data)), "\n")
	mine := lines[0] + ",remark\n" + lines[1] + ",\"late, night shift\"\n" + lines[2] + ",'=1+1\n"
	read, err := quality.ReadLedger("ledger.csv", strings.NewReader(mine))
	require.NoError(t, err)
	_, err = read.Put(quality.Entry{Lot: "P1", Verdict: quality.Accept, DeltaE: 1, Panels: 6})
	require.NoError(t, err)
	_, err = read.Rework(quality.Entry{Lot: "P2", Verdict: quality.Accept, DeltaE: 1, Panels: 4})
	require.NoError(t, err)
	require.NoError(t, read.Add(quality.Entry{Lot: "P3", Verdict: quality.Accept, DeltaE: 1, Panels: 4}))
	data, err = read.Bytes()
	require.NoError(t, err)
	lines = strings.Split(string(data), "\n")
	require.True(t, strings.HasSuffix(lines[0], ",remark"))
	require.True(t, strings.HasSuffix(lines[1], ",\"late, night shift\""), lines[1])
	require.True(t, strings.HasSuffix(lines[2], ",'=1+1"), lines[2])
	require.True(t, strings.HasSuffix(lines[3], ","))
}

// A lot that was discharged again and is then held against the right standard keeps what its
// first pass came to; one that had been accepted before was not rescued.
func TestReworkedLotsKeepTheirFirstPass(t *testing.T) {
	low, near, sd := -0.3, 0.05, 0.1
	z, other := low/sd, near/sd
	l := &quality.Ledger{}
	require.NoError(t, l.Add(quality.Entry{Lot: "A", Checked: "2026-11-30T10:00:00Z", Verdict: quality.Reject, Cause: "under-discharged", DeltaE: 4, DoseResidual: &low, DoseSD: &sd, DoseZ: &z}))
	now := quality.Entry{Lot: "A", Checked: "2026-12-01T10:00:00Z", Verdict: quality.Accept, DeltaE: 1, DoseResidual: &near, DoseSD: &sd, DoseZ: &other}
	_, err := l.Rework(now)
	require.NoError(t, err)
	now.Standard = "right"
	_, err = l.Replace(now)
	require.NoError(t, err)
	got := l.Entries[0]
	require.Equal(t, quality.Reject, got.First)
	require.Equal(t, "under-discharged", got.FirstCause)
	require.InDelta(t, z, *got.DoseZ, 0)
	require.Equal(t, "right", got.Standard)
	november, err := l.During(time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	require.Equal(t, quality.Tally{Lots: 1, Accepted: 1, Rescued: 1}, november.Summarize().Tally)

	good := &quality.Ledger{}
	require.NoError(t, good.Add(quality.Entry{Lot: "B", Checked: "2026-11-02T01:00:00+09:00", Verdict: quality.Accept, DeltaE: 1}))
	require.NoError(t, good.Add(quality.Entry{Lot: "C", Checked: "2026-11-01T20:00:00Z", Verdict: quality.Accept, DeltaE: 1}))
	_, err = good.Rework(quality.Entry{Lot: "B", Checked: "2026-11-03T01:00:00+09:00", Verdict: quality.Accept, DeltaE: 1})
	require.NoError(t, err)
	s := good.Summarize()
	require.Zero(t, s.Rescued)
	require.Equal(t, "2026-11-02T01:00:00+09:00", s.From, "16 h UTC of the day before")
	require.Equal(t, "2026-11-01T20:00:00Z", s.To)
}
