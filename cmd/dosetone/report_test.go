package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

// hostileLot is a lot's name as a stranger's file might hold it.
const hostileLot = `<script>alert(1)</script>' onload="x()`

// hostileLots are the lots of labLots with names that would run in a page that
// does not escape them.
func hostileLots() []byte {
	return bytes.ReplaceAll(labLots(), []byte("\nL3,"), []byte("\n\""+strings.ReplaceAll(hostileLot, `"`, `""`)+"\","))
}

// pageOf reads a page as a tree, and checks that nothing in it can run.
func pageOf(t *testing.T, name string) (*html.Node, string) {
	t.Helper()
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	doc, err := html.Parse(bytes.NewReader(data))
	require.NoError(t, err)
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode {
			assert.NotContains(t, []string{"script", "iframe", "object", "embed", "form", "base"}, n.Data, name)
			for _, a := range n.Attr {
				assert.False(t, strings.HasPrefix(strings.ToLower(a.Key), "on"), "%s: <%s %s>", name, n.Data, a.Key)
			}
		}
	}
	return doc, string(data)
}

func figuresOf(doc *html.Node) (ids []string) {
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode || n.Data != "svg" {
			continue
		}
		marks := 0
		for m := range n.Descendants() {
			for _, a := range m.Attr {
				if a.Key == "class" && a.Val == "mark" {
					marks++
				}
			}
		}
		for _, a := range n.Attr {
			if a.Key == "aria-labelledby" && marks > 0 {
				ids = append(ids, strings.TrimSuffix(strings.TrimPrefix(strings.Fields(a.Val)[0], "fig-"), "-t"))
			}
		}
	}
	return ids
}

func TestReportsEscapeNamesAndAreTheSameEveryTime(t *testing.T) {
	dir := workspace(t)
	require.NoError(t, os.WriteFile("hostile.csv", hostileLots(), 0o644))
	in := filepath.Join(dir, "hostile.csv")
	ok(t, "fit", in, "-o", "m.json", "--process", "permanganate-pellet", "--viewing", "D65/10", "--report", "fit.html")
	doc, text := pageOf(t, "fit.html")
	assert.Equal(t, fitFigures(), figuresOf(doc))
	assert.Contains(t, text, "&lt;script&gt;alert(1)&lt;/script&gt;")
	assert.NotContains(t, text, dir, "the page tells the folder")
	ok(t, "fit", in, "-o", "m.json", "--process", "permanganate-pellet", "--viewing", "D65/10", "--report", "again.html")
	again, err := os.ReadFile("again.html")
	require.NoError(t, err)
	assert.Equal(t, text, string(again))

	target := "id,L,a,b,illuminant,observer\n\"" + strings.ReplaceAll(hostileLot, `"`, `""`) + "\",44,-2.4,-10,D65,10\n"
	require.NoError(t, os.WriteFile("target.csv", []byte(target), 0o644))
	ok(t, "suggest", "m.json", "--target", "target.csv", "--report", "suggest.html")
	doc, text = pageOf(t, "suggest.html")
	assert.Equal(t, suggestFigures(), figuresOf(doc))
	assert.Contains(t, text, "&lt;script&gt;alert(1)&lt;/script&gt;")

	require.NoError(t, os.WriteFile("lots.csv", bytes.ReplaceAll(hostileLots(), []byte(",trial,"), []byte(",production,")), 0o644))
	r := tool(t, "", "check", "lots.csv", "--standard", "target.csv", "--model", "m.json", "--process", "permanganate-pellet", "--viewing", "D65/10", "--ledger", "l.csv", "--report", "check.html")
	require.Contains(t, []int{exitDone, exitOutside}, r.code, r.err)
	doc, text = pageOf(t, "check.html")
	ids := figuresOf(doc)
	for _, f := range checkFigures() {
		assert.Contains(t, ids, f)
	}
	assert.Contains(t, text, "&lt;script&gt;alert(1)&lt;/script&gt;")
	assert.NotContains(t, text, "<script")
}

func TestUnreachableTargetsHaveAPageToo(t *testing.T) {
	workspace(t)
	ok(t, "fit", "lots.csv", "-o", "m.json", "--process", "permanganate-pellet", "--viewing", "D65/10")
	ok(t, "suggest", "m.json", "--lab", "45,30,12", "--report", "red.html")
	doc, text := pageOf(t, "red.html")
	assert.Equal(t, []string{"strip", "path-lb", "path-ab"}, figuresOf(doc))
	assert.Contains(t, text, "Not reachable")
}

// The fewest lots, one of which cannot be left out, as nothing varies without
// it: the page says so and stands.
func TestPageOfTheFewestLots(t *testing.T) {
	workspace(t)
	file := "lot,role,strength_pct,ratio,time_min,panel,L,a,b\nBASE,base,,,,1,19.5,0.4,-8.9\nWHITE,white,,,,1,84.0,-1.5,5.5\n" +
		"L1,trial,4,1,8,1,27.8,-1.0,-11.6\nL2,trial,4,1,8,1,28.4,-1.1,-11.5\nL3,trial,4,1,8,1,27.1,-0.9,-11.7\nL4,trial,4,1,24,1,41.7,-2.4,-10.4\n"
	require.NoError(t, os.WriteFile("four.csv", []byte(file), 0o644))
	ok(t, "fit", "four.csv", "-o", "m.json", "--process", "permanganate-pellet", "--viewing", "D65/10", "--report", "fit.html")
	doc, text := pageOf(t, "fit.html")
	assert.Equal(t, fitFigures(), figuresOf(doc))
	assert.Contains(t, text, "Influence is not shown")
}

// Of many lots only those that were not accepted get a part of their own.
func TestPageOfManyLots(t *testing.T) {
	workspace(t)
	r := tool(t, "", "check", "trials.csv", "--standard", "standard.csv", "--tolerance", "6", "--report", "check.html", "--format", "json")
	require.Contains(t, []int{exitDone, exitOutside}, r.code, r.err)
	accepted, all := 0, decode[[]checkResult](t, r.out)
	for _, x := range all {
		if x.Verdict == "accept" {
			accepted++
		}
	}
	require.Greater(t, len(all), manyLots)
	require.Positive(t, accepted)
	doc, text := pageOf(t, "check.html")
	assert.Len(t, figuresOf(doc), 2*(len(all)-accepted)+1, "two figures a lot, and the bands")
	assert.Contains(t, text, "Only lots that were not accepted")
}

func TestFiguresOnRequest(t *testing.T) {
	workspace(t)
	ok(t, "fit", "lots.csv", "-o", "m.json", "--process", "permanganate-pellet", "--viewing", "D65/10")
	ok(t, "suggest", "m.json", "--lab", "44,-2.4,-10", "--figure", "contour=c.svg", "--figure", "pass=p.png", "--figure", "strip=s.pdf")
	for name, head := range map[string]string{"c.svg": "<svg", "p.png": "\x89PNG", "s.pdf": "%PDF"} {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		assert.True(t, bytes.HasPrefix(data, []byte(head)), name)
	}
	for _, c := range []struct {
		args []string
		code int
		say  string
	}{
		{[]string{"--figure", "pass"}, exitUsage, "NAME=FILE"},
		{[]string{"--figure", "pass=x.gif"}, exitUsage, ".svg, .png or .pdf"},
		{[]string{"--figure", "nonsense=x.svg"}, exitUsage, "contour"},
		{[]string{"--report", "-"}, exitUsage, "need a file"},
		{[]string{"--report", "m.json"}, exitUsage, "--report m.json would overwrite the input m.json"},
		{[]string{"--report", "no/such/x.html"}, exitFailed, "no such folder"},
	} {
		r := tool(t, "", append([]string{"suggest", "m.json", "--lab", "44,-2.4,-10"}, c.args...)...)
		assert.Equal(t, c.code, r.code, "%v: %s", c.args, r.err)
		assert.Contains(t, r.err, c.say)
		assert.Empty(t, r.out)
	}
}

// What the page says of single lots comes from their numbers: a lot whose
// reflectances are made a third higher, about 6 L*, is named, and the lot that
// pulls the curve most is.
func TestReadingsNameTheLotThatIsOff(t *testing.T) {
	workspace(t)
	data, err := os.ReadFile("trials.csv")
	require.NoError(t, err)
	r := csv.NewReader(bytes.NewReader(data))
	r.FieldsPerRecord, r.Comment = -1, '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	changed := 0
	for _, row := range rows {
		if row[0] != "T06" {
			continue
		}
		for j, name := range rows[0] {
			if len(name) == 4 && name[0] == 'R' {
				v, err := strconv.ParseFloat(row[j], 64)
				require.NoError(t, err)
				row[j] = strconv.FormatFloat(v*4/3, 'g', -1, 64)
				changed++
			}
		}
	}
	require.Equal(t, 8*31, changed)
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	require.NoError(t, w.WriteAll(rows))
	require.NoError(t, os.WriteFile("trials.csv", b.Bytes(), 0o644))
	ok(t, "fit", "trials.csv", "-o", "m.json", "--report", "fit.html")
	_, text := pageOf(t, "fit.html")
	assert.Contains(t, text, "T06 came out lighter than its settings promise")
	assert.Regexp(t, `lots? drives? the curve: T13\b`, text)
}
