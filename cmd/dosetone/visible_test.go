package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

// Names from files give the terminal no orders, wherever they appear.
func TestNamesGiveTheTerminalNoOrders(t *testing.T) {
	const orders = "\x1b[31mX\x1b]0;title\x07\u009b2J"
	for _, text := range []string{
		"id,L,a,b,illuminant,observer\n\"" + orders + "\",50,1,1,D65,10\n",
		"id,L,a,b,illuminant,observer\n\"" + orders + "\",fifty,1,1,D65,10\n",            // an error
		"id,L,a,b,illuminant,observer,\"" + orders + "\"\nA,50,1,1,D65,10," + "x\n",      // a warning
		"id,L,a,b,illuminant,observer\nA,50,1,1,\"" + orders + "\",10\n",                 // an error
		"id,red,green,blue,\"" + orders + "\"\n\"\u202e" + orders + "\",10,20,30,\"\"\n", // text that runs backwards
	} {
		r := tool(t, text, "convert", "-")
		require.NotEmpty(t, r.out+r.err)
		require.NotContains(t, r.out+r.err, "\x1b")
		require.NotContains(t, r.out+r.err, "\x07")
		require.NotContains(t, r.out+r.err, "\u009b")
		require.NotContains(t, r.out+r.err, "\u202e")
	}
	// Data are data.
	r := tool(t, "id,L,a,b,illuminant,observer\n\""+orders+"\",50,1,1,D65,10\n", "convert", "-", "--format", "csv")
	require.Contains(t, r.out, orders)

	e := &env{swatches: true}
	block := e.swatch(colorimetry.Lab{L: 50, A: -2, B: -9})
	require.Contains(t, block, "\x1b")
	got := string(e.visible([]byte("a " + block + " \x1b[31mb" + block)))
	require.Equal(t, "a "+block+" \ufffd[31mb"+block, got)
	require.Equal(t, 4, strings.Count(got, "\x1b"), "our own orders stay")
}
