//go:build !race

package apart

const withRaceDetector = false
