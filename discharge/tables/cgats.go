package tables

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/discharge"
)

// isCGATS tells the text form of ISO 28178 by its data section or its first
// word.
func isCGATS(text []byte) bool {
	for line := range bytes.FieldsFuncSeq(text, func(r rune) bool { return r == '\n' || r == '\r' }) {
		word, _, _ := bytes.Cut(bytes.TrimSpace(line), []byte("\t"))
		if bytes.EqualFold(word, []byte("BEGIN_DATA_FORMAT")) || bytes.EqualFold(word, []byte("BEGIN_DATA")) {
			return true
		}
	}
	first, _, _ := strings.Cut(string(text[:min(len(text), 80)]), "\n")
	return regexp.MustCompile(`^(CGATS(\.\d+)?|IT8(\.\d+/\d+)?|ISO28178)\s*$`).MatchString(first)
}

// cgatsTable is one table of a file.
type cgatsTable struct {
	line     int // where its data format begins
	fields   []string
	sets     [][]string
	lines    []int
	keywords map[string]string
	at       map[string]int // line of each keyword
	stated   int            // NUMBER_OF_SETS; -1 when not given
}

// cgatsFile reads a file line by line.
type cgatsFile struct {
	name    string
	lines   []string
	next    int
	tables  []cgatsTable
	current cgatsTable // keywords so far
}

// readCGATS reads a CGATS file: keywords, one or more tables, each with its
// fields in BEGIN_DATA_FORMAT … END_DATA_FORMAT and its sets in BEGIN_DATA …
// END_DATA. A field named as one of our columns is that column.
func readCGATS(name string, data []byte, part string) (*discharge.Sheet, error) {
	text := strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(string(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))))
	f := &cgatsFile{name: name, lines: strings.Split(text, "\n")}
	f.current = newCGATSTable()
	for f.next < len(f.lines) {
		if err := f.statement(); err != nil {
			return nil, err
		}
	}
	if len(f.tables) == 0 {
		return nil, f.fault(0, "", "", errors.New("the CGATS file has no data: BEGIN_DATA … END_DATA is missing"))
	}
	tables, n, note, err := f.choose(part)
	if err != nil {
		return nil, err
	}
	s, err := tables[0].sheet(name)
	if err != nil {
		return nil, err
	}
	s.Format = "CGATS text"
	if len(f.tables) > 1 {
		s.Format += fmt.Sprintf(", table %d of %d", n, len(f.tables))
	}
	s.Warnings = append(s.Warnings, note...)
	for _, t := range tables[1:] {
		more, err := t.sheet(name)
		if err != nil {
			return nil, err
		}
		if !slices.Equal(more.Header, s.Header) {
			return nil, f.fault(t.line, "", "", errors.New("the table repeats the first one's fields, but not its viewing, scale or measurement condition; give the tables in files of their own"))
		}
		s.Rows, s.Lines = append(s.Rows, more.Rows...), append(s.Lines, more.Lines...)
	}
	if len(s.Rows)*len(s.Header) > maxCells {
		return nil, f.fault(0, "", "", fmt.Errorf("more than %d values: split the file", maxCells))
	}
	return s, nil
}

func newCGATSTable() cgatsTable {
	return cgatsTable{keywords: map[string]string{}, at: map[string]int{}, stated: -1}
}

func (f *cgatsFile) fault(line int, column, value string, err error) error {
	return fault(f.name, line, column, value, err)
}

// statement reads a keyword line or a section.
func (f *cgatsFile) statement() error {
	line := f.next + 1
	words, err := cgatsWords(f.lines[f.next])
	f.next++
	if err != nil {
		return f.fault(line, "", "", err)
	}
	if len(words) == 0 {
		return nil
	}
	switch word := strings.ToUpper(words[0]); word {
	case "BEGIN_DATA_FORMAT":
		return f.format(line, words[1:])
	case "BEGIN_DATA":
		return f.data(line)
	case "END_DATA_FORMAT", "END_DATA":
		return f.fault(line, "", "", fmt.Errorf("%s without its beginning", word))
	default:
		if len(words) < 2 {
			return nil // an identifier, or a flag
		}
		value := strings.Join(words[1:], " ")
		if word == "WEIGHTING_FUNCTION" { // given once for each of its kinds
			kind, v, _ := strings.Cut(value, ",")
			word, value = word+" "+strings.ToUpper(strings.TrimSpace(kind)), strings.TrimSpace(v)
		}
		if len(f.current.keywords) < 10_000 {
			f.current.keywords[word], f.current.at[word] = value, line
		}
		if word == "NUMBER_OF_SETS" {
			n, err := strconv.Atoi(value)
			if err != nil || n < 0 {
				return f.fault(line, word, value, errors.New("want a whole number"))
			}
			f.current.stated = n
		}
	}
	return nil
}

// format reads the names of the fields, on as many lines as they take.
func (f *cgatsFile) format(line int, rest []string) error {
	f.current.line, f.current.fields = line, rest
	for f.next < len(f.lines) {
		words, err := cgatsWords(f.lines[f.next])
		f.next++
		if err != nil {
			return f.fault(f.next, "", "", err)
		}
		if len(words) > 0 && strings.EqualFold(words[0], "END_DATA_FORMAT") {
			return nil
		}
		f.current.fields = append(f.current.fields, words...)
		if len(f.current.fields) > discharge.MaxColumns {
			return f.fault(f.next, "", "", fmt.Errorf("more than %d fields", discharge.MaxColumns))
		}
	}
	return f.fault(line, "", "", errors.New("END_DATA_FORMAT is missing: the file was cut off"))
}

// data reads the sets. A set begins on a line of its own and may go on over
// the next ones.
func (f *cgatsFile) data(begin int) error {
	t := f.current
	n := len(t.fields)
	if n == 0 {
		return f.fault(begin, "", "", errors.New("BEGIN_DATA_FORMAT with the names of the fields is missing before it"))
	}
	var set []string
	start := 0
	for f.next < len(f.lines) {
		raw := f.lines[f.next]
		f.next++
		words, err := cgatsWords(raw)
		if err != nil {
			return f.fault(f.next, "", "", err)
		}
		if len(words) == 0 {
			continue
		}
		if strings.EqualFold(words[0], "END_DATA") {
			if len(set) > 0 {
				return f.shortSet(start, set, n)
			}
			f.finish(t, begin)
			return nil
		}
		if len(set) == 0 {
			start = f.next
			// Tabs leave no doubt about blanks inside a value and empty ones.
			if cells, ok := cgatsTabs(raw, n); ok {
				words = cells
			}
		}
		set = append(set, words...)
		switch {
		case len(set) > n:
			return f.shortSet(start, set, n)
		case len(set) == n:
			if len(t.sets) == discharge.MaxRows {
				return f.fault(start, "", "", fmt.Errorf("more than %d sets: split the file", discharge.MaxRows))
			}
			t.sets, t.lines = append(t.sets, set), append(t.lines, start)
			set = nil
		}
	}
	return f.fault(begin, "", "", errors.New("END_DATA is missing: the file was cut off; export it again"))
}

func (f *cgatsFile) shortSet(line int, set []string, n int) error {
	return f.fault(line, "", set[0], fmt.Errorf("the set that begins here has %d values, the format %d fields; a value with blanks goes in quotes, an empty one is \"\"", len(set), n))
}

// finish keeps a table. Keywords hold for the tables after it, too, until they
// are given again.
func (f *cgatsFile) finish(t cgatsTable, begin int) {
	f.tables = append(f.tables, t)
	next := newCGATSTable()
	for k, v := range t.keywords {
		if !strings.HasPrefix(k, "NUMBER_OF_") {
			next.keywords[k], next.at[k] = v, t.at[k]
		}
	}
	next.fields, next.line = t.fields, begin
	f.current = next
}

// choose takes the table of that number, or the first with readings and those
// that repeat its fields.
func (f *cgatsFile) choose(part string) (tables []cgatsTable, number int, warnings []error, err error) {
	n := 0
	if part != "" {
		if n, err = strconv.Atoi(part); err != nil || n < 1 || n > len(f.tables) {
			return nil, 0, nil, f.fault(0, "", "", fmt.Errorf("there is no table %q: a CGATS file counts its tables, this one from 1 to %d (--sheet)", clip(part), len(f.tables)))
		}
		tables = []cgatsTable{f.tables[n-1]}
	} else {
		for i, t := range f.tables {
			switch {
			case n == 0 && (t.hasReadings() || i == len(f.tables)-1):
				n, tables = i+1, append(tables, t)
			case n > 0 && slices.Equal(t.fields, tables[0].fields):
				tables = append(tables, t)
			default:
				warnings = append(warnings, f.fault(t.line, "", "", fmt.Errorf("table %d of the file was not read: its fields %s are others; ask for it with --sheet %[1]d", i+1, quoted(t.fields))))
			}
		}
	}
	for _, t := range tables {
		if n, err := strconv.Atoi(t.keywords["NUMBER_OF_FIELDS"]); err == nil && n != len(t.fields) {
			warnings = append(warnings, f.fault(t.at["NUMBER_OF_FIELDS"], "NUMBER_OF_FIELDS", strconv.Itoa(n), fmt.Errorf("%d fields are named; the names count", len(t.fields))))
		}
		if t.stated >= 0 && t.stated != len(t.sets) {
			warnings = append(warnings, f.fault(t.at["NUMBER_OF_SETS"], "NUMBER_OF_SETS", strconv.Itoa(t.stated), fmt.Errorf("the table holds %d sets: is the file whole?", len(t.sets))))
		}
	}
	return tables, n, warnings, nil
}

// cgatsWords splits a line at blanks and tabs; quotes hold blanks, a doubled
// quote inside is a quote, and # outside of quotes starts a comment.
func cgatsWords(line string) ([]string, error) {
	var words []string
	for {
		line = strings.TrimLeft(line, " \t\f\v")
		if line == "" || line[0] == '#' {
			return words, nil
		}
		if line[0] == '"' {
			word, rest, err := unquote(line)
			if err != nil {
				return nil, err
			}
			words, line = append(words, word), rest
			continue
		}
		end := strings.IndexAny(line, " \t\f\v")
		if end < 0 {
			end = len(line)
		}
		words, line = append(words, line[:end]), line[end:]
	}
}

// unquote takes the quoted value at the start of a text.
func unquote(s string) (value, rest string, err error) {
	var b strings.Builder
	for i := 1; i < len(s); i++ {
		if s[i] != '"' {
			b.WriteByte(s[i])
			continue
		}
		if i+1 < len(s) && s[i+1] == '"' {
			b.WriteByte('"')
			i++
			continue
		}
		return b.String(), s[i+1:], nil
	}
	return "", "", errors.New("a quote is not closed on its line")
}

// cgatsTabs splits a line at its tabs only, if that gives n values.
func cgatsTabs(line string, n int) ([]string, bool) {
	if !strings.Contains(line, "\t") {
		return nil, false
	}
	var cells []string
	for rest, more := line, true; more; {
		rest = strings.TrimLeft(rest, " ")
		var cell string
		if strings.HasPrefix(rest, `"`) {
			value, after, err := unquote(rest)
			if err != nil {
				return nil, false
			}
			between, tail, found := strings.Cut(after, "\t")
			if strings.TrimSpace(between) != "" {
				return nil, false
			}
			cell, rest, more = value, tail, found
		} else {
			cell, rest, more = strings.Cut(rest, "\t")
			if strings.ContainsAny(cell, `#"`) { // a comment, or a stray quote
				return nil, false
			}
			cell = strings.TrimSpace(cell)
		}
		cells = append(cells, cell)
	}
	if len(cells) == n+1 && cells[n] == "" {
		cells = cells[:n] // a tab ends the line
	}
	return cells, len(cells) == n
}
