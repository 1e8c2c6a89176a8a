package discharge

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// carriesSettings reports whether lots of the role are run at settings of the
// table's process. The others may come from anywhere.
func carriesSettings(r Role) bool { return r == Trial || r == Blank || r == Production }

func (l *layout) lookup(id string) (Process, error) { return lookupProcess(id, l.opt.Processes) }

// findProcess finds the one process of the lots that carry settings and holds
// the columns against it.
func (b *lotBuilder) findProcess() error {
	asked, id := strings.ToLower(strings.TrimSpace(b.opt.Process)), ""
	if asked != "" {
		if _, err := b.lookup(asked); err != nil {
			return b.fault(0, "", "", err)
		}
		id = asked
	}
	line, trials, unnamed := 0, false, 0
	for i := range b.Rows {
		role, err := b.role(i)
		if err != nil {
			return err
		}
		if !carriesSettings(role) {
			continue
		}
		trials = trials || role == Trial
		text := strings.ToLower(b.text(i, "process"))
		switch {
		case text == "" && role == Trial && unnamed == 0:
			unnamed = b.Lines[i]
		case text == "" || text == id:
		case id == "":
			id, line = text, b.Lines[i]
		case asked != "":
			return b.fault(b.Lines[i], "process", clip(text), fmt.Errorf("%w: %s was asked for", ErrWrongProcess, asked))
		default:
			return b.fault(b.Lines[i], "process", clip(text), fmt.Errorf("%w: %s is %s; a table holds one process: split the file", ErrWrongProcess, place(line), id))
		}
	}
	if id == "" {
		if !trials {
			return nil
		}
		if err := b.need("process", "how the color was taken out, such as permanganate-pellet; add it or state the process"); err != nil {
			return err
		}
		return b.fault(unnamed, "process", "", errors.New("the cell is empty: name the process of the trials, such as permanganate-pellet"))
	}
	p, err := b.lookup(id)
	if err != nil {
		return b.fault(line, "process", clip(id), err)
	}
	b.process = &p
	return b.checkColumns(&p, trials)
}

// checkColumns refuses factor columns in another unit than the process takes
// and, when all are required, missing ones. It keeps the factors of other
// processes aside.
func (l *layout) checkColumns(p *Process, required bool) error {
	var missing error
	for _, f := range p.Factors {
		if required && !f.Optional && missing == nil {
			missing = l.need(f.Column, fmt.Sprintf("%s, %s, which every trial of %s needs", f.Title, f.Unit, p.ID))
		}
	}
	var own []string
	for _, c := range l.factors {
		if _, ok := p.Factor(c); ok {
			own = append(own, c)
			continue
		}
		if strings.HasPrefix(c, "strength_") || missing != nil {
			i := slices.IndexFunc(l.Rows, func(row []string) bool { return row[l.col[c]] != "" })
			return l.cellFault(i, l.col[c], fmt.Errorf("is no factor of %s, which takes %s; convert the values and rename the column, or correct the process",
				p.ID, p.requiredWords()))
		}
		l.ignored = append(l.ignored, l.Header[l.col[c]])
		l.warn(l.HeaderLine, l.Header[l.col[c]], "", fmt.Errorf("is no factor of %s and was kept aside", p.ID))
	}
	l.factors = own
	return missing
}

// requiredWords lists the factors that a trial must have, with their units.
func (p Process) requiredWords() string {
	var words []string
	for _, f := range p.Factors {
		if !f.Optional {
			words = append(words, strings.TrimSpace(f.Column+" ("+f.Unit+")"))
		}
	}
	return strings.Join(words, ", ")
}

// settings merges the factor cells of row i into lot n.
func (b *lotBuilder) settings(i, n int) error {
	lot := &b.table[n]
	for _, column := range b.factors {
		j := b.col[column]
		if b.Rows[i][j] == "" {
			continue
		}
		v, err := b.number(i, j)
		if err != nil {
			return err
		}
		if err := checkSetting(b.factor(column), lot.Role, v); err != nil {
			return b.cellFault(i, j, err)
		}
		if have, ok := lot.Settings[column]; ok && have != v {
			return b.contradiction(i, n, column, fmt.Sprint(have))
		}
		if lot.Settings == nil {
			lot.Settings = Settings{}
		}
		lot.Settings[column] = v
		b.lines[n][column] = cmp.Or(b.lines[n][column], b.Lines[i])
	}
	return nil
}

// checkSetting refuses a value of a factor that a lot of that role cannot have.
func checkSetting(f Factor, role Role, v float64) error {
	if f.IsStrength() {
		switch {
		case role == Trial && v == 0:
			return errors.New("a trial without oxidizer is a blank: write role blank")
		case role == Blank && v != 0:
			return errors.New("a blank carries no oxidizer: leave the strength empty or 0, or write role trial")
		}
	}
	if v == 0 && role != Trial && role != Production {
		return nil // nothing applied: as it should be
	}
	return f.Check(v)
}

// factor finds a column in the table's process, or in any.
func (b *lotBuilder) factor(column string) Factor {
	if b.process != nil {
		f, _ := b.process.Factor(column)
		return f
	}
	for _, p := range b.processes {
		if f, ok := p.Factor(column); ok {
			return f
		}
	}
	return Factor{Column: column, Transform: Linear}
}

// checkLots refuses trials with an empty required factor.
func (b *lotBuilder) checkLots() error {
	for _, lot := range b.table {
		if lot.Role != Trial {
			continue
		}
		for _, f := range b.process.Factors {
			if _, ok := lot.Settings[f.Column]; !ok && !f.Optional {
				return b.fault(lot.Row, f.Column, "", fmt.Errorf("lot %q has no %s (%s) in any of its rows", lot.ID, f.Title, f.Unit))
			}
		}
	}
	return nil
}

// advise adds the warnings about what is legal but doubtful.
func (b *lotBuilder) advise() {
	if b.process != nil {
		for _, f := range b.process.Factors {
			b.adviseRange(f)
		}
	}
	trials := slices.ContainsFunc(b.table, func(l Lot) bool { return l.Role == Trial })
	if _, ok := b.col["panel"]; !ok && trials {
		b.warn(b.HeaderLine, "panel", "", errors.New("there is no such column: the readings of a lot are taken as one panel, and the scatter between panels stays unknown"))
	}
	if len(b.copies) > 0 {
		b.warn(b.copies[0], "", "", fmt.Errorf("the reading equals an earlier one of the same lot, panel and position in every value (%d such rows): if it was copied by mistake, delete it", len(b.copies)))
	}
	if j, ok := b.col["unit"]; ok && b.kind != Spectral {
		b.ignored = append(b.ignored, b.Header[j])
		b.warn(b.HeaderLine, b.Header[j], "", errors.New("says nothing for readings that are not reflectance and was kept aside"))
	}
}

// nearlyUsual tells whether v is so near to common practice that its unit is not
// in doubt: within half as much again on a log scale, else a quarter of the range.
func (f Factor) nearlyUsual(v float64) bool {
	r := f.Typical
	slack := (r.Hi - r.Lo) / 4
	if f.Transform == Log {
		return r.Lo/1.5 <= v && v <= r.Hi*1.5
	}
	return r.Lo-slack <= v && v <= r.Hi+slack
}

// adviseRange warns once of values far outside common practice.
func (b *lotBuilder) adviseRange(f Factor) {
	if !f.Typical.Known() {
		return
	}
	outside, first, value := 0, 0, 0.0
	for n, lot := range b.table {
		v, ok := lot.Settings[f.Column]
		if lot.Role != Trial && lot.Role != Production || !ok || f.nearlyUsual(v) {
			continue
		}
		if outside++; outside == 1 {
			first, value = b.lines[n][f.Column], v
		}
	}
	if outside > 0 {
		b.warn(first, f.Column, fmt.Sprint(value), fmt.Errorf("outside %s (lots concerned: %d): check the unit", f.typical(), outside))
	}
}
