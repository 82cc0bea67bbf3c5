// Package batch measures many photos through one assess.Measurer and makes
// tables of them that can be published.
//
// What the words mean here:
//
//   - A job is a folder of photos and what became of each. Its state lies in
//     one SQLite file in the folder of the results, so a job that was stopped,
//     killed or cut off goes on where it was. One process works on a job at a
//     time.
//   - A result is what a program made of a photo's bytes. It is found by the
//     SHA-256 of the bytes and of the program, so nothing is measured twice,
//     and a renamed or copied photo isn't either. Findings are judged anew when
//     the tables are written: another rule set costs no measuring.
//   - Two photos of a vine from two stances are measured together, which shows
//     depth; what was made of the pair is a result of its own, found by both
//     contents. A vine's canes count by one photo (pairs.go).
//   - A photo that can't be read or measured is a row with its reason. One over
//     which the program itself ended three times is a failure too.
//   - A place is the vine that a photo shows (place.go).
//   - A table is photos, canes or internodes, one row each; its columns are the
//     fields of one struct, with unit, meaning and source in their tags
//     (rows.go), from which all formats and the dictionary are made.
//
// The tables are written in the order of the photos' paths, whatever the order
// of measuring was, with no time or machine in them: the same photos, program
// and rule set give the same bytes with any number of workers. What differs
// from run to run stands in run.json alone.
//
// The way through the files: job.go opens a job; find.go looks for photos;
// pairs.go tells which are measured together; measure.go, taken.go and run.go
// measure them; name.go, list.go, walk.go and place.go
// tell whose vine they show; rows.go, table.go, parquet.go, workbook.go,
// lines.go and brapi.go write tables; tally.go, summary.go, plots.go and
// methods.go make the summary; sample.go draws canes to check by hand.
package batch
