package discharge

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// ReadCSV reads a text table: UTF-8 with or without a byte order mark; comma,
// semicolon or tab between the fields, recognized in the header line; lines
// ended by LF, CRLF or CR; fields in double quotes when needed; comment lines
// starting with # above the header. With semicolon or tab, numbers may have a
// decimal comma.
func ReadCSV(name string, r io.Reader) (*Sheet, error) {
	s := &Sheet{Name: name}
	data, err := io.ReadAll(io.LimitReader(r, MaxFileBytes+1))
	if err != nil {
		return nil, s.fault(0, "", "", err)
	}
	if len(data) > MaxFileBytes {
		return nil, s.fault(0, "", "", fmt.Errorf("the file is larger than %d MiB: split it", MaxFileBytes>>20))
	}
	if err := notText(data); err != nil {
		return nil, s.fault(0, "", "", err)
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	data = bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n"))
	data = bytes.ReplaceAll(data, []byte("\r"), []byte("\n"))
	text := string(data)
	if !utf8.ValidString(text) {
		good := strings.ToValidUTF8(text, "\x00")
		return nil, s.fault(1+strings.Count(good[:strings.IndexByte(good, 0)], "\n"), "", "", errNotUTF8)
	}

	s.HeaderLine = 1
	header := ""
	for text != "" {
		line, rest, _ := strings.Cut(text, "\n")
		if !aboveHeader(line) {
			header = line
			break
		}
		text = rest
		s.HeaderLine++
	}
	if text == "" {
		return nil, s.fault(0, "", "", errors.New("the file is empty; want a header line with column names and one row per reading"))
	}
	delimiter, err := sniffDelimiter(header)
	if err != nil {
		if n := headerBelow(text); n > 0 {
			err = fmt.Errorf("the header must be the first line, and line %d looks like it: delete the lines above that one", s.HeaderLine+n)
		}
		return nil, s.fault(s.HeaderLine, "", clip(header), err)
	}
	s.Format = "CSV separated by " + map[rune]string{',': "comma", ';': "semicolon", '\t': "tab"}[delimiter]
	s.DecimalComma = delimiter != ','
	if err := s.records(text, delimiter); err != nil {
		return nil, err
	}
	return s, nil
}

// aboveHeader recognizes the lines that may stand above a header: blank ones,
// comments, and a spreadsheet's note of the delimiter, which the header shows as well.
func aboveHeader(line string) bool {
	text := strings.TrimSpace(line)
	if text == "" || text[0] == '#' {
		return true
	}
	d, ok := strings.CutPrefix(strings.ToLower(line), "sep=")
	return ok && len(d) == 1 && strings.Contains(",;\t", d)
}

// headerBelow finds a header among the lines after the first of text, below
// titles: how many lines below, 0 if there is none near.
func headerBelow(text string) int {
	n := 0
	for line := range strings.SplitSeq(text, "\n") {
		if n > 0 && looksLikeHeader(strings.FieldsFunc(line, func(r rune) bool { return strings.ContainsRune(",;\t", r) })) {
			return n
		}
		if n++; n > 50 {
			break
		}
	}
	return 0
}

// looksLikeHeader tells a header by columns that every table of readings has.
func looksLikeHeader(cells []string) bool {
	if len(cells) < 2 {
		return false
	}
	return slices.ContainsFunc(cells, func(c string) bool {
		c = strings.ToLower(strings.Trim(c, ` "`))
		_, bare, err := wavelength(c)
		return err == nil && !bare || slices.Contains([]string{"id", "lot", "role", "l*", "l", "illuminant"}, c)
	})
}

// notText recognizes files that are no UTF-8 text at all.
func notText(data []byte) error {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		return errors.New("the file is UTF-16 text; save it as \"CSV UTF-8\"")
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return errors.New("the file is a spreadsheet or archive, not text; save the sheet as \"CSV UTF-8\"")
	case bytes.IndexByte(data, 0) >= 0:
		return errors.New("the file holds zero bytes: it is binary or UTF-16; save it as \"CSV UTF-8\"")
	case bytes.HasPrefix(bytes.TrimSpace(data), []byte("<")):
		return errors.New("the file is XML or HTML, not a table of text")
	}
	return nil
}

// sniffDelimiter takes the delimiter met most often outside quotes in the
// header. Every table has at least two columns.
func sniffDelimiter(header string) (rune, error) {
	count := map[rune]int{}
	quoted := false
	for _, c := range header {
		if c == '"' {
			quoted = !quoted
		}
		if !quoted {
			count[c]++
		}
	}
	best := ','
	for _, d := range []rune{';', '\t'} {
		if count[d] > count[best] {
			best = d
		}
	}
	if count[best] == 0 {
		return 0, errors.New("the header is a single column: separate the columns with comma, semicolon or tab")
	}
	return best, nil
}

// records parses text, which starts at the header line.
func (s *Sheet) records(text string, delimiter rune) error {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = delimiter
	r.Comment = '#'
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = delimiter != '\t'
	lines := strings.Split(text, "\n")
	next, skipped := 0, []int(nil) // lines read so far; commented-out rows
	for {
		record, err := r.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return s.quoteFault(err)
		}
		start, _ := r.FieldPos(0)
		for i := next; i < start-1; i++ {
			if strings.HasPrefix(lines[i], "#") {
				skipped = append(skipped, s.HeaderLine+i)
			}
		}
		next = start
		for _, field := range record {
			next += strings.Count(field, "\n")
		}
		line := s.HeaderLine + start - 1
		if s.Header == nil {
			s.Header = record
			if len(record) > MaxColumns {
				return s.fault(line, "", "", fmt.Errorf("has %d columns; at most %d are read", len(record), MaxColumns))
			}
			continue
		}
		if !slices.ContainsFunc(record, func(c string) bool { return trimCell(c) != "" }) {
			continue // a spreadsheet's line of delimiters
		}
		if len(record) != len(s.Header) {
			return s.lengthFault(record, line, delimiter, allEmpty(trimAll(lines[min(next, len(lines)):])))
		}
		if len(s.Rows) == MaxRows {
			return s.fault(line, "", "", fmt.Errorf("more than %d rows: split the file", MaxRows))
		}
		s.Rows, s.Lines = append(s.Rows, record), append(s.Lines, line)
	}
	for i := next; i < len(lines); i++ {
		if strings.HasPrefix(lines[i], "#") {
			skipped = append(skipped, s.HeaderLine+i)
		}
	}
	if s.Skipped = skipped; len(skipped) > 0 {
		s.Warnings = append(s.Warnings, s.fault(skipped[0], "", "", fmt.Errorf(
			"%d lines below the header start with # and were skipped; if # belongs to a name, put it in quotes", len(skipped))))
	}
	if !strings.HasSuffix(text, "\n") {
		s.checkLastCell()
	}
	return nil
}

// WriteCSV writes rows as [ReadCSV] reads them: separated by comma, in double
// quotes where needed. That includes a first cell that starts with #, such as
// a lot named #12, whose row would be a comment otherwise.
func WriteCSV(w io.Writer, rows [][]string) error {
	out := bufio.NewWriter(w)
	var line bytes.Buffer
	row := csv.NewWriter(&line)
	for _, cells := range rows {
		line.Reset()
		if err := row.Write(cells); err != nil {
			return err
		}
		row.Flush() // to memory, which cannot fail
		text := line.Bytes()
		if text[0] == '#' { // the cell needs no other quotes, so it stands here as it is
			n := len(cells[0])
			fmt.Fprintf(out, `"%s"`, text[:n])
			text = text[n:]
		}
		out.Write(text)
	}
	return out.Flush() // tells of earlier failures, too
}

func (s *Sheet) quoteFault(err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return s.fault(0, "", "", err)
	}
	line := s.HeaderLine + parse.StartLine - 1
	switch {
	case errors.Is(err, csv.ErrQuote):
		return s.fault(line, "", "", errors.New("a quoted field is not closed, or has text after its closing quote; the file may be cut off"))
	case errors.Is(err, csv.ErrBareQuote):
		return s.fault(line, "", "", errors.New("a quote inside a field that is not quoted: put the whole field in quotes and double the inner ones"))
	}
	return s.fault(line, "", "", parse.Err)
}

// lengthFault explains a row with too few or too many fields.
func (s *Sheet) lengthFault(record []string, line int, delimiter rune, last bool) error {
	have, want := len(record), len(s.Header)
	if have < want {
		err := fmt.Errorf("the row has %d fields, the header %d", have, want)
		if last {
			err = fmt.Errorf("the last row has %d fields, the header %d: the file was cut off; export it again", have, want)
		}
		return s.fault(line, "", clip(record[have-1]), err)
	}
	if looksLikeHeader(record) && !looksLikeHeader(s.Header) {
		return s.fault(line, "", "", fmt.Errorf("the row has %d fields, the first line %d, and looks like the header: delete the lines above it", have, want))
	}
	remedy := "put fields that contain the separator in quotes"
	if delimiter == ',' {
		remedy = "if the numbers have a decimal comma, separate the columns with semicolon or tab; otherwise put fields that contain a comma in quotes"
	}
	return s.fault(line, "", "", fmt.Errorf("the row has %d fields, the header %d: %s", have, want, remedy))
}

// checkLastCell warns when the file ends inside a line and its last cell is
// shorter than every other in the column: a number that was cut off can look whole.
func (s *Sheet) checkLastCell() {
	if len(s.Rows) < 3 {
		return
	}
	end := len(s.Rows) - 1
	column := len(s.Header) - 1
	last := strings.TrimSpace(s.Rows[end][column])
	shorter := !slices.ContainsFunc(s.Rows[:end], func(row []string) bool {
		return len(strings.TrimSpace(row[column])) <= len(last)
	})
	if shorter {
		s.Warnings = append(s.Warnings, s.fault(s.Lines[end], s.Header[column], last, errors.New(
			"the file ends without a line end in a value shorter than all above it: if it was cut off, the value is wrong; export it again")))
	}
}
