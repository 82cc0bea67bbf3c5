// Package vision turns a photo of a dormant vine into a Measurement. It is the
// only package that uses OpenCV; it knows no HTTP and no database.
//
// The stages, each a package with one entry, in the order of a photo's way:
//
//	photo    decode within limits, upright
//	scale    find the reference; pixels to millimetres on the wire plane
//	wood     where something long and narrow runs
//	trace    centre lines of canes; wires and old wood told apart
//	caliper  the two edges across the centre line, to a fraction of a pixel
//	nodes    the joints along the cane
//	stance   with a second photo: how far canes stand off the card's plane
//
// Measurer joins them; assess.Derive then makes medians and intervals of the
// readings.
package vision
