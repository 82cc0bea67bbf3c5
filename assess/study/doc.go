// Package study holds what the program measured against what people measured by
// hand on the same canes, and tells how far the two agree: bias, limits of
// agreement, how often the intervals held, and what would have to change in the
// interval model.
//
// Take measures a folder of photos. What counts is the occasion: one photo of a
// vine, or two from two stances with the card left hanging, which are measured
// together and paired as in a batch (batch.Matcher.PairUp). What goes wrong with
// the card goes wrong in both, so they are one reading; to take them for two
// would make the program look as if it repeated itself. With Take.Alone each
// photo is an occasion of its own: then the study tells how far stances agree.
//
// A Hand is one line of the hand measurements, a Photo what the program saw of
// one vine on one occasion. Pair brings the two together, by number, by a person's rulings or by
// the cane's place on the wire, and says of each line that found no partner why.
// Report computes from the pairs; Page writes it as one page. The statistics are
// those of package agreement, with their sources there.
//
// A hand value is taken as the truth, with an uncertainty of its own: of the
// scatter of repeated readings of the same place where there are some, and of
// the planning value for a caliper on a cane where there are none.
package study
