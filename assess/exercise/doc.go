// Package exercise is how pruning is taught by photos: a trainer picks vines,
// a participant chooses for each of them without seeing what the program or
// the trainer would do, and both are looked at together later.
//
//   - Seen is a vine as it was when the exercise was made; nothing that is
//     ruled later changes it. Show gives of it what the exercise's Mode lets a
//     participant see, and nothing else: what isn't in a Shown can't leak.
//
//   - A Choice is what somebody would do with each cane. Seal checks it, and
//     works out which bud a tap meant.
//
//   - Compare holds two choices against each other, cane by cane. Figures are
//     made of such comparisons by kind of decision, Mistakes say in which way
//     they differ again and again, and Group is the agreement of many.
//
// Neither the program's choice nor the trainer's is called right anywhere:
// figures say how far two choices agree.
//
// Canes of one vine aren't decided independently of each other, while the
// intervals of package agreement take them so: they are a little too narrow.
// Whoever shows one says so.
//
// Everything is plain data in and out, without I/O; errors that a person can
// act on are *assess.Error.
package exercise
