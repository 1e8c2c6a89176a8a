// Package figure draws the pictures of reports: as SVG to stand in a page,
// whose colors are the page's, and as SVG, PNG or PDF files of their own.
//
// A figure is laid out once, in units that are about a pixel on a phone, on a
// surface that either writes SVG or draws on a canvas of gonum/plot. Only its
// canvases are used: its own plots carry fixed colors and fonts, and its root
// package reads twelve fonts whenever the tool starts.
//
// What shows data is a mark, with a title that says what it stands for. Labels
// stand beside what they name; color is never the only sign.
package figure
