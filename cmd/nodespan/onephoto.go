package main

import (
	"context"
	"fmt"
	"os"

	"nodespan/api/apart"
	"nodespan/vision"
)

// onePhoto is the command by which the program starts itself to measure one
// photo in a process of its own. It isn't for people, so no help names it.
const onePhoto = "one-photo"

func runOnePhoto(ctx context.Context) int {
	if err := apart.Serve(ctx, os.Stdin, os.Stdout, vision.New(version)); err != nil {
		fmt.Fprintln(os.Stderr, "nodespan:", err)
		return exitError
	}
	return exitOK
}

// measuringApart measures in processes of this same program.
func measuringApart() (*apart.Runner, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return &apart.Runner{Command: []string{self, onePhoto}}, nil
}
