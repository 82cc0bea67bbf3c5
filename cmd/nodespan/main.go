// Command nodespan measures dormant vines in photos, suggests a pruning
// choice, and keeps what a person confirmed. It only wires: each subcommand
// parses its flags, opens what it needs and calls one function.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"
)

// version is set by the linker for a release build.
var version = "dev"

// Exit statuses, part of the command line's contract.
const (
	exitOK      = 0
	exitError   = 1
	exitUsage   = 2
	exitRefused = 3 // a photo could be read, but not measured
)

// A command is one subcommand; run gets the arguments after its name and
// returns the exit status.
type command struct {
	name, summary string
	run           func(ctx context.Context, args []string) int
}

// commands are listed in the order of the help text.
var commands = []command{
	{"serve", "serve the record to a browser; --demo with an invented estate", runServe},
	{"link", "make a one-time link: to join an estate, or to choose a new password", runLink},
	{"close", "end an account, or open it again", runClose},
	{"backup", "write the record into one file, also while it is served", runBackup},
	{"restore", "make a data folder from a backup", runRestore},
	{"check", "verify the record and every photo in it", runCheck},
	{"purge", "remove for good what was marked as deleted", runPurge},
	{"measure", "measure photos, as a table or as JSON", runMeasure},
	{"batch", "measure a folder of photos into tables, with resume", runBatch},
	{"study", "hold photos against measurements by hand", runStudy},
	{"card", "print the scale card or the scale bar, true to size", runCard},
	{"render", "make photos of vines of which everything is known", runRender},
	{"truth", "measure photos with known truth and tell how well", runTruth},
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := dispatch(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}

func dispatch(ctx context.Context, args []string) int {
	if len(args) == 0 {
		usage(os.Stderr)
		return exitUsage
	}
	switch args[0] {
	case "help", "-h", "--help":
		usage(os.Stdout)
		return exitOK
	case "version", "--version":
		fmt.Println("nodespan", version)
		return exitOK
	}
	if args[0] == onePhoto {
		return runOnePhoto(ctx)
	}
	for _, c := range commands {
		if c.name == args[0] {
			return c.run(ctx, args[1:])
		}
	}
	fmt.Fprintf(os.Stderr, "nodespan: there is no command %q. Known commands:\n\n", args[0])
	usage(os.Stderr)
	return exitUsage
}

func usage(w *os.File) {
	fmt.Fprintln(w, "nodespan COMMAND [options] [arguments]")
	fmt.Fprintln(w)
	for _, c := range commands {
		fmt.Fprintf(w, "  %-9s %s\n", c.name, c.summary)
	}
	fmt.Fprintln(w, "  version   print the version")
	fmt.Fprintln(w, "\nnodespan COMMAND -h tells a command's options.")
}

// fail prints err for a person and gives the exit status for it.
func fail(err error) int {
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(os.Stderr, "nodespan: stopped")
		return exitError
	}
	fmt.Fprintln(os.Stderr, "nodespan:", err)
	return exitError
}
