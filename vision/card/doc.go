// Package card draws the scale card and the scale bar that hang on the wire
// when a vine is photographed, true to size on A4 or Letter, as PDF or SVG.
//
// A checker card is a black and white board of 9 x 6 squares of 15 mm with a
// white margin of one square; the square at its top left is black. A bar is a
// row of 20 blocks of 10 mm, 20 mm high, black first, with a white margin of
// 10 mm. Both have a strip above the margin for a soft clip, an outline to cut
// along, and beside it a check line of exactly 100 mm that the user measures
// once, because a printer that "fits to page" is the commonest error of all.
//
// Everything is laid out once as shapes in millimetres (Layout), then written
// by one of two small writers, so that PDF and SVG can't differ in size.
package card
