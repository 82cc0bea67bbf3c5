// Package study holds what the program measured against what people measured by
// hand on the same canes, and tells how far the two agree: bias, limits of
// agreement, how often the intervals held, and what would have to change in the
// interval model.
//
// A Hand is one line of the hand measurements, a Photo what the program saw of
// one vine. Pair brings the two together, by number, by a person's rulings or by
// the cane's place on the wire, and says of each line that found no partner why.
// Report computes from the pairs; Page writes it as one page. The statistics are
// those of package agreement, with their sources there.
//
// A hand value is taken as the truth, with an uncertainty of its own: of the
// scatter of repeated readings of the same place where there are some, and of
// the planning value for a caliper on a cane where there are none.
package study
