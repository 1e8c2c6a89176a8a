package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"example.com/dosetone/cmd/dosetone/internal/atomic"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// fromPanels says how many panels an entry rests on, "" when it does not say.
func fromPanels(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(" from %d %s", n, plural(n, "panel", "panels"))
}

// lockWait is how long a ledger in use is waited for.
const lockWait = 10 * time.Second

// keepLedger appends the lots that the ledger has not yet, and charts it. The
// ledger is written whole beside the old one and renamed, under a lock.
func (e *env) keepLedger(name string, entries []quality.Entry, m *discharge.Model, f *checkFlags) (_ *quality.Ledger, _ *quality.Trend, err error) {
	if name == "" {
		return nil, nil, nil
	}
	if name == "-" {
		return nil, nil, usage("--ledger must name a file")
	}
	if _, ok := e.files.(disk); ok {
		unlock, err := atomic.Lock(name, lockWait)
		if err != nil {
			return nil, nil, fileError(err)
		}
		defer func() { err = errors.Join(err, unlock()) }()
	}
	l := &quality.Ledger{}
	data, err := e.read(name)
	var none *noFile
	switch {
	case errors.As(err, &none): // the first lot
	case err != nil:
		return nil, nil, err
	default:
		if l, err = quality.ReadLedger(name, strings.NewReader(string(data))); err != nil {
			return nil, nil, err
		}
		e.warnAll(l.Warnings)
	}
	added := 0
	for _, x := range entries {
		enter := l.Put
		switch {
		case f.reworked:
			enter = l.Rework
		case f.replace:
			enter = l.Replace
		}
		old, err := enter(x)
		switch {
		case errors.Is(err, quality.ErrInLedger) && old.Verdict == quality.MeasureMore:
			e.warn("%s: lot %s is there already, as %s%s, and is not added again; to settle its line give its panels of then and the new ones in one table", name, x.Lot, old.Verdict, fromPanels(old.Panels))
		case errors.Is(err, quality.ErrInLedger):
			e.warn("%s: lot %s is there already and is not added again; --reworked enters what became of a lot that was discharged again, --replace one that was judged wrongly", name, x.Lot)
		case err != nil:
			return nil, nil, err
		case old != nil:
			e.warn("%s: lot %s was %s%s and is %s%s now; its line is replaced", name, x.Lot, old.Verdict, fromPanels(old.Panels), x.Verdict, fromPanels(x.Panels))
			added++
		default:
			added++
		}
	}
	if added > 0 {
		out, err := l.Bytes()
		if err != nil {
			return nil, nil, err
		}
		if err := e.write(name, out); err != nil {
			return nil, nil, err
		}
	}
	if m == nil {
		return l, nil, nil
	}
	t, err := l.Monitor(m.Digest())
	return l, t, err
}
