// Package tabletest writes one table in every format that package tables
// reads, as instruments and spreadsheet programs would, for tests.
package tabletest

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// Rows parses a comma-separated table with comment lines, header first.
func Rows(text []byte) ([][]string, error) {
	r := csv.NewReader(bytes.NewReader(text))
	r.Comment = '#'
	return r.ReadAll()
}

// DecimalComma writes rows separated by semicolons, decimal commas in numbers.
func DecimalComma(rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Comma = ';'
	w.UseCRLF = true
	for i, row := range rows {
		out := append([]string(nil), row...)
		for j, c := range out {
			if _, err := strconv.ParseFloat(c, 64); err == nil && i > 0 {
				out[j] = strings.Replace(c, ".", ",", 1)
			}
		}
		_ = w.Write(out)
	}
	w.Flush()
	return append([]byte("\xef\xbb\xbfsep=;\r\n"), b.Bytes()...)
}

// XLSX writes rows as the first sheet of a workbook, numbers as numbers and
// reflectance shown in percent, as laboratories like it.
func XLSX(rows [][]string) ([]byte, error) {
	f := excelize.NewFile()
	defer f.Close()
	percent, err := f.NewStyle(&excelize.Style{NumFmt: 9})
	if err != nil {
		return nil, err
	}
	for i, row := range rows {
		for j, c := range row {
			at, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err != nil {
				return nil, err
			}
			if v, err := strconv.ParseFloat(c, 64); err == nil && i > 0 {
				err = f.SetCellValue("Sheet1", at, v)
				if band(rows[0][j]) != "" && err == nil {
					err = f.SetCellStyle("Sheet1", at, at, percent)
				}
				if err != nil {
					return nil, err
				}
			} else if c != "" {
				if err := f.SetCellStr("Sheet1", at, c); err != nil {
					return nil, err
				}
			}
		}
	}
	b, err := f.WriteToBuffer()
	if err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// band reads the wavelength of a column R400, "" for others.
func band(header string) string {
	if d, ok := strings.CutPrefix(header, "R"); ok && len(d) == 3 && d[0] >= '1' && d[0] <= '9' {
		return d
	}
	return ""
}

// CGATS writes rows as ISO 28178 text: spectra in percent under SPECTRAL_NORM
// 100, every other column as a field of its name in capitals.
func CGATS(rows [][]string) []byte {
	var b strings.Builder
	b.WriteString("CGATS.17\t\r\nORIGINATOR\t\"invented data: no real laundry\"\r\nCREATED \"2026-11-25\"\r\nKEYWORD \"ROLE\"\r\n")
	b.WriteString("SPECTRAL_NORM\t100\r\n")
	fmt.Fprintf(&b, "NUMBER_OF_FIELDS\t%d\r\nBEGIN_DATA_FORMAT\r\nSAMPLE_ID", len(rows[0])+1)
	for _, h := range rows[0] {
		name := strings.ToUpper(h)
		if nm := band(h); nm != "" {
			name = "SPECTRAL_NM" + nm
		}
		b.WriteString("\t" + name)
	}
	fmt.Fprintf(&b, "\r\nEND_DATA_FORMAT\r\nNUMBER_OF_SETS\t%d\r\nBEGIN_DATA\r\n", len(rows)-1)
	for i, row := range rows[1:] {
		fmt.Fprintf(&b, "%d", i+1)
		for j, c := range row {
			if band(rows[0][j]) != "" {
				c = Hundredfold(c)
			} else if c == "" || strings.ContainsAny(c, " #\"") {
				c = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
			}
			b.WriteString("\t" + c)
			if j == len(row)/2 { // old files wrap
				b.WriteString("\r\n")
			}
		}
		b.WriteString("\r\n")
	}
	b.WriteString("END_DATA\r\n")
	return []byte(b.String())
}

// Hundredfold moves the decimal point of "0.06272" two places: "6.272".
func Hundredfold(c string) string {
	whole, part, _ := strings.Cut(c, ".")
	part += "00"
	s := strings.TrimLeft(whole+part[:2], "0")
	if s == "" {
		s = "0"
	}
	if rest := strings.TrimRight(part[2:], "0"); rest != "" {
		s += "." + rest
	}
	return s
}

// CxF writes rows as a CxF3 document of ISO 17972-1: a spectrum per object, the
// role as its type and every other column as a tag.
func CxF(rows [][]string) []byte {
	var b strings.Builder
	escape := func(s string) string {
		var e strings.Builder
		_ = xml.EscapeText(&e, []byte(s))
		return e.String()
	}
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<cc:FileInformation><cc:Creator>invented data: no real laundry</cc:Creator></cc:FileInformation>
<cc:Resources><cc:ObjectCollection>
`)
	start, step, last := 0, 0, 0
	for i, row := range rows[1:] {
		var tags, values []string
		name, role := "", ""
		for j, c := range row {
			h := rows[0][j]
			if nm := band(h); nm != "" {
				values = append(values, c)
				nm, _ := strconv.Atoi(nm)
				if start == 0 {
					start = nm
				}
				if i == 0 {
					step, last = nm-last, nm
				}
				continue
			}
			if h == "role" {
				role = c
				continue
			}
			if h == "lot" || h == "panel" || h == "position" {
				name += "/" + c
			}
			if c != "" {
				tags = append(tags, fmt.Sprintf(`<cc:Tag Name="%s" Value="%s"/>`, escape(h), escape(c)))
			}
		}
		fmt.Fprintf(&b, `<cc:Object ObjectType="%s" Name="%s" Id="o%d"><cc:CreationDate>2026-11-25T10:00:00</cc:CreationDate><cc:ColorValues>`+
			`<cc:ReflectanceSpectrum ColorSpecification="s1">%s</cc:ReflectanceSpectrum></cc:ColorValues><cc:TagCollection>%s</cc:TagCollection></cc:Object>`+"\n",
			escape(role), escape(strings.TrimPrefix(name, "/")), i+1, strings.Join(values, " "), strings.Join(tags, ""))
	}
	fmt.Fprintf(&b, `</cc:ObjectCollection><cc:ColorSpecificationCollection><cc:ColorSpecification Id="s1"><cc:MeasurementSpec>`+
		`<cc:MeasurementType>Spectrum_Reflectance</cc:MeasurementType><cc:GeometryChoice><cc:SingleAngle/></cc:GeometryChoice><cc:WavelengthRange StartWL="%d" Increment="%d"/>`+
		`</cc:MeasurementSpec></cc:ColorSpecification></cc:ColorSpecificationCollection></cc:Resources>
<cc:CustomResources><x:Own xmlns:x="urn:invented"><x:Object Name="skipped"/></x:Own></cc:CustomResources></cc:CxF>
`, start, step)
	return []byte(b.String())
}
