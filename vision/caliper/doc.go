// Package caliper measures how thick a cane is along its centre line.
//
// In: an upright photo, its scale, and a traced line. Out: a Profile: the
// centre line refined and, every millimetre or two along it, the two edges to
// a fraction of a pixel with the diameter that follows.
//
// Method: at each place the cross-section, averaged over a few millimetres
// along the cane, is taken to linear light and a model is fitted to it in all
// three colours at once: background, wood, background, with both edges blurred
// by one Gaussian. The wood's brightness may fall towards either side, as that
// of a lit cylinder does. The levels are linear in the model and are solved
// for inside (variable projection: G. Golub, V. Pereyra, SIAM J. Numer. Anal.
// 10(2), 1973); only the two edges and the blur are searched.
//
// Where the model doesn't fit (another cane, a tie, a wire) there is no
// reading: its uncertainty is 0 and its diameter too.
package caliper
