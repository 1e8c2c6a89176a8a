// Command samenumbers compares two folders of results from two kinds of
// processor: the same files, the same text between the numbers, and the
// numbers equal to ten digits. Processors that fuse x*y+z round differently.
//
//	go run ./internal/samenumbers DIR DIR
package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: samenumbers DIR DIR")
		os.Exit(2)
	}
	if !compare(os.Args[1], os.Args[2]) {
		os.Exit(1)
	}
}

// small is what counts as zero: shades are known to 0.01, probabilities to 1e-3.
const small = 1e-6

// digits is how many must agree.
const digits = 10

func compare(a, b string) bool {
	names, err := filepath.Glob(filepath.Join(a, "*"))
	if err != nil || len(names) == 0 {
		fmt.Println("nothing to compare in", a)
		return false
	}
	number := regexp.MustCompile(`-?\d+(\.\d+)?([eE][-+]?\d+)?`)
	hash := regexp.MustCompile(`"file_sha256": "[0-9a-f]{64}"`) // of all digits, so it must differ
	good := true
	for _, name := range names {
		base := filepath.Base(name)
		x, err := os.ReadFile(name)
		y, err2 := os.ReadFile(filepath.Join(b, base))
		if err != nil || err2 != nil {
			fmt.Println(base, err, err2)
			good = false
			continue
		}
		x, y = hash.ReplaceAll(x, nil), hash.ReplaceAll(y, nil)
		if string(number.ReplaceAll(x, nil)) != string(number.ReplaceAll(y, nil)) {
			fmt.Printf("%-24s the text between the numbers differs\n", base)
			good = false
			continue
		}
		p, q := number.FindAllString(string(x), -1), number.FindAllString(string(y), -1)
		same, off, worst, at := 0, 0, 0.0, ""
		for i := range p {
			if p[i] == q[i] {
				same++
				continue
			}
			u, _ := strconv.ParseFloat(p[i], 64)
			v, _ := strconv.ParseFloat(q[i], 64)
			d := math.Abs(u-v) / math.Max(math.Max(math.Abs(u), math.Abs(v)), small)
			if d > worst {
				worst, at = d, p[i]+" and "+q[i]
			}
			if d > 0.5*math.Pow(10, -digits) {
				off++
			}
		}
		fmt.Printf("%-24s %6d numbers, %6d the same to the last digit, %4d not to %d digits; worst %.1e (%s)\n", base, len(p), same, off, digits, worst, at)
		good = good && off == 0
	}
	return good
}
