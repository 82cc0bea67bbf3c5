// Package nodes finds the joints of a cane from its profile.
//
// In: a caliper.Profile. Out: nodes with their place along the cane, the side
// of the bud where it shows, and a confidence.
//
// At a node the cane swells, mostly towards the bud, and often bends; in
// between it is even. The profile's width over its own base level gives a
// score for every place. Which maxima are nodes is decided over the whole cane
// at once: dynamic programming takes the sequence with the best sum of scores
// and of how well each internode agrees with the one before, since neighbouring
// internodes are about equally long.
//
// That is done twice. The first time the swelling, unusual brightness and its two
// flanks alone speak for a node: light comes from above, so that the upper flank of
// a swelling is brighter than its lower one. From what is found so on all canes of a photo, which have
// the same light and much the same bark, the look of a node is learned
// (learn.go): swellings of both edges, brightness across and redness over some
// centimetres about it, by a linear discriminant; and nodes are looked for
// again by their look. Where one lies exactly its swelling tells. Where a wire or another cane hides the wood, a node is as
// likely as not, and the rhythm of the others decides.
//
// When unsure it leaves a node out: one that is missing shows to the person as
// a double internode, one too many hides between others.
package nodes
