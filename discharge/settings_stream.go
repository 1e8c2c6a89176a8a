package discharge

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
)

// A SettingsStream reads a settings table of any length in pieces, so that a
// million rows take no more memory than some thousand, and so that several
// goroutines can share the work: Next hands out the pieces one after the other,
// and each piece may be parsed anywhere.
//
//	stream := discharge.NewSettingsStream("settings.csv", file, model.Process())
//	for {
//		piece, err := stream.Next()
//		if err == io.EOF {
//			break
//		}
//		…
//		list, err := piece.Parse()
type SettingsStream struct {
	name    string
	in      *bufio.Reader
	process Process
	header  []byte // the header line, with its line end; nil before it is read
	at      int    // lines read so far
	line    int    // of the header, its first
	rows    bool   // some were read
	err     error
}

// A SettingsPiece is some consecutive rows of a settings table.
type SettingsPiece struct {
	stream *SettingsStream
	text   []byte // header and rows
	before int    // lines of the file above the piece's first row
}

// pieceBytes is about how much of a file a piece holds: some thousand rows,
// enough that handing it over costs nothing against parsing it.
const pieceBytes = 128 << 10

// maxLine bounds one row, quoted line ends included.
const maxLine = 4 << 20

// NewSettingsStream starts to read a table as [ReadSettings] does, whatever its
// length. name is used in messages only.
func NewSettingsStream(name string, r io.Reader, p Process) *SettingsStream {
	return &SettingsStream{name: name, in: bufio.NewReaderSize(&lineEnds{in: r}, pieceBytes), process: p}
}

// lineEnds makes every line end of a text, CRLF and CR too, an LF.
type lineEnds struct {
	in    io.Reader
	ended bool // by a CR, with which an LF may belong
}

func (l *lineEnds) Read(p []byte) (int, error) {
	for {
		n, err := l.in.Read(p)
		if l.ended || bytes.IndexByte(p[:n], '\r') >= 0 {
			kept := p[:0]
			for _, c := range p[:n] {
				if c == '\n' && l.ended {
					l.ended = false
					continue
				}
				if l.ended = c == '\r'; l.ended {
					c = '\n'
				}
				kept = append(kept, c)
			}
			n = len(kept)
		}
		if n > 0 || err != nil || len(p) == 0 {
			return n, err
		}
	}
}

// Next returns the next piece, io.EOF after the last one, or the fault that
// ended reading. It must not be called by two goroutines at once.
func (s *SettingsStream) Next() (*SettingsPiece, error) {
	if s.err == nil && s.header == nil {
		s.err = s.readHeader()
	}
	for s.err == nil {
		p := &SettingsPiece{stream: s, text: append(make([]byte, 0, len(s.header)+pieceBytes+1024), s.header...), before: s.at}
		found := false
		for len(p.text) < pieceBytes+len(s.header) && s.err == nil {
			from := len(p.text)
			p.text, s.err = s.row(p.text)
			row := p.text[from:]
			found = found || len(bytes.TrimSpace(row)) > 0 && row[0] != '#'
		}
		if found && (s.err == nil || s.err == io.EOF) {
			s.rows = true
			return p, nil
		}
	}
	if s.err == io.EOF && !s.rows {
		s.err = s.noRows()
	}
	return nil, s.err
}

// noRows is what ReadSettings says of a header alone.
func (s *SettingsStream) noRows() error {
	p := &SettingsPiece{stream: s, text: s.header, before: s.at}
	sheet, err := ReadCSV(s.name, bytes.NewReader(p.text))
	if err == nil {
		_, err = settingsFrom(sheet, s.process)
	}
	return p.place(err)
}

// readHeader reads up to the first line that carries something.
func (s *SettingsStream) readHeader() error {
	for {
		line, err := s.oneLine(nil)
		if s.at <= 1 {
			line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
		}
		switch {
		case !aboveHeader(strings.TrimSuffix(string(line), "\n")):
			s.line = s.at
			if err == nil {
				line, err = s.fields(line, 0)
			}
			if err == nil || err == io.EOF {
				s.header = append(bytes.TrimRight(line, "\n"), '\n')
			}
			return err
		case err == io.EOF:
			return s.fault(errors.New("the file is empty; want a header line with column names and one row per lot"))
		case err != nil:
			return err
		}
	}
}

func (s *SettingsStream) fault(err error) error {
	return &RowError{File: s.name, Row: s.at, Err: err}
}

// row appends one row to dst, with all lines of its quoted fields. A comment is
// one line, whatever quotes it holds.
func (s *SettingsStream) row(dst []byte) ([]byte, error) {
	start := len(dst)
	dst, err := s.oneLine(dst)
	if err != nil || dst[start] == '#' {
		return dst, err
	}
	return s.fields(dst, start)
}

// fields completes the row whose first line stands at start of dst.
func (s *SettingsStream) fields(dst []byte, start int) ([]byte, error) {
	quotes := bytes.Count(dst[start:], []byte{'"'})
	for quotes%2 != 0 {
		if len(dst)-start > maxLine {
			return dst, s.tooLong()
		}
		from := len(dst)
		var err error
		if dst, err = s.oneLine(dst); err != nil {
			return dst, err
		}
		quotes += bytes.Count(dst[from:], []byte{'"'})
	}
	return dst, nil
}

// oneLine appends one line to dst.
func (s *SettingsStream) oneLine(dst []byte) ([]byte, error) {
	start := len(dst)
	for {
		part, err := s.in.ReadSlice('\n')
		dst = append(dst, part...)
		switch {
		case err == bufio.ErrBufferFull:
			if len(dst)-start > maxLine {
				return dst, s.tooLong()
			}
			continue
		case err == nil, err == io.EOF:
			if len(dst) > start {
				s.at++
			}
			return dst, err
		}
		return dst, s.fault(err)
	}
}

func (s *SettingsStream) tooLong() error {
	return s.fault(fmt.Errorf("the row is longer than %d MiB: a quote is not closed", maxLine>>20))
}

// Parse reads the settings of the piece, with the checks of [ReadSettings];
// rows are numbered as in the file. It may be called by any goroutine. A piece
// may hold no settings, when its rows have other roles.
func (p *SettingsPiece) Parse() (*SettingsList, error) {
	sheet, err := ReadCSV(p.stream.name, bytes.NewReader(p.text))
	if err != nil {
		return nil, p.place(err)
	}
	if len(sheet.Rows) == 0 {
		return &SettingsList{}, nil
	}
	list, err := settingsFrom(sheet, p.stream.process)
	if err != nil {
		return nil, p.place(err)
	}
	for i := range list.Items {
		list.Items[i].Row = p.line(list.Items[i].Row)
	}
	for i := range list.Warnings {
		list.Warnings[i] = p.place(list.Warnings[i])
	}
	return list, nil
}

// place turns the row of a fault in the piece, which starts with the header, into the file's.
func (p *SettingsPiece) place(err error) error {
	var row *RowError
	if !errors.As(err, &row) || row.Row == 0 {
		return err
	}
	moved := *row
	moved.Row = p.line(row.Row)
	return &moved
}

// line is the file's line of a line of the piece.
func (p *SettingsPiece) line(n int) int {
	if header := bytes.Count(p.stream.header, []byte{'\n'}); n > header {
		return p.before + n - header
	}
	return p.stream.line + n - 1
}
