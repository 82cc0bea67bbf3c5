// Package truth holds what is known for certain about a rendered photo, and
// holds measurements against it.
//
// Photo is the truth of one photo as it stands in NAME.json beside NAME.jpg:
// camera, reference, wires, every piece of wood, and for each cane its centre
// line with millimetres, depth and diameter, its nodes and internodes, and how
// much of it the picture shows.
//
// Compare judges one Measurement by one Photo; Collect and Summarise bring
// many together by condition; WriteTable and WriteHTML tell people. The rules
// of comparison stand in Rules, each with its reason. The package knows
// nothing about how a photo is measured: whoever calls it hands over an
// assess.Measurer.
package truth
