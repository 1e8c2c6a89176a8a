// Command service answers questions about one model over HTTP, as JSON, for a
// production system or a dosing controller on the laundry's own network. It has
// no accounts and no encryption: put it behind what does.
//
//	go run ./examples/service model.json 127.0.0.1:8080
//	curl -H 'Content-Type: application/json' -d '{"settings": {"strength_pct": 6, "ratio": 1.3, "time_min": 14}}' 127.0.0.1:8080/predict
//	curl -H 'Content-Type: application/json' -d '{"lab": [48, -2.6, -9], "tolerance": 1.5}' 127.0.0.1:8080/suggest
package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/signal"
	"syscall"
	"time"

	"example.com/dosetone/discharge"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "service:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	if len(args) != 2 {
		return errors.New("want two arguments: the model file and the address, such as 127.0.0.1:8080")
	}
	f, err := os.Open(args[0])
	if err != nil {
		return err
	}
	model, err := discharge.Load(f)
	f.Close()
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", args[1])
	if err != nil {
		return err
	}
	fmt.Fprintln(os.Stderr, "service: listening on", l.Addr())
	return serve(ctx, l, newServer(handler(model)))
}

// newServer bounds what a slow or hostile client may hold.
func newServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 2 * time.Second,
		ReadTimeout:       5 * time.Second,
		WriteTimeout:      10 * time.Second,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
	}
}

// serve runs until ctx ends, then lets the requests at work finish.
func serve(ctx context.Context, l net.Listener, s *http.Server) error {
	failed := make(chan error, 1)
	go func() { failed <- s.Serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	if err := s.Shutdown(last); err != nil {
		return errors.Join(err, s.Close())
	}
	return nil
}
