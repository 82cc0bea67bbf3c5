// Package trace follows canes.
//
// In: an upright photo, its scale, and the wood stage's seeds. Out: centre
// lines of canes, base first, of wires and of old wood, and what was followed
// but not taken, with the reason.
//
// A cane is a ribbon: two edges a plausible distance apart that go on
// together. From each seed a ribbon is followed both ways. At each step the
// cross-sections over a short window along the expected direction are
// averaged, so that grass and bark average out and what is parallel to the
// cane stays; among the pairs of edges in that mean section the one is taken
// that best continues place and width. Where another cane, a tie or a wire
// hides the edges the ribbon is carried on straight for a bounded stretch.
// Ribbons that go on from each other beyond a crossing are then joined.
//
// That is Find, which knows nothing of the wood's colour and so finds the clear
// canes only. Again follows a second time, on the likeness to the wood that was
// recognised (package wood). There a
// cane is a band of wood between two bands of ground. Several suppositions of
// where it goes are followed at a time (a beam search, as B. Lowerre's for
// speech, 1976), and what comes within the next few centimetres decides between
// them, so that a crossing is gone through straight. A way ends where the most
// evidence was, once too much was lost after it. What was followed claims its
// wood: for those that come after it says neither that they are wood there nor
// that they aren't. All is done twice, the second time in the order of the
// clearest canes, so that what is thin and short can't take a piece of what is
// long.
//
// What Find had found counts only where nothing else runs and only if it turned
// out to have the wood's colour. Among the lines of
// the second look the wood's own colour says most (learned.go): posts and old
// wood look less like it. A line whose base other wood hides counts when its
// base is low or its tip reaches high, since canes of the next row do neither.
//
// A Territory tells which line's wood covers a place, so that the caliper reads
// no cane's edge on another cane or on a wire.
//
// When unsure it drops: what is short, starts in the air or is mostly bridged
// is no cane, and says so among the dropped.
package trace
