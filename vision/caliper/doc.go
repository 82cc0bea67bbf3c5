// Package caliper measures how thick a cane is along its centre line.
//
// In: an upright photo, its scale, and a traced line. Out: a Profile: the
// centre line refined and, every millimetre or two along it, the two edges to
// a fraction of a pixel with the diameter that follows.
//
// Method, from coarse to fine:
//
//   - The course of both edges is decided over the whole cane by what looks like
//     wood and what doesn't (likely.go), or, where the wood's colour isn't known,
//     by the steepest changes (course.go); the second time held to the even taper
//     that most of the cane agrees on.
//   - A shaded rim that looks like the ground shows in the mean over a long
//     stretch (rim.go). It is believed on the side that the sun doesn't reach,
//     which the canes of a photo tell together (light.go). Where it has the ground's
//     very colour it can't be seen; then the width of the part that the sun reaches
//     (crescent.go) tells it, since the sun stands in one place for all (sun.go).
//   - At each place the cross-section, averaged over a few millimetres along the
//     cane, is taken to linear light and projected on the direction in which wood
//     and ground beside that edge differ most for how much they vary (contrast.go).
//     A step blurred by the photo's own blur is fitted to it (side.go); levels and
//     the wood's shading are solved for inside (variable projection: G. Golub, V.
//     Pereyra, SIAM J. Numer. Anal. 10(2), 1973). Each edge is read by itself.
//   - Bright ground eats into the wood where a camera compresses highlights; by how
//     much is read on the reference (scale.Map.Shoulder).
//   - Where the readings leave the even taper for a stretch they are dropped, and
//     Taper gives the diameter that is to be expected there (taper.go).
//
// Where the model doesn't fit (another cane, a tie, a wire) there is no
// reading: its uncertainty is 0 and its diameter too.
package caliper
