// Package stance finds how far canes stand off the wire from two photos of one
// vine, taken from two places with the card left hanging.
//
// In: a Side for each photo, its scale.Map and its measured canes. Out: a
// Result with where the two cameras stood, which cane of the one photo is which
// of the other, and for each a Course: depth along the cane, with uncertainty.
// All in the frame of the card (mm, x right, y down on its plane, z away from
// the camera), which is the same in both photos.
//
// Method:
//
//   - Each photo's homography gives a pose (scale.PoseOf: Z. Zhang, IEEE PAMI
//     22(11), 2000). From there the cards' corners in both photos are adjusted
//     together by least squares, with one focal length and one radial distortion
//     for both, since it is one lens; what is known of these beforehand
//     enters as observations (Hartley & Zisserman, Multiple View Geometry, 2nd
//     ed., chapters 8 and A6; the covariance of the unknowns follows).
//   - A place on a cane's line in the one photo is a line of sight. Where its
//     picture in the other photo, which moves with the supposed depth, meets a
//     cane's line there, that is the depth (plane-induced parallax, ibid. 13.3).
//   - A pair of canes belongs together when one smooth course of depth holds for
//     most of their length, with thickness and nodes as further signs. Other
//     pairs leave the zig-zag of the nodes behind as a residual. Pairs are
//     taken in the order of their score, each cane once.
//   - The uncertainty of a depth joins what the lines leave over, and the poses'
//     covariance, carried through by moving the unknowns along its columns (JCGM
//     100:2008, 5.2).
//
// When unsure it says nothing: a cane without a clear counterpart has no
// Course, stances too near to each other and photos that don't fit together
// give a Reason and no courses. A card that was slid along its wire by less
// than some centimetres can't be told from canes that all stand off the wire.
package stance
