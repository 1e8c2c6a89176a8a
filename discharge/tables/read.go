// Package tables reads the tables that people have: CSV in its dialects, XLSX
// workbooks, CGATS text (ISO 28178 [1]) and CxF (ISO 17972-1 [2]), each told by
// its content. All become a [discharge.Sheet], whose Format says what the file
// was taken for; [discharge.FromSheet] and its like make lots, samples or targets of it.
// It takes nothing but the standard library. Where a message names a flag of the tool in
// parentheses, [Options] has the same.
//
//	[1] ISO 28178:2009, Exchange format for color and process control data
//	    using XML or ASCII text; its text form is also known as CGATS.17
//	[2] ISO 17972-1:2015, Colour data exchange format (CxF/X), relationship to
//	    CxF3
package tables

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"example.com/dosetone/discharge"
)

// Options says what a file does not. The zero value reads its first part.
type Options struct {
	// Part is the sheet of a workbook, the table of a CGATS file (its number)
	// or the color specification of a CxF file (its Id); --sheet. CSV has no parts.
	Part string
	// Condition is the measurement condition that is wanted, where a CxF file has
	// several; of other files a reader leaves all rows to [discharge.Sheet.UnderCondition].
	Condition discharge.Condition
	// Wide takes a table with one column per reading and turns it.
	Wide bool
}

// kind is a format that is read.
type kind string

const (
	csvKind   kind = "CSV"
	xlsxKind  kind = "XLSX"
	cgatsKind kind = "CGATS"
	cxfKind   kind = "CxF"
)

// Read makes a sheet of a file's content; name is used in messages. What the
// file is follows from its content; when its ending says otherwise, a warning
// tells so. Errors are a [discharge.RowError] with the place in the file and what
// would be right; of files that are no table, too.
func Read(name string, data []byte, opt Options) (*discharge.Sheet, error) {
	k, err := sniff(data)
	if err != nil {
		return nil, fault(name, 0, "", "", err)
	}
	var s *discharge.Sheet
	switch k {
	case xlsxKind:
		s, err = readXLSX(name, data, opt.Part)
	case cgatsKind:
		s, err = readCGATS(name, data, opt.Part)
	case cxfKind:
		s, err = readCxF(name, data, opt)
	default:
		s, err = discharge.ReadCSV(name, bytes.NewReader(data))
	}
	if err != nil {
		return nil, err
	}
	if opt.Wide {
		if s, err = turn(s); err != nil {
			return nil, err
		}
	}
	if said := ending(name); said != "" && said != k {
		s.Warnings = append([]error{fault(name, 0, "", "", fmt.Errorf("the file is %s in spite of its ending %s, and was read as %s", k, filepath.Ext(name), s.Format))}, s.Warnings...)
	}
	return s, nil
}

// HasParts reports whether Options.Part means something for a file.
func HasParts(data []byte) bool {
	k, err := sniff(data)
	return err == nil && k != csvKind
}

// ending is the format that a name promises, "" when it promises none.
func ending(name string) kind {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".csv", ".tsv":
		return csvKind
	case ".xlsx", ".xlsm":
		return xlsxKind
	case ".cxf":
		return cxfKind
	}
	return ""
}

// sniff tells the format by the content, or why it is not read.
func sniff(data []byte) (kind, error) {
	if len(data) > discharge.MaxFileBytes {
		return "", fmt.Errorf("the file is larger than %d MiB: split it", discharge.MaxFileBytes>>20)
	}
	for _, known := range []struct{ start, why string }{
		{"\xd0\xcf\x11\xe0", "the file is an old workbook (.xls) or protected by a password; save it as .xlsx without password, or the sheet as \"CSV UTF-8\""},
		{"%PDF", "the file is a PDF; a table cannot be read from it: export the data as CSV, XLSX, CGATS or CxF"},
		{"\x89PNG", "the file is an image, not a table; dosetone convert reads images"},
		{"\xff\xd8\xff", "the file is an image, not a table; dosetone convert reads images"},
		{"\x1f\x8b", "the file is compressed (gzip); unpack it first"},
		{"{\\rtf", "the file is formatted text (RTF), not a table; save the table as CSV or XLSX"},
	} {
		if bytes.HasPrefix(data, []byte(known.start)) {
			return "", errors.New(known.why)
		}
	}
	if bytes.HasPrefix(data, []byte("PK")) && len(data) > 3 && data[2] < 9 {
		return xlsxKind, nil
	}
	text := bytes.TrimSpace(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))
	switch {
	case bytes.HasPrefix(text, []byte("<")):
		return cxfKind, nil // whose reader names another root
	case bytes.HasPrefix(text, []byte("{")):
		return "", errors.New("the file is JSON, such as a model file, where a table is wanted; are the files in the right order?")
	case isCGATS(text):
		return cgatsKind, nil
	}
	return csvKind, utf16(data) // whose reader refuses UTF-16 tables and other binary files
}

// utf16 is why XML and CGATS in UTF-16 are not read: a spreadsheet program, which
// other tables go through, cannot save them.
func utf16(data []byte) error {
	if !bytes.HasPrefix(data, []byte("\xff\xfe")) && !bytes.HasPrefix(data, []byte("\xfe\xff")) {
		return nil
	}
	text := bytes.TrimSpace(bytes.ReplaceAll(data[2:], []byte{0}, nil)) // what is ASCII in it
	switch {
	case bytes.HasPrefix(text, []byte("<")):
		return errors.New("the file is XML in UTF-16; export it in UTF-8, or save it so in a text editor, with encoding=\"UTF-8\" in its first line")
	case isCGATS(text):
		return errors.New("the file is CGATS text in UTF-16; export it in UTF-8, or save it so in a text editor")
	}
	return nil
}

// maxCells bounds the cells of a table that is not stored cell by cell: a few
// bytes of a file can place a cell far out, and the way there takes memory.
const maxCells = 4_000_000

func fault(file string, line int, column, value string, err error) error {
	return &discharge.RowError{File: file, Row: line, Column: column, Value: clip(value), Err: err}
}

// clip shortens a text for a message.
func clip(s string) string {
	r := []rune(strings.ToValidUTF8(s, "?"))
	if len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return string(r)
}

// quoted lists names for a message, a few of them.
func quoted(names []string) string {
	const most = 8
	var b strings.Builder
	for i, n := range names {
		if i == most {
			fmt.Fprintf(&b, " and %d more", len(names)-most)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%q", clip(n))
	}
	return b.String()
}
