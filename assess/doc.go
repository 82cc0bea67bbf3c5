// Package assess is the domain of nodespan: what a vine, a winter, a cane, a
// finding, a ruling and a choice are, and the rules by which canes are judged.
// It does no input or output and uses no cgo, so a test of a pruning rule
// compiles in a second.
//
// The words, in the order in which a photo meets them:
//
//   - A Measurement is what the program saw on one photo. It is never changed
//     after it was made.
//   - A finding is what the program suggests of one cane, with reasons. It
//     comes from a Measurement and a RuleSet, through Judge.
//   - A ruling is what a person said of a finding: agree, correct or reject.
//     Rulings are only ever added. The vine's state is read from rulings
//     alone; an unconfirmed finding never counts.
//   - A choice says what becomes of each cane this winter: fruiting cane,
//     spur, or removed.
//
// Lengths are millimetres for wood and metres for rows, angles are degrees,
// picture positions are pixels of the upright photo (origin at the centre of
// the top-left pixel, x right, y down). An Interval is a value with the bounds
// of its 95 % interval. Anything that can't be told is "too close to call" or
// "not measurable" with a reason, never a number that looks sure.
//
// The way through the files: ruleset.go and form.go hold what a block is judged
// by, rulefile.go reads and writes it as a file; combine.go and uncertainty.go
// turn nodes and a diameter profile into values with intervals; judge.go gives
// findings; ruling.go and confirmed.go hold what people said and what follows
// from it. choice.go, choosing.go, stand.go, placing.go, filling.go, spurs.go,
// laying.go and suggest.go make the choice; wishes.go, compare.go and whatif.go
// let a person change it and see what follows; plan.go puts it in the order of
// work. descent.go, lineage.go and winters.go hold a vine's winters together.
// descriptor.go, ampelography.go, budload.go, prunings.go, balance.go and
// preview.go hold a vine or a block against published scales and against
// itself; pairs.go counts how often people agreed; sentence.go, explain.go and
// caution.go speak to the person.
//
// What this package needs of the others it names as small interfaces, such as
// Measurer, which package vision fulfils and package main joins.
package assess
