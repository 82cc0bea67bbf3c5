package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"time"

	"nodespan/api"
	"nodespan/assess/store"
	"nodespan/vision"
	"nodespan/vision/card"
)

// Defaults of serve.
const (
	defaultAddress = "127.0.0.1:8417"
	defaultData    = "nodespan-data"
	defaultDemo    = "nodespan-demo"
	// readHeader and idle close connections of clients that say nothing.
	readHeader = 10 * time.Second
	idle       = 2 * time.Minute
	// lastWords is how long open requests may take to end at a stop.
	lastWords = 5 * time.Second
)

// runServe opens the record and serves pages and API until it is stopped.
func runServe(ctx context.Context, args []string) int {
	fs := flag.NewFlagSet("nodespan serve", flag.ContinueOnError)
	address := fs.String("listen", defaultAddress, "host:port; the own machine only, as long as there are no accounts")
	data := fs.String("data", "", "folder of the record (default ./"+defaultData+", with --demo ./"+defaultDemo+")")
	demo := fs.Bool("demo", false, "fill a new folder with an invented estate, and serve it")
	workers := fs.Int("workers", 0, "photos measured at the same time (default: one less than processors)")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan serve [options]\n\nServes the record to a browser: photos in, findings to rule on, choices, vines.")
		fs.PrintDefaults()
	}
	if err := fs.Parse(args); err != nil {
		return afterParse(err)
	}
	if fs.NArg() > 0 {
		fmt.Fprintf(os.Stderr, "nodespan serve: %q isn't an option; name the folder with --data FOLDER\n", fs.Arg(0))
		return exitUsage
	}
	if err := api.CheckAddress(*address); err != nil {
		fail(err)
		return exitUsage
	}
	folder := *data
	if folder == "" {
		folder = defaultData
		if *demo {
			folder = defaultDemo
		}
	}
	if err := serve(ctx, *address, folder, *demo, *workers); err != nil {
		return fail(err)
	}
	return exitOK
}

func serve(ctx context.Context, address, folder string, demo bool, workers int) error {
	state, err := demoIn(folder)
	if err != nil {
		return err
	}
	if demo {
		if err := state.mayFill(folder); err != nil {
			return err
		}
	}
	// The address first: a second start on the same port changes nothing.
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("%s can't be listened on; perhaps nodespan runs already, or choose another with --listen: %w", address, err)
	}
	defer listener.Close()
	record, err := store.Open(ctx, folder)
	if err != nil {
		return err
	}
	defer record.Close()

	log := slog.New(slog.NewTextHandler(os.Stderr, nil))
	conf := api.Config{
		Store: record, Measurer: vision.New(version), Program: version, Log: log, Limits: api.Limits{Workers: workers},
		Card: func(w io.Writer, kind, paper, format string) error {
			return card.Write(w, card.Options{Kind: card.Kind(kind), Paper: card.Paper(paper), Format: card.Format(format)})
		},
	}
	if demo || state.is() {
		conf.Notice = "A demonstration: an invented estate, drawn vines, invented people."
	}
	// Measuring ends before the record is closed.
	working, endWork := context.WithCancel(ctx)
	defer endWork()
	server, err := api.New(working, conf)
	if err != nil {
		return err
	}
	web := &http.Server{Handler: server.Handler(), ReadHeaderTimeout: readHeader, IdleTimeout: idle, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
	served := make(chan error, 1)
	go func() { served <- web.Serve(listener) }()
	fmt.Printf("nodespan serves %s at http://%s  (stop with Ctrl-C)\n", folder, listener.Addr())

	filled := make(chan error, 1)
	if demo && !state.Filled {
		go func() { filled <- fillDemo(working, server, record, folder) }()
	} else {
		filled <- nil
	}
	for waiting := true; waiting; {
		select {
		case err := <-filled:
			filled = nil
			if err != nil && ctx.Err() == nil {
				log.Error("the demonstration could not be filled; what is there is served", "error", err)
			}
		case err = <-served:
			waiting = false
		case <-ctx.Done():
			err = nil
			waiting = false
		}
	}
	closing, cancel := context.WithTimeout(context.Background(), lastWords)
	defer cancel()
	endWork()
	if stopped := web.Shutdown(closing); stopped != nil {
		web.Close() // watchers of progress don't end by themselves
	}
	server.Close()
	if filled != nil {
		<-filled
	}
	if err != nil && !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
