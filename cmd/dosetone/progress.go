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

// A statusLine is a terminal with one line at the bottom that comes and goes;
// what else is written takes its place.
type statusLine struct {
	mu    sync.Mutex
	w     io.Writer
	width int // of the line that is shown
}

func (s *statusLine) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.erase()
	return s.w.Write(p)
}

func (s *statusLine) erase() {
	if s.width > 0 {
		fmt.Fprintf(s.w, "\r%s\r", strings.Repeat(" ", s.width))
		s.width = 0
	}
}

// show replaces the line; "" takes it away.
func (s *statusLine) show(line string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.erase()
	fmt.Fprint(s.w, line)
	s.width = len(line)
}

// progress tells a person at a terminal that work goes on, once it has taken
// longer than wait, and takes the line back when done is called.
func progress(s *statusLine, what string, wait time.Duration) (done func()) {
	stop := make(chan struct{})
	var ended sync.WaitGroup
	ended.Go(func() {
		start := time.Now()
		timer := time.NewTimer(wait)
		defer timer.Stop()
		for {
			select {
			case <-stop:
				s.show("")
				return
			case <-timer.C:
				s.show(fmt.Sprintf("%s: %.0f s; Ctrl-C ends it", what, time.Since(start).Seconds()))
				timer.Reset(patience)
			}
		}
	})
	return func() {
		close(stop)
		ended.Wait()
	}
}
