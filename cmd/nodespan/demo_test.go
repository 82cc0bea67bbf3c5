package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"nodespan/assess"
)

// A demonstration goes into a new or empty folder, or where one was made
// before; it never touches anything else.
func TestDemoFolder(t *testing.T) {
	base := t.TempDir()
	used := filepath.Join(base, "used")
	if err := os.MkdirAll(used, 0o750); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(used, "nodespan.db"), []byte("a record"), 0o600); err != nil {
		t.Fatal(err)
	}
	state, err := demoIn(used)
	if err != nil {
		t.Fatal(err)
	}
	if err := state.mayFill(used); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a folder in use: %v, want a refusal", err)
	}
	if entries, err := os.ReadDir(used); err != nil || len(entries) != 1 {
		t.Errorf("the refusal touched the folder: %v, %v", entries, err)
	}

	fresh := filepath.Join(base, "fresh")
	if state, err = demoIn(fresh); err != nil || state.is() {
		t.Fatalf("%+v, %v", state, err)
	}
	if err := state.mayFill(fresh); err != nil {
		t.Fatal(err)
	}
	if state, err = demoIn(fresh); err != nil || !state.is() || state.Filled || state.mayFill(fresh) != nil {
		t.Errorf("a filling that was stopped: %+v, %v; want it to go on", state, err)
	}
	if err := (demoState{Filled: true}).write(fresh); err != nil {
		t.Fatal(err)
	}
	if state, err = demoIn(fresh); err != nil || !state.Filled || state.mayFill(fresh) != nil {
		t.Errorf("a demonstration made before: %+v, %v; want it served", state, err)
	}
}

func TestLastJanuary(t *testing.T) {
	for now, want := range map[string]int{"2026-11-25": 2026, "2027-01-10": 2026, "2027-06-30": 2026, "2027-07-01": 2027} {
		day, err := time.Parse(time.DateOnly, now)
		if err != nil {
			t.Fatal(err)
		}
		if got := lastJanuary(day).Year(); got != want {
			t.Errorf("at %s: January %d, want %d", now, got, want)
		}
	}
}

func TestServeUsage(t *testing.T) {
	for _, args := range [][]string{{"--listen", "0.0.0.0:80"}, {"folder"}, {"--no-such"}} {
		if code := runServe(t.Context(), args); code != exitUsage {
			t.Errorf("serve %v: exit status %d, want %d", args, code, exitUsage)
		}
	}
}
