//go:build race

package api

// The race detector reserves terabytes of address space for itself, so tests
// that bound memory can't run with it.
const withRaceDetector = true
