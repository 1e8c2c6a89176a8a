package discharge

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

var (
	errNotNumber    = errors.New("not a number; write digits only, the unit stands in the column name")
	errNoValue      = errors.New("stands for no value; leave the cell empty if it is optional, or delete the row and measure again")
	errThousands    = errors.New("has point and comma; write the number without separators of thousands")
	errDecimalComma = errors.New("has a decimal comma; write a point (in a workbook, enter it as a number; in an instrument's export, choose the point), or, in CSV, separate the columns with semicolon or tab")
)

// parseNumber reads a finite decimal number. sign is '.' or ',' when the text has one.
func parseNumber(s string, commaAllowed bool) (v float64, sign byte, err error) {
	s = strings.Replace(s, "−", "-", 1) // the typographic minus
	for i := range len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9', c == '+', c == '-', c == 'e', c == 'E':
		case c == '.' || c == ',':
			if sign != 0 {
				return 0, 0, errThousands
			}
			sign = c
		default:
			words := []string{"nan", "inf", "+inf", "-inf", "infinity", "na", "n/a", "#n/a", "#div/0!", "#value!", "null", "none", "--"}
			if slices.Contains(words, strings.ToLower(s)) {
				return 0, 0, errNoValue
			}
			return 0, 0, errNotNumber
		}
	}
	if sign == ',' {
		if !commaAllowed {
			return 0, 0, errDecimalComma
		}
		s = strings.Replace(s, ",", ".", 1)
	}
	if s == "-" || s == "--" {
		return 0, 0, errNoValue
	}
	v, err = strconv.ParseFloat(s, 64)
	if errors.Is(err, strconv.ErrRange) {
		return 0, 0, errors.New("is too large for a number")
	}
	if err != nil {
		return 0, 0, errNotNumber
	}
	if v == 0 {
		v = 0 // no negative zero
	}
	return v, sign, nil
}

// hundredth is v/100 for a cell that reads v. The decimal point is moved in
// the text, so that 6.272 % and 0.06272 are the same number; the quotient can
// differ in the last bit.
func hundredth(cell string, v float64) float64 {
	h, err := strconv.ParseFloat(strings.NewReplacer(",", ".", "−", "-").Replace(cell)+"e-2", 64)
	if err != nil { // an exponent already
		return v / 100
	}
	return h
}

// number reads the cell in row i, column j. A file that writes some numbers
// with a point and others with a comma is refused: 1,234 could be either.
func (l *layout) number(i, j int) (float64, error) {
	cell := l.Rows[i][j]
	v, sign, err := parseNumber(cell, l.DecimalComma)
	if err != nil {
		return 0, l.cellFault(i, j, err)
	}
	if sign != 0 {
		mine, other := &l.pointAt, &l.commaAt
		if sign == ',' {
			mine, other = other, mine
		}
		if *mine == "" {
			*mine = fmt.Sprintf("%s in %s", cell, place(l.Lines[i]))
		}
		if *other != "" {
			return 0, l.cellFault(i, j, fmt.Errorf("the file also has %s: write all numbers with a point or all with a comma", *other))
		}
	}
	return v, nil
}

func (l *layout) cellFault(i, j int, err error) error {
	if o := l.origin; o != nil && j >= o.from {
		return &RowError{File: o.name, Row: o.lines[i], Column: l.Header[j], Value: clip(l.Rows[i][j]), Err: err}
	}
	return l.fault(l.Lines[i], l.Header[j], clip(l.Rows[i][j]), err)
}
