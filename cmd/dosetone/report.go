package main

import (
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/figure"
	"example.com/dosetone/cmd/dosetone/internal/page"
	"example.com/dosetone/discharge"
)

// reportFlags ask for a page and for single figures of it.
type reportFlags struct {
	file    string
	figures []string
}

// register adds the flags; names are the figures that the page has.
func (f *reportFlags) register(cmd *cobra.Command, names ...string) {
	cmd.Flags().StringVar(&f.file, "report", "", "HTML file for a page to read, print and pass on; it opens offline")
	if len(names) > 0 {
		cmd.Flags().StringArrayVar(&f.figures, "figure", nil, "one picture of the page as NAME=FILE.svg, .png or .pdf; names: "+strings.Join(names, ", "))
	}
}

func (f *reportFlags) wanted() bool { return f.file != "" || len(f.figures) > 0 }

// check refuses, before any work, what cannot be written.
func (f *reportFlags) check() error {
	files := []string{f.file}
	for _, s := range f.figures {
		_, file, ok := strings.Cut(s, "=")
		if !ok || file == "" {
			return usage("--figure %q: want NAME=FILE, such as path-lb=path.svg", s)
		}
		if ext := strings.ToLower(filepath.Ext(file)); !slices.Contains([]string{".svg", ".png", ".pdf"}, ext) {
			return usage("--figure %q: the file must end in .svg, .png or .pdf", s)
		}
		files = append(files, file)
	}
	if slices.Contains(files, "-") {
		return usage("reports and figures need a file: standard output carries the results")
	}
	return nil
}

// writeReport writes the page and the figures, each whole or not at all.
func (e *env) writeReport(f reportFlags, p *page.Page) error {
	type output struct {
		name string
		data []byte
	}
	var all []output
	pictures := map[string]figure.Figure{}
	var names []string
	for _, s := range p.Sections {
		for _, b := range s.Blocks {
			if b.Picture != nil {
				names = append(names, b.Picture.Figure.Name)
				pictures[b.Picture.Figure.Name] = b.Picture.Figure
			}
		}
	}
	for _, s := range f.figures {
		name, file, _ := strings.Cut(s, "=")
		g, ok := pictures[name]
		if !ok {
			return usage("--figure: there is no picture %q here; there are %s", name, strings.Join(names, ", "))
		}
		data, err := g.File(file)
		if err != nil {
			return err
		}
		all = append(all, output{file, data})
	}
	if f.file != "" {
		data, err := page.Render(p)
		if err != nil {
			return err
		}
		all = append(all, output{f.file, e.withoutFolders(data)})
	}
	for _, o := range all {
		if err := e.write(o.name, o.data); err != nil {
			return err
		}
	}
	return nil
}

// withoutFolders replaces the names of the command line's files, as warnings hold
// them, by their last part: a page goes to others, and folders are nobody's business.
func (e *env) withoutFolders(data []byte) []byte {
	var pairs []string
	for _, f := range e.named {
		if base := filepath.Base(f.name); base != f.name {
			pairs = append(pairs, f.name, base)
		}
	}
	return []byte(strings.NewReplacer(pairs...).Replace(string(data)))
}

// cautionSection lists every caution of processes in full.
func cautionSection(processes ...discharge.Process) page.Section {
	s := page.Section{ID: "cautions", Title: "Cautions"}
	for _, p := range processes {
		var notes []page.Note
		for _, c := range p.Cautions {
			notes = append(notes, cautionNote(c.Hazard, c.Text, c.Source))
		}
		s.Blocks = append(s.Blocks, page.Block{Notes: notes})
	}
	s.Blocks = append(s.Blocks, page.Block{Text: discharge.Deference})
	return s
}

func cautionNote(name, text, source string) page.Note {
	return page.Note{Name: capital(name) + ".", Text: text, Source: "(" + source + ")", Tone: "hot"}
}

// modelFoot says where a model comes from.
func modelFoot(m *discharge.Model) []page.Fact {
	p := m.Process()
	facts := []page.Fact{
		{Name: "Process", Value: p.Title + " (" + p.ID + ")"},
		{Name: "Viewing", Value: m.Viewing().String() + " (illuminant and observer of every L*, a*, b* here)"},
		{Name: "Trial data", Value: "SHA-256 " + m.Digest()},
	}
	return append(facts, toolFoot()...)
}

func toolFoot() []page.Fact {
	return []page.Fact{{Name: "Written by", Value: "dosetone " + version()},
		{Name: "Colors", Value: "swatches are shown as sRGB and as exact as the screen; judge shades on cloth under the buyer's light"}}
}

// warningSection is nil without warnings.
func warningSection(list []string) []page.Section {
	if len(list) == 0 {
		return nil
	}
	return []page.Section{{ID: "warnings", Title: "Warnings", Blocks: []page.Block{{List: list}}}}
}

// pathOf is the shade path as both of its pictures show it; what lies on it is added.
func pathOf(m *discharge.Model) figure.Path {
	const n = 61
	var p figure.Path
	for i := range n {
		level := float64(i) / (n - 1)
		p.Shades = append(p.Shades, m.ShadeAt(level))
		p.Off = append(p.Off, m.ScatterAt(level).LotOff)
	}
	return p
}

// stripOf is the path in swatches.
func stripOf(m *discharge.Model) figure.Strip {
	const n = 25
	var s figure.Strip
	for i := range n {
		s.Shades = append(s.Shades, m.ShadeAt(float64(i)/(n-1)))
	}
	return s
}
