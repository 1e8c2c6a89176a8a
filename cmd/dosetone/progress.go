package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"
)

// patience is how long work may take before a terminal is told of it.
const patience = time.Second

// isTerminal reports whether w is a terminal.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0 && os.Getenv("TERM") != "dumb"
}

// progress tells a person at a terminal that work goes on, once it has taken
// longer than wait, and takes the line back when done is called. In a pipe it
// says nothing.
func progress(w io.Writer, what string, wait time.Duration) (done func()) {
	stop := make(chan struct{})
	var ended sync.WaitGroup
	ended.Go(func() {
		start, width := time.Now(), 0
		timer := time.NewTimer(wait)
		defer timer.Stop()
		for {
			select {
			case <-stop:
				if width > 0 {
					fmt.Fprintf(w, "\r%s\r", strings.Repeat(" ", width))
				}
				return
			case <-timer.C:
				line := fmt.Sprintf("%s: %.0f s; Ctrl-C ends it", what, time.Since(start).Seconds())
				fmt.Fprint(w, "\r"+line)
				width = max(width, len(line))
				timer.Reset(patience)
			}
		}
	})
	return func() {
		close(stop)
		ended.Wait()
	}
}
