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
// recognised (package wood): there a cane is a band of wood between two bands
// of ground. Where other wood lies against one edge the other one leads; where
// it lies against both, the band goes straight on for a bounded stretch. Bands
// that overlap each other's ends are spliced, and what Find had found counts
// only where nothing else runs.
//
// A Territory tells which line's wood covers a place, so that the caliper reads
// no cane's edge on another cane or on a wire.
//
// When unsure it drops: what is short, starts in the air or is mostly bridged
// is no cane, and says so among the dropped.
package trace
