package discharge

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"unicode"
)

// maxJSONDepth bounds how deep our JSON files may nest; they need 6 levels.
const maxJSONDepth = 32

// checkJSON refuses what encoding/json would let pass: keys that stand twice
// in an object, be it in another case (the last would win), nesting beyond need, and text after the
// value. It returns the offset of the fault.
func checkJSON(data []byte) (offset int64, err error) {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	type level struct {
		keys   map[string]bool // nil in a list
		expect bool            // a key comes next
	}
	var open []level
	for {
		token, err := dec.Token()
		if err == io.EOF && len(open) == 0 {
			return 0, nil
		}
		if err != nil {
			return dec.InputOffset(), err
		}
		top := len(open) - 1
		if s, ok := token.(string); ok && top >= 0 && open[top].keys != nil && open[top].expect {
			key := folded(s)
			if open[top].keys[key] {
				return dec.InputOffset(), fmt.Errorf("%q stands twice in one object, where case does not count", s)
			}
			open[top].keys[key], open[top].expect = true, false
			continue
		}
		switch token {
		case json.Delim('{'), json.Delim('['):
			if len(open) == maxJSONDepth {
				return dec.InputOffset(), fmt.Errorf("nested deeper than %d levels", maxJSONDepth)
			}
			l := level{}
			if token == json.Delim('{') {
				l = level{map[string]bool{}, true}
			}
			open = append(open, l)
			continue
		case json.Delim('}'), json.Delim(']'):
			open = open[:top]
			top--
		}
		if top >= 0 {
			open[top].expect = true
		} else if rest := bytes.TrimSpace(data[dec.InputOffset():]); len(rest) > 0 {
			return dec.InputOffset(), fmt.Errorf("text after the JSON value")
		}
	}
}

// folded is the same for all keys that encoding/json takes for one another.
func folded(key string) string {
	return strings.Map(func(r rune) rune {
		for {
			next := unicode.SimpleFold(r) // the next larger of those that fold to one, then the smallest
			if next <= r {
				return next
			}
			r = next
		}
	}, key)
}

// missingKey returns the first key that values of type t must have and data
// lacks, "" if none: every field that is not omitempty. Spelling counts.
func missingKey(data json.RawMessage, t reflect.Type) string {
	for t.Kind() == reflect.Pointer {
		if string(data) == "null" {
			return ""
		}
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Slice:
		var list []json.RawMessage
		if !holdsFields(t.Elem()) || json.Unmarshal(data, &list) != nil {
			return ""
		}
		for i, v := range list {
			if k := missingKey(v, t.Elem()); k != "" {
				return fmt.Sprintf("%s of item %d", k, i+1)
			}
		}
	case reflect.Struct:
		var have map[string]json.RawMessage
		if json.Unmarshal(data, &have) != nil {
			return "" // the decoder says what is wrong
		}
		for f := range t.Fields() {
			name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			if !f.IsExported() || name == "-" {
				continue
			}
			if name == "" {
				name = f.Name
			}
			v, ok := have[name]
			switch {
			case ok:
				if k := missingKey(v, f.Type); k != "" {
					return k + " in " + name
				}
			case !slices.Contains(strings.Split(options, ","), "omitempty"):
				return name
			}
		}
	}
	return ""
}

func holdsFields(t reflect.Type) bool {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	return t.Kind() == reflect.Struct
}
