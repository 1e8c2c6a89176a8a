package main

import (
	"strings"

	"example.com/dosetone/discharge"
)

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
			e.wrap(text, "  - ", "    ")
		}
	}
	if memory {
		e.printf("  * %s\n", discharge.FromMemory)
	}
	e.wrap(discharge.Deference, "", "")
}

// firstSentence ends at the first full stop that ends a sentence.
func firstSentence(s string) string {
	if i := strings.Index(s, ". "); i >= 0 {
		return s[:i+1]
	}
	return s
}
