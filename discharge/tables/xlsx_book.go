package tables

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"example.com/dosetone/discharge"
)

// Limits of the archive that a workbook is. What it unpacks to is held to the
// limit of files that are not packed.
const (
	maxParts    = 5_000
	maxUnpacked = discharge.MaxFileBytes
	maxSheets   = 1_000
)

// book is a workbook as far as its cells need it. A workbook is read here and
// not by the library that writes ours: that one fills a sheet up to its
// farthest cell and passes over broken XML, formulas without values and dates.
type book struct {
	parts    map[string]*zip.File
	sheets   []bookSheet
	strings  []string
	formats  []cellFormat // per style index
	from1904 bool
}

type bookSheet struct {
	name   string
	part   string // name of its part in the archive
	hidden bool
}

// openBook checks the archive's directory before anything is unpacked.
func openBook(data []byte) (*book, error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, fmt.Errorf("the file begins as a workbook but is broken or cut off: %w; export it again", err)
	}
	if len(z.File) > maxParts {
		return nil, fmt.Errorf("the file is an archive of %d parts; a workbook has far fewer", len(z.File))
	}
	b := &book{parts: map[string]*zip.File{}}
	var total uint64
	for _, f := range z.File {
		size := f.UncompressedSize64
		if total += size; size > maxUnpacked || total > maxUnpacked {
			return nil, fmt.Errorf("the workbook unpacks to more than %d MiB; no table of readings does: save only the sheet as CSV", maxUnpacked>>20)
		}
		b.parts[strings.TrimPrefix(strings.ReplaceAll(f.Name, `\`, "/"), "/")] = f
	}
	if err := b.isWorkbook(); err != nil {
		return nil, err
	}
	return b, b.open()
}

// isWorkbook refuses other archives by what they are.
func (b *book) isWorkbook() error {
	if mime, err := b.read("mimetype"); err == nil && bytes.Contains(mime, []byte("opendocument")) {
		return errors.New("the file is an OpenDocument file (.ods); save it as .xlsx, or the sheet as \"CSV UTF-8\"")
	}
	switch {
	case b.parts["xl/workbook.bin"] != nil:
		return errors.New("the file is a binary workbook (.xlsb); save it as .xlsx")
	case b.parts["word/document.xml"] != nil:
		return errors.New("the file is a text document (.docx); put the table into a workbook or a CSV file")
	case b.parts["_rels/.rels"] == nil:
		return errors.New("the file is an archive, not a workbook; unpack it first")
	}
	return nil
}

// read unpacks a part, never beyond the size that the directory states.
func (b *book) read(name string) ([]byte, error) {
	f := b.parts[name]
	if f == nil {
		return nil, fmt.Errorf("the workbook lacks its part %s; export it again", name)
	}
	r, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("part %s of the workbook cannot be unpacked: %w", name, err)
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, int64(f.UncompressedSize64)+1))
	if err != nil {
		return nil, fmt.Errorf("part %s of the workbook is damaged: %w; export it again", name, err)
	}
	if uint64(len(data)) > f.UncompressedSize64 {
		return nil, fmt.Errorf("part %s of the workbook unpacks to more than it states; the file is damaged or made to harm", name)
	}
	return data, nil
}

// each calls do for every element of a part, once it is opened.
func (b *book) each(part string, do func(x *xmlReader, e xml.StartElement) error) error {
	data, err := b.read(part)
	if err != nil {
		return err
	}
	x := newXMLReader(bytes.NewReader(data))
	for {
		t, err := x.next()
		if err == io.EOF {
			return nil
		}
		if err == nil {
			if e, ok := t.(xml.StartElement); ok {
				err = do(x, e)
			}
		}
		if err != nil {
			return fmt.Errorf("part %s of the workbook: %w", part, err)
		}
	}
}

// relations maps the ids of a part's relationships to type and target.
func (b *book) relations(part string) (map[string][2]string, error) {
	dir, file := path.Split(part)
	out := map[string][2]string{}
	err := b.each(dir+"_rels/"+file+".rels", func(_ *xmlReader, e xml.StartElement) error {
		if e.Name.Local == "Relationship" && attr(e, "TargetMode") != "External" {
			target := attr(e, "Target")
			if rest, ok := strings.CutPrefix(target, "/"); ok {
				target = rest
			} else {
				target = path.Join(dir, target)
			}
			out[attr(e, "Id")] = [2]string{path.Base(attr(e, "Type")), target}
		}
		return nil
	})
	return out, err
}

// open reads the list of sheets, the shared texts and the number formats.
func (b *book) open() error {
	top, err := b.relations("")
	if err != nil {
		return err
	}
	workbook := ""
	for _, r := range top {
		if r[0] == "officeDocument" {
			workbook = r[1]
		}
	}
	if workbook == "" {
		return errors.New("the file is an archive, not a workbook")
	}
	rels, err := b.relations(workbook)
	if err != nil {
		return err
	}
	err = b.each(workbook, func(_ *xmlReader, e xml.StartElement) error {
		switch e.Name.Local {
		case "workbookPr":
			v := attr(e, "date1904")
			b.from1904 = v == "1" || v == "true"
		case "sheet":
			id := ""
			for _, a := range e.Attr {
				if a.Name.Local == "id" && a.Name.Space != "" {
					id = a.Value
				}
			}
			if r := rels[id]; r[0] == "worksheet" {
				state := attr(e, "state")
				b.sheets = append(b.sheets, bookSheet{attr(e, "name"), r[1], state == "hidden" || state == "veryHidden"})
			}
			if len(b.sheets) > maxSheets {
				return fmt.Errorf("more than %d sheets", maxSheets)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, r := range rels {
		switch r[0] {
		case "sharedStrings":
			err = b.readStrings(r[1])
		case "styles":
			err = b.readFormats(r[1])
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// readStrings reads the texts that cells refer to by number.
func (b *book) readStrings(part string) error {
	return b.each(part, func(x *xmlReader, e xml.StartElement) error {
		if e.Name.Local != "si" {
			return nil
		}
		s, err := richText(x)
		b.strings = append(b.strings, s)
		return err
	})
}

// richText joins the runs of a text; phonetic hints are no part of it.
func richText(x *xmlReader) (string, error) {
	var text strings.Builder
	err := x.inside(func(e xml.StartElement) error {
		switch e.Name.Local {
		case "t":
			s, err := x.text()
			text.WriteString(s)
			return err
		case "rPh":
			return x.skip()
		}
		return nil
	})
	return text.String(), err
}

// sheet chooses the sheet of that name, or the first that is not hidden.
func (b *book) sheet(name string) (*bookSheet, error) {
	var visible, hidden []string
	first := -1
	for i, s := range b.sheets {
		if strings.EqualFold(strings.TrimSpace(s.name), strings.TrimSpace(name)) && name != "" {
			return &b.sheets[i], nil
		}
		if s.hidden {
			hidden = append(hidden, s.name)
			continue
		}
		visible = append(visible, s.name)
		if first < 0 {
			first = i
		}
	}
	all := slices.Concat(visible, hidden)
	switch {
	case len(all) == 0:
		return nil, errors.New("the workbook has no sheet with cells")
	case name != "":
		return nil, fmt.Errorf("the workbook has no sheet %q; it has %s", clip(name), quoted(all))
	case first < 0:
		return nil, fmt.Errorf("every sheet of the workbook is hidden; name one of %s (--sheet)", quoted(all))
	}
	return &b.sheets[first], nil
}

// others lists the names of the other sheets.
func (b *book) others(s *bookSheet) []string {
	var out []string
	for _, o := range b.sheets {
		if o.name != s.name {
			out = append(out, o.name)
		}
	}
	return out
}
