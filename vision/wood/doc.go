// Package wood finds where in the picture something long and narrow runs that
// can be wood, at any width between that of a thin cane and a trunk.
//
// In: an upright photo and its scale. Out: a Field, with a list of Seeds:
// places with a direction and a rough width, strongest first, for the trace
// stage to start from; and the picture itself as floats for sampling.
//
// Method: second derivatives of the three colour channels at several widths.
// In each channel the Hessian is squared and the squares are added, so that a
// ribbon counts whether it is brighter or darker than what is behind it, or
// only of another colour (after C. Steger, IEEE PAMI 20(2), 1998, for lines in
// one channel). The sum is averaged over a small neighbourhood: along a cane
// the directions agree and along grass they don't, which the coherence of the
// averaged tensor tells apart.
//
// Colours.Learn then takes what the trace stage has recognised and makes a Likeness:
// for every pixel the log odds that its colour is that of the recognised wood
// rather than of the rest of the photo. Nothing is assumed of bark, light or
// white balance; all is in the photo itself. What is followed is followed on a
// copy of the photo; Fine says the same of the photo's own pixels, where they are
// asked for, since edges are read there.
//
// When unsure it keeps the seed: it only proposes, the trace stage decides.
package wood
