package main

import (
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

// textWidth is the width to which prose is wrapped.
const textWidth = 96

// cautions prints the processes' cautions in short form, and who comes first.
func (e *env) cautions(processes ...discharge.Process) {
	if e.part {
		return
	}
	memory := false
	for _, p := range processes {
		e.printf("\nCautions: %s\n", p.Title)
		for _, c := range p.Cautions {
			text := c.Hazard + ": " + firstSentence(c.Text)
			if c.Source == discharge.FromMemory {
				text += " *"
				memory = true
			}
			e.printf("%s", report.Wrap(text, "  - ", "    ", textWidth))
		}
	}
	if memory {
		e.printf("  * %s\n", discharge.FromMemory)
	}
	e.printf("%s", report.Wrap(discharge.Deference, "", "", textWidth))
}

// firstSentence ends at the first full stop that ends a sentence.
func firstSentence(s string) string {
	if i := strings.Index(s, ". "); i >= 0 {
		return s[:i+1]
	}
	return s
}
