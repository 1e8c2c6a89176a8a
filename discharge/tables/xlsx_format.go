package tables

import (
	"encoding/xml"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// cellFormat is what a number format changes about the meaning of a number.
type cellFormat byte

const (
	plainFormat cellFormat = iota
	dateFormat
	percentFormat
)

// readFormats reads the number format of every cell style (ECMA-376 part 1,
// 18.8.30: ids below 164 are built in).
func (b *book) readFormats(part string) error {
	custom := map[string]cellFormat{}
	inside := "" // the list of styles we are in
	return b.each(part, func(_ *xmlReader, e xml.StartElement) error {
		switch e.Name.Local {
		case "numFmt":
			if inside == "" { // those of conditional styles follow later
				custom[attr(e, "numFmtId")] = formatOf(attr(e, "formatCode"))
			}
		case "cellStyleXfs", "cellXfs", "cellStyles", "dxfs":
			inside = e.Name.Local
		case "xf":
			if inside != "cellXfs" {
				return nil
			}
			id := attr(e, "numFmtId")
			f, ok := custom[id]
			if !ok {
				f = builtInFormat(id)
			}
			b.formats = append(b.formats, f)
		}
		return nil
	})
}

// builtInFormat knows the dates and percentages among the built-in formats,
// those of East Asian versions included.
func builtInFormat(id string) cellFormat {
	n, err := strconv.Atoi(id)
	switch {
	case err != nil:
		return plainFormat
	case n == 9 || n == 10:
		return percentFormat
	case n >= 14 && n <= 22, n >= 27 && n <= 36, n >= 45 && n <= 47, n >= 50 && n <= 58:
		return dateFormat
	}
	return plainFormat
}

// formatOf reads a format code: letters of dates and times, or a percent sign,
// outside quotes, brackets and escapes.
func formatOf(code string) cellFormat {
	code, _, _ = strings.Cut(code, ";") // of positive numbers
	for i := 0; i < len(code); i++ {
		switch c := code[i]; c {
		case '"':
			end := strings.IndexByte(code[i+1:], '"')
			if end < 0 {
				return plainFormat
			}
			i += end + 1
		case '[':
			end := strings.IndexByte(code[i:], ']')
			if end < 0 {
				return plainFormat
			}
			if inner := strings.ToLower(code[i+1 : i+end]); inner != "" && strings.Trim(inner, "h") == "" || inner != "" && strings.Trim(inner, "m") == "" || inner != "" && strings.Trim(inner, "s") == "" {
				return dateFormat // elapsed time
			}
			i += end
		case '\\', '_', '*':
			i++ // the next character is meant as it is
		case '%':
			return percentFormat
		case 'y', 'm', 'd', 'h', 's', 'Y', 'M', 'D', 'H', 'S':
			return dateFormat
		}
	}
	return plainFormat
}

// format returns that of a style index as it stands in a cell.
func (b *book) format(style string) cellFormat {
	n, err := strconv.Atoi(style)
	if err != nil || n < 0 || n >= len(b.formats) {
		return plainFormat
	}
	return b.formats[n]
}

// numberText writes a stored number with as many digits as give it back.
func numberText(v float64) string {
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e15) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// hundredfold writes what a percentage shows: 0.065 is 6.5 %. Fifteen digits
// are those that a spreadsheet keeps, and hide the rounding of the product.
func hundredfold(v float64) string {
	p, err := strconv.ParseFloat(strconv.FormatFloat(100*v, 'g', 15, 64), 64)
	if err != nil {
		return numberText(100 * v)
	}
	return numberText(p)
}

// dateText writes the day, the time of day, or both that a serial number
// stands for.
func (b *book) dateText(serial float64) string {
	if b.from1904 {
		serial += 1462
	}
	if serial < 0 || serial > 2958466 { // the year 10000
		return numberText(serial)
	}
	// Before March 1900 the count is one day off, as it counts a 29 February
	// that was none; nobody dates a lot there.
	seconds := math.Round(serial * 86400)
	t := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).Add(time.Duration(seconds) * time.Second)
	clock := t.Format("15:04:05")
	switch {
	case seconds < 86400:
		return clock
	case clock == "00:00:00":
		return t.Format("2006-01-02")
	}
	return t.Format("2006-01-02 15:04:05")
}

// columnNumber reads the letters of a cell's reference, "AB12" → 28, 12.
func columnNumber(ref string) (column, row int, ok bool) {
	i := 0
	for i < len(ref) && i < 4 {
		c := ref[i] &^ 0x20
		if c < 'A' || c > 'Z' {
			break
		}
		column = column*26 + int(c-'A') + 1
		i++
	}
	row, err := strconv.Atoi(ref[i:])
	return column, row, err == nil && column > 0 && row > 0
}

// columnLetters is the reverse: 28 → "AB".
func columnLetters(n int) string {
	var out []byte
	for ; n > 0; n = (n - 1) / 26 {
		out = append(out, byte('A'+(n-1)%26))
	}
	slices.Reverse(out)
	return string(out)
}
