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
// When unsure it drops: what is short, starts in the air or is mostly bridged
// is no cane, and says so among the dropped.
package trace
