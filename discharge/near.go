package discharge

import (
	"fmt"
	"strings"
)

// nearest returns the candidate that a mistyped word most likely means.
// It forgives one slip in three letters, a unit too many, too few or other, and
// any case, hyphen or blank.
func nearest(word string, candidates []string) (string, bool) {
	w := plain(word)
	if w == "" || len(w) > 64 { // no slip of the pen
		return "", false
	}
	best, distance := "", 1+max(1, len([]rune(w))/3)
	for _, c := range candidates {
		p := plain(c)
		d := editDistance(w, p)
		switch {
		case strings.HasPrefix(p, w+"_") || strings.HasPrefix(w, p+"_"):
			d = min(d, 1) // the unit is missing, or there is one too many
		case stem(w) != "" && stem(w) == stem(p):
			d = min(d, max(1, len(w)/3)) // the unit is another: when nothing is nearer
		case min(len(w), len(p)) <= 2 && d > 0:
			continue // everything is near to one or two letters
		}
		if d < distance {
			best, distance = c, d
		}
	}
	return best, best != ""
}

// didYouMean is the end of a message: "; did you mean …?" or nothing.
func didYouMean(word string, candidates []string) string {
	if n, ok := nearest(word, candidates); ok {
		return fmt.Sprintf("; did you mean %q?", n)
	}
	return ""
}

// stem is a name without its last word, "" when it has one word only.
func stem(s string) string { return s[:max(0, strings.LastIndexByte(s, '_'))] }

func plain(s string) string {
	return strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(strings.TrimSpace(s)))
}

// editDistance counts insertions, deletions, replacements and swaps of
// neighbors (optimal string alignment).
func editDistance(a, b string) int {
	x, y := []rune(a), []rune(b)
	before, last, row := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(y)]
}
