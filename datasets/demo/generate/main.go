// Command generate writes the CSV files of datasets/demo into the working
// directory. All of it is invented; equal seeds give equal bytes.
package main

import (
	"fmt"
	"os"
)

func main() {
	if err := run("."); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}

// run makes every file in memory before it writes the first.
func run(dir string) error {
	files, err := scenario()
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := os.WriteFile(dir+"/"+f.name, f.data, 0o644); err != nil {
			return err
		}
	}
	return nil
}
