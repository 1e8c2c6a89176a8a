package workbook

import (
	"archive/zip"
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

const (
	mainSpace = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
	relSpace  = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	packSpace = "http://schemas.openxmlformats.org/package/2006/"
	mainType  = "application/vnd.openxmlformats-officedocument.spreadsheetml."
)

// Write writes the workbook.
func (b *Book) Write(w io.Writer) error {
	z := zip.NewWriter(w)
	put := func(name, text string) error {
		p, err := z.Create(name)
		if err == nil {
			_, err = io.WriteString(p, xml.Header+text)
		}
		return err
	}
	var types, sheets, rels strings.Builder
	for i, s := range b.sheets {
		n := i + 1
		fmt.Fprintf(&types, `<Override PartName="/xl/worksheets/sheet%d.xml" ContentType="%sworksheet+xml"/>`, n, mainType)
		fmt.Fprintf(&sheets, `<sheet name="%s" sheetId="%d" r:id="rId%[2]d"/>`, escape(s.name), n)
		fmt.Fprintf(&rels, `<Relationship Id="rId%d" Type="%s/worksheet" Target="worksheets/sheet%[1]d.xml"/>`, n, relSpace)
		if err := put(fmt.Sprintf("xl/worksheets/sheet%d.xml", n), s.xml()); err != nil {
			return err
		}
		if len(s.notes) == 0 {
			continue
		}
		fmt.Fprintf(&types, `<Override PartName="/xl/comments%d.xml" ContentType="%scomments+xml"/>`, n, mainType)
		for _, part := range [][2]string{
			{fmt.Sprintf("xl/comments%d.xml", n), s.commentsXML()},
			{fmt.Sprintf("xl/drawings/vmlDrawing%d.vml", n), s.vml()},
			{fmt.Sprintf("xl/worksheets/_rels/sheet%d.xml.rels", n), relationships(fmt.Sprintf(
				`<Relationship Id="rId1" Type="%s/vmlDrawing" Target="../drawings/vmlDrawing%d.vml"/><Relationship Id="rId2" Type="%[1]s/comments" Target="../comments%[2]d.xml"/>`, relSpace, n))},
		} {
			if err := put(part[0], part[1]); err != nil {
				return err
			}
		}
	}
	fmt.Fprintf(&rels, `<Relationship Id="rId%d" Type="%s/styles" Target="styles.xml"/>`, len(b.sheets)+1, relSpace)
	for _, part := range [][2]string{
		{"[Content_Types].xml", `<Types xmlns="` + packSpace + `content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>` +
			`<Default Extension="xml" ContentType="application/xml"/><Default Extension="vml" ContentType="application/vnd.openxmlformats-officedocument.vmlDrawing"/>` +
			`<Override PartName="/xl/workbook.xml" ContentType="` + mainType + `sheet.main+xml"/><Override PartName="/xl/styles.xml" ContentType="` + mainType + `styles+xml"/>` + types.String() + `</Types>`},
		{"_rels/.rels", relationships(`<Relationship Id="rId1" Type="` + relSpace + `/officeDocument" Target="xl/workbook.xml"/>`)},
		{"xl/workbook.xml", `<workbook xmlns="` + mainSpace + `" xmlns:r="` + relSpace + `"><sheets>` + sheets.String() + `</sheets></workbook>`},
		{"xl/_rels/workbook.xml.rels", relationships(rels.String())},
		{"xl/styles.xml", b.stylesXML()},
	} {
		if err := put(part[0], part[1]); err != nil {
			return err
		}
	}
	return z.Close()
}

func relationships(list string) string {
	return `<Relationships xmlns="` + packSpace + `relationships">` + list + `</Relationships>`
}

// xml is the part of a sheet; its elements stand in the order of the schema.
func (s *Sheet) xml() string {
	var b strings.Builder
	b.WriteString(`<worksheet xmlns="` + mainSpace + `" xmlns:r="` + relSpace + `">`)
	if s.Landscape {
		b.WriteString(`<sheetPr><pageSetUpPr fitToPage="1"/></sheetPr>`)
	}
	b.WriteString(`<sheetViews><sheetView workbookViewId="0"`)
	if s == s.book.sheets[0] {
		b.WriteString(` tabSelected="1"`)
	}
	b.WriteString(`>`)
	if s.FreezeRows > 0 || s.FreezeColumns > 0 {
		b.WriteString(s.pane())
	}
	b.WriteString(`</sheetView></sheetViews>`)
	if len(s.columns) > 0 {
		b.WriteString(`<cols>`)
		for i, c := range s.columns {
			if c.width > 0 {
				fmt.Fprintf(&b, `<col min="%d" max="%[1]d" width="%s" style="%d" customWidth="1"/>`, i+1, number(c.width), c.style)
			}
		}
		b.WriteString(`</cols>`)
	}
	b.WriteString(`<sheetData>`)
	for i, row := range s.rows {
		if len(row) == 0 {
			continue
		}
		fmt.Fprintf(&b, `<row r="%d">`, i+1)
		for j, c := range row {
			c.write(&b, ref(i+1, j+1))
		}
		b.WriteString(`</row>`)
	}
	b.WriteString(`</sheetData>`)
	s.writeChecks(&b)
	if s.Landscape {
		b.WriteString(`<pageSetup orientation="landscape" fitToWidth="1" fitToHeight="0"/>`)
	}
	if len(s.notes) > 0 {
		b.WriteString(`<legacyDrawing r:id="rId1"/>`)
	}
	b.WriteString(`</worksheet>`)
	return b.String()
}

func (s *Sheet) pane() string {
	corner := "bottomRight"
	switch {
	case s.FreezeColumns == 0:
		corner = "bottomLeft"
	case s.FreezeRows == 0:
		corner = "topRight"
	}
	var b strings.Builder
	b.WriteString(`<pane`)
	if s.FreezeColumns > 0 {
		fmt.Fprintf(&b, ` xSplit="%d"`, s.FreezeColumns)
	}
	if s.FreezeRows > 0 {
		fmt.Fprintf(&b, ` ySplit="%d"`, s.FreezeRows)
	}
	fmt.Fprintf(&b, ` topLeftCell="%s" activePane="%s" state="frozen"/>`, ref(s.FreezeRows+1, s.FreezeColumns+1), corner)
	return b.String()
}

func (c cell) write(b *strings.Builder, at string) {
	style := ""
	if c.style > 0 {
		style = fmt.Sprintf(` s="%d"`, c.style)
	}
	switch v := c.value.(type) {
	case nil:
		if style != "" {
			fmt.Fprintf(b, `<c r="%s"%s/>`, at, style)
		}
	case float64:
		fmt.Fprintf(b, `<c r="%s"%s><v>%s</v></c>`, at, style, number(v))
	case bool:
		fmt.Fprintf(b, `<c r="%s"%s t="b"><v>%d</v></c>`, at, style, map[bool]int{true: 1}[v])
	case string:
		fmt.Fprintf(b, `<c r="%s"%s t="inlineStr"><is><t xml:space="preserve">%s</t></is></c>`, at, style, escape(v))
	}
}

func (s *Sheet) writeChecks(b *strings.Builder) {
	if len(s.checks) == 0 {
		return
	}
	fmt.Fprintf(b, `<dataValidations count="%d">`, len(s.checks))
	for _, c := range s.checks {
		cells := ref(c.from, c.column) + ":" + ref(c.to, c.column)
		messages := fmt.Sprintf(`allowBlank="1" showErrorMessage="1" errorTitle="%s" error="%s" sqref="%s"`, escape(c.title), escape(c.remedy), cells)
		if c.list != nil {
			fmt.Fprintf(b, `<dataValidation type="list" %s><formula1>"%s"</formula1></dataValidation>`, messages, escape(strings.Join(c.list, ",")))
		} else {
			fmt.Fprintf(b, `<dataValidation type="decimal" operator="greaterThanOrEqual" %s><formula1>%s</formula1></dataValidation>`, messages, number(c.min))
		}
	}
	b.WriteString(`</dataValidations>`)
}

func (s *Sheet) commentsXML() string {
	var b strings.Builder
	b.WriteString(`<comments xmlns="` + mainSpace + `"><authors><author></author></authors><commentList>`)
	for _, n := range s.notes {
		fmt.Fprintf(&b, `<comment ref="%s" authorId="0"><text><t xml:space="preserve">%s</t></text></comment>`, ref(n.row, n.column), escape(n.text))
	}
	b.WriteString(`</commentList></comments>`)
	return b.String()
}

// vml draws the boxes of the notes, which spreadsheet programs still ask for.
func (s *Sheet) vml() string {
	var b strings.Builder
	b.WriteString(`<xml xmlns:v="urn:schemas-microsoft-com:vml" xmlns:o="urn:schemas-microsoft-com:office:office" xmlns:x="urn:schemas-microsoft-com:office:excel">` +
		`<v:shapetype id="note" coordsize="21600,21600" o:spt="202" path="m,l,21600r21600,l21600,xe"><v:stroke joinstyle="miter"/><v:path gradientshapeok="t" o:connecttype="rect"/></v:shapetype>`)
	for i, n := range s.notes {
		fmt.Fprintf(&b, `<v:shape id="note%d" type="#note" style="position:absolute;visibility:hidden" fillcolor="#ffffe1" o:insetmode="auto"><v:fill color2="#ffffe1"/><v:path o:connecttype="none"/>`+
			`<v:textbox style="mso-direction-alt:auto"><div style="text-align:left"/></v:textbox><x:ClientData ObjectType="Note"><x:MoveWithCells/><x:SizeWithCells/>`+
			`<x:Anchor>%d,15,%d,2,%d,15,%d,4</x:Anchor><x:AutoFill>False</x:AutoFill><x:Row>%d</x:Row><x:Column>%d</x:Column></x:ClientData></v:shape>`,
			i+1, n.column, n.row-1, n.column+4, n.row+5, n.row-1, n.column-1)
	}
	b.WriteString(`</xml>`)
	return b.String()
}

func (b *Book) stylesXML() string {
	var formats, cells strings.Builder
	var codes []string
	for _, s := range b.styles {
		id := 0
		switch s.Format {
		case "", "General":
		case "@":
			id = 49
		default:
			i := slices.Index(codes, s.Format)
			if i < 0 {
				i = len(codes)
				codes = append(codes, s.Format)
				fmt.Fprintf(&formats, `<numFmt numFmtId="%d" formatCode="%s"/>`, 164+i, escape(s.Format))
			}
			id = 164 + i
		}
		font, border := 0, 0
		switch {
		case s.Bold:
			font = 1
		case s.Faint:
			font = 2
		}
		if s.Ruled {
			border = 1
		}
		align := ""
		if s.Right {
			align += ` horizontal="right"`
		}
		if s.Wrap {
			align += ` vertical="top" wrapText="1"`
		}
		fmt.Fprintf(&cells, `<xf numFmtId="%d" fontId="%d" fillId="0" borderId="%d" xfId="0" applyNumberFormat="1" applyFont="1" applyBorder="1" applyAlignment="1">`, id, font, border)
		if align != "" {
			cells.WriteString(`<alignment` + align + `/>`)
		}
		cells.WriteString(`</xf>`)
	}
	number := ""
	if len(codes) > 0 {
		number = fmt.Sprintf(`<numFmts count="%d">%s</numFmts>`, len(codes), formats.String())
	}
	const font = `<sz val="11"/>`
	return `<styleSheet xmlns="` + mainSpace + `">` + number +
		`<fonts count="3"><font>` + font + `<name val="Calibri"/></font><font><b/>` + font + `<name val="Calibri"/></font><font><i/>` + font + `<color rgb="FF606060"/><name val="Calibri"/></font></fonts>` +
		`<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>` +
		`<borders count="2"><border><left/><right/><top/><bottom/><diagonal/></border><border><left/><right/><top/><bottom style="thin"><color rgb="FF000000"/></bottom><diagonal/></border></borders>` +
		`<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>` +
		fmt.Sprintf(`<cellXfs count="%d">%s</cellXfs>`, len(b.styles), cells.String()) +
		`<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>`
}

// ref names a cell: 3, 28 → "AB3".
func ref(row, column int) string {
	var letters []byte
	for n := column; n > 0; n = (n - 1) / 26 {
		letters = append(letters, byte('A'+(n-1)%26))
	}
	slices.Reverse(letters)
	return string(letters) + strconv.Itoa(row)
}

// number writes a value with as many digits as give it back.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// escape makes text safe in XML; characters that XML cannot hold become U+FFFD.
func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // writing to memory cannot fail
	return b.String()
}
