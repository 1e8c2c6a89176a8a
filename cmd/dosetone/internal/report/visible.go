package report

import "bytes"

// Visible replaces the characters that reorder or hide text, or give orders to a
// terminal, by U+FFFD: all controls but line ends and tabs. Names come from
// files of others.
func Visible(text []byte) []byte {
	return bytes.Map(func(r rune) rune {
		switch {
		case r == '\u061C', r == '\u200E', r == '\u200F', r >= '\u202A' && r <= '\u202E', r >= '\u2066' && r <= '\u2069':
			return '\uFFFD' // marks, embeddings, overrides, isolates (Unicode UAX #9)
		case r >= '\u200B' && r <= '\u200D', r == '\u2060', r == '\uFEFF':
			return '\uFFFD' // without width
		case r < ' ' && r != '\n' && r != '\t', r >= 0x7F && r < 0xA0, r == '\u2028', r == '\u2029':
			return '\uFFFD'
		}
		return r
	}, text)
}
