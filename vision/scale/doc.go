// Package scale finds the reference in a photo and gives the mapping from
// pixels to millimetres on the wire plane.
//
// In: an upright photo.Photo. Out: a Map with the reference's kind and outline,
// a homography and its uncertainty, or the reason why there is none.
//
// The checkerboard is found by its inner corners. Each is a saddle of
// brightness whose surrounding ring shows two bright and two dark arcs;
// neighbours in a lattice have opposite polarity. A lattice is accepted only
// if it has exactly the card's number of corners, its squares are dark and
// bright as printed, and the margin around is white: a tiled wall, a fence or
// a checked shirt goes on where the card ends, and is refused by that. The
// corners are refined with OpenCV's sub-pixel routine on the full picture.
//
// The bar is found as a straight chain of equal dark blocks at twice their
// width, with nothing but white beyond both ends.
//
// When unsure it refuses. A reference whose scale would make the picture
// narrower or wider than any vine photo is refused as implausible.
package scale
