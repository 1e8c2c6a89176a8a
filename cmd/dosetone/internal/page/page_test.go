package page

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"example.com/dosetone/cmd/dosetone/internal/figure"
	"example.com/dosetone/colorimetry"
)

const hostile = `<script>alert(1)</script><img src=x onerror=alert(1)>" onmouseover='x' ` + "\u202e\u2066\u200f\u0000" + `{{.}}&lt;`

func sample() *Page {
	strip := figure.Strip{Shades: []colorimetry.Lab{{L: 20}, {L: 50}, {L: 80}}, Marks: []figure.StripMark{{Name: hostile, Level: 0.4}}}
	return &Page{Kind: hostile, Title: hostile, Lead: hostile, Facts: []Fact{{hostile, hostile, hostile}}, Foot: []Fact{{Name: hostile, Value: hostile}},
		Sections: []Section{{ID: "one", Title: hostile, Blocks: []Block{
			{Verdict: &Verdict{Sign: "✓", Word: hostile, Text: hostile, Tone: "good"}},
			{Text: hostile}, {List: []string{hostile}}, {Steps: []Step{{hostile, hostile, hostile}}}, {Notes: []Note{{hostile, hostile, hostile, "hot"}}}, {Sign: []string{hostile}}, {Heading: hostile},
			{Picture: &Picture{Figure: figure.NewStrip("strip", strip), Reading: []string{hostile}, Caption: hostile}},
			{Table: &Table{Caption: hostile, Header: []string{hostile, "b"}, Rows: [][]Cell{{{Text: hostile}, {Text: "2", Swatch: "#102030"}}, {{Text: "x"}, {Swatch: `red;background:url(http://example.com)`}}}, Tick: true, Emphasis: 1}},
		}}}}
}

func TestPageEscapesWhateverNamesHold(t *testing.T) {
	data, err := Render(sample())
	require.NoError(t, err)
	text := string(data)
	for _, r := range []string{"\u202e", "\u2066", "\u200f", "\u0000"} {
		assert.NotContains(t, text, r)
	}
	doc, err := html.Parse(strings.NewReader(text))
	require.NoError(t, err)
	kinds := map[string]int{}
	ids := map[string]bool{}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		kinds[n.Data]++
		for _, a := range n.Attr {
			assert.False(t, strings.HasPrefix(a.Key, "on"), "<%s %s>", n.Data, a.Key)
			if a.Key == "href" || a.Key == "src" {
				assert.Equal(t, "data:,", a.Val)
			}
			if a.Key == "style" {
				assert.Contains(t, []string{"background:#102030", ""}, a.Val)
			}
			if a.Key == "id" {
				assert.False(t, ids[a.Val], "id %s twice", a.Val)
				ids[a.Val] = true
			}
		}
		switch n.Data {
		case "th":
			scope := ""
			for _, a := range n.Attr {
				if a.Key == "scope" {
					scope = a.Val
				}
			}
			assert.Contains(t, []string{"col", "row"}, scope)
		case "svg":
			assert.Equal(t, "img", attribute(n, "role"))
			for id := range strings.FieldsSeq(attribute(n, "aria-labelledby")) {
				assert.Contains(t, text, `id="`+id+`"`)
			}
		}
	}
	assert.Zero(t, kinds["script"])
	assert.Zero(t, kinds["img"])
	assert.Zero(t, kinds["iframe"])
	assert.Equal(t, 1, kinds["h1"])
	assert.Equal(t, 1, kinds["caption"])
	assert.Equal(t, 1, kinds["svg"])
	assert.NotContains(t, text, "http://example.com")
	assert.Contains(t, text, "&lt;script&gt;alert(1)&lt;/script&gt;")
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func TestPageIsTheSameEveryTime(t *testing.T) {
	a, err := Render(sample())
	require.NoError(t, err)
	b, err := Render(sample())
	require.NoError(t, err)
	assert.Equal(t, string(a), string(b))
}

func TestTwoFiguresOfOneNameAreRefused(t *testing.T) {
	p := sample()
	p.Sections = append(p.Sections, p.Sections[0])
	_, err := Render(p)
	require.ErrorContains(t, err, "two figures")
}
