// Package store keeps the record of an estate in one folder:
//
//	nodespan.db     SQLite: blocks, vines, photos, measurements, rulings, choices
//	photos/ab/abc…  the photos, each named by the SHA-256 of its bytes
//	previews/       smaller copies made from the photos; may be deleted at any time
//	unclaimed/      photo files set aside after a crash: whole, but nobody was told so
//	backups/        copies of the database from before its form changed
//	jobs/ID/        photos, state and tables of a job that measures many
//
// What the words mean here:
//
//   - A photo is stored once and never modified. Its file is written under a
//     temporary name, synced, renamed, and its folder synced; only then does
//     its row come, so a row never points at a file that isn't whole.
//
//   - An ask is a request to measure a photo, by itself or with two marks. It
//     waits until it has a measurement or a failure; what waits when the
//     program ends is found again at the next start.
//
//   - A measurement answers one ask. Rulings and choices point at one. None of
//     the three is ever updated or deleted: triggers in the database refuse it.
//
//   - Rulings on one measurement are numbered 1, 2, 3, … A writer says which
//     number it saw last; when somebody else wrote meanwhile it gets an
//     *Conflict error with what is there now, and nothing is written.
//
//   - A block is judged by a rule set and pruned to a form from a winter on;
//     every version of both is kept. A saying is what a person said of a vine in
//     a winter that isn't of one photo. Neither is ever updated or deleted.
//
//   - Counts follow from all that. They are kept beside it for the pages, and
//     can be made anew at any time.
//
//   - An estate owns blocks, and through them all else. Accounts are its members
//     in a role. Of passwords, links, sessions and tokens only hashes are kept.
//
//   - An exercise keeps its vines as they were when it was made. A sealed choice
//     is one attempt at such a vine; it can be withdrawn, and then another one be
//     made. Nothing of that is ever updated or deleted. Of a vine in an exercise
//     somebody sees nothing else until HiddenVines doesn't name it any more.
//
//   - Deleting is a mark on a photo, which hides it and what was said of it;
//     Purge alone removes.
//
//   - A backup is one tar file with the database and the photos (archive.go).
//
// All times are UTC with nanoseconds (RFC 3339), all JSON is what package
// assess marshals. Errors that a person can act on are *assess.Error.
package store
