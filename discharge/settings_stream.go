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
	line    int    // of the header
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
	return &SettingsStream{name: name, in: bufio.NewReaderSize(r, pieceBytes), process: p}
}

// Next returns the next piece, io.EOF after the last one, or the fault that
// ended reading. It must not be called by two goroutines at once.
func (s *SettingsStream) Next() (*SettingsPiece, error) {
	if s.err == nil && s.header == nil {
		s.err = s.readHeader()
	}
	if s.err != nil {
		return nil, s.err
	}
	p := &SettingsPiece{stream: s, text: append(make([]byte, 0, len(s.header)+pieceBytes+1024), s.header...), before: s.at}
	for len(p.text) < pieceBytes+len(s.header) && s.err == nil {
		p.text, s.err = s.row(p.text)
	}
	if s.err != nil && s.err != io.EOF {
		return nil, s.err
	}
	if len(bytes.TrimSpace(p.text[len(s.header):])) == 0 {
		if s.err == nil {
			return s.Next()
		}
		return nil, s.err
	}
	return p, nil
}

// readHeader reads up to the first line that is neither blank nor a comment,
// and the one after a spreadsheet's note of the delimiter.
func (s *SettingsStream) readHeader() error {
	var note []byte
	for {
		line, err := s.row(nil)
		text := strings.TrimSpace(strings.TrimPrefix(string(line), "\ufeff"))
		switch {
		case text == "" && err == nil, strings.HasPrefix(text, "#"):
		case strings.HasPrefix(strings.ToLower(text), "sep=") && note == nil && err == nil:
			note = line
		case text != "":
			if err == nil || err == io.EOF {
				s.header, s.line = append(bytes.TrimPrefix(bytes.TrimRight(line, "\r\n"), []byte("\xef\xbb\xbf")), '\n'), s.at
			}
			return err
		default:
			if err == io.EOF {
				err = s.fault(errors.New("the file is empty; want a header line with column names and one row per lot"))
			}
			return err
		}
		if err != nil {
			return err
		}
	}
}

func (s *SettingsStream) fault(err error) error {
	return &RowError{File: s.name, Row: s.at, Err: err}
}

// row appends one row to dst, with all lines of its quoted fields.
func (s *SettingsStream) row(dst []byte) ([]byte, error) {
	start, quotes := len(dst), 0
	for {
		part, err := s.in.ReadSlice('\n')
		dst = append(dst, part...)
		quotes += bytes.Count(part, []byte{'"'})
		switch {
		case err == bufio.ErrBufferFull:
		case err != nil:
			if err != io.EOF {
				err = s.fault(err)
			}
			return dst, err
		default:
			s.at++
			if quotes%2 == 0 {
				return dst, nil
			}
		}
		if len(dst)-start > maxLine {
			return dst, s.fault(fmt.Errorf("the row is longer than %d MiB: a quote is not closed, or lines end in CR alone", maxLine>>20))
		}
	}
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
		list.Items[i].Row += p.before - 1
	}
	for i := range list.Warnings {
		list.Warnings[i] = p.place(list.Warnings[i])
	}
	return list, nil
}

// place turns a row of the piece, whose first line is the header, into the
// file's.
func (p *SettingsPiece) place(err error) error {
	var row *RowError
	if !errors.As(err, &row) || row.Row == 0 {
		return err
	}
	moved := *row
	if moved.Row == 1 {
		moved.Row = p.stream.line
	} else {
		moved.Row += p.before - 1
	}
	return &moved
}
