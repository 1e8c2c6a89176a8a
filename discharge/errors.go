package discharge

import (
	"errors"
	"fmt"
	"strings"
)

// Sentinels that callers test for with errors.Is.
var (
	ErrTooFewLots    = errors.New("too few trial lots")
	ErrNoVariation   = errors.New("no factor varies between the trial lots")
	ErrNoSuchLots    = errors.New("no such lots")
	ErrWrongProcess  = errors.New("process does not match")
	ErrViewing       = errors.New("viewings differ")
	ErrCondition     = errors.New("measurement conditions differ")
	ErrUnknownFactor = errors.New("unknown factor")
	ErrModelFile     = errors.New("not a usable model file")
	ErrHazard        = errors.New("these settings must not be run")
	// ErrValue is any number among settings, bounds, options and targets that cannot be:
	// negative, not finite, beyond what there is, or an empty range.
	ErrValue = errors.New("a value that cannot be")
)

// valueError is an ErrValue under errors.Is and says what is wrong.
type valueError struct{ error }

func (valueError) Is(target error) bool { return target == ErrValue }

func (e valueError) Unwrap() error { return e.error }

func badValue(format string, args ...any) error { return valueError{fmt.Errorf(format, args...)} }

var errLevel error = valueError{errors.New("a level must be a finite number")}

// RowError locates a fault in a file: where it is, what stands there, and, in
// Err, what would be right.
type RowError struct {
	File   string
	Row    int    // 1-based line in the file; 0 when the fault is not on one line; -n for column n of a table with one column per reading
	Column string // header name; "" when the whole row is meant
	Value  string // the offending text; "" when something is missing
	Err    error
}

// Error formats as file:row: column "name": value "text": message, or, in a
// table with one column per reading, file: column n: row "name": ….
func (e *RowError) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	name := "column"
	switch {
	case e.Row > 0:
		fmt.Fprintf(&b, ":%d", e.Row)
	case e.Row < 0:
		fmt.Fprintf(&b, ": %s", place(e.Row))
		name = "row"
	}
	if e.Column != "" {
		fmt.Fprintf(&b, ": %s %q", name, e.Column)
	}
	if e.Value != "" {
		fmt.Fprintf(&b, ": value %q", e.Value)
	}
	b.WriteString(": ")
	b.WriteString(e.Err.Error())
	return b.String()
}

// Unwrap returns the underlying fault.
func (e *RowError) Unwrap() error { return e.Err }

// place names a line, or a column of a table with one column per reading.
func place(row int) string {
	if row == 0 {
		return "not from a file"
	}
	if row > 0 {
		return fmt.Sprintf("line %d", row)
	}
	var letters []byte // as a spreadsheet names it
	for n := -row; n > 0; n = (n - 1) / 26 {
		letters = append([]byte{byte('A' + (n-1)%26)}, letters...)
	}
	return fmt.Sprintf("column %d (%s)", -row, letters)
}
