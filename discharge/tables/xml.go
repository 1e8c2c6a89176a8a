package tables

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Limits of XML, far above any real file.
const (
	maxDepth    = 100
	maxElements = 12_000_000
)

// An xmlReader gives the tokens of a document and refuses what a data file
// does not need: a DOCTYPE with its entities, endless nesting, other encodings.
type xmlReader struct {
	d        *xml.Decoder
	depth    int
	elements int // opened so far
	most     int // of them
}

func newXMLReader(r io.Reader) *xmlReader {
	x := &xmlReader{d: xml.NewDecoder(r), most: maxElements}
	x.d.CharsetReader = func(charset string, input io.Reader) (io.Reader, error) {
		if strings.EqualFold(charset, "us-ascii") || strings.EqualFold(charset, "ascii") {
			return input, nil
		}
		return nil, fmt.Errorf("the XML is encoded in %s; save it as UTF-8", charset)
	}
	return x
}

// next returns the next token; io.EOF only after the root was closed.
func (x *xmlReader) next() (xml.Token, error) {
	t, err := x.d.Token()
	if err != nil {
		if err == io.EOF {
			return nil, io.EOF
		}
		return nil, fmt.Errorf("the XML is broken: %w; the file may be cut off", err)
	}
	switch t.(type) {
	case xml.StartElement:
		x.depth++
		x.elements++
		if x.depth > maxDepth {
			return nil, fmt.Errorf("elements are nested more than %d deep", maxDepth)
		}
		if x.elements > x.most {
			return nil, fmt.Errorf("more than %d elements: split the file", x.most)
		}
	case xml.EndElement:
		x.depth--
	case xml.Directive:
		return nil, errors.New("the XML has a DOCTYPE, which data files do not need and which can be misused; remove that line")
	}
	return t, nil
}

// line is where the reader is, 1-based.
func (x *xmlReader) line() int {
	line, _ := x.d.InputPos()
	return line
}

// inside calls do for every element inside the one just opened, up to its end.
// What do reads to its end is not visited again.
func (x *xmlReader) inside(do func(e xml.StartElement) error) error {
	for depth := x.depth; ; {
		t, err := x.next()
		if err != nil {
			return noEOF(err)
		}
		if x.depth < depth {
			return nil
		}
		if e, ok := t.(xml.StartElement); ok {
			if err := do(e); err != nil {
				return err
			}
		}
	}
}

// skip passes over the element just opened.
func (x *xmlReader) skip() error {
	return x.inside(func(xml.StartElement) error { return nil })
}

// text returns the text of the element just opened, without that of elements
// inside it.
func (x *xmlReader) text() (string, error) {
	var b strings.Builder
	for depth := x.depth; ; {
		t, err := x.next()
		if err != nil {
			return "", noEOF(err)
		}
		switch t := t.(type) {
		case xml.StartElement:
			if err := x.skip(); err != nil {
				return "", err
			}
		case xml.EndElement:
			if x.depth < depth {
				return b.String(), nil
			}
		case xml.CharData:
			b.Write(t)
		}
	}
}

// noEOF makes an end inside an element a fault.
func noEOF(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// attr returns an attribute of no namespace, "" without it.
func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return a.Value
		}
	}
	return ""
}
