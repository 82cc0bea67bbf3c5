//go:build !race

package api

const withRaceDetector = false
