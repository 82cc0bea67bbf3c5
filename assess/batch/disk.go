package batch

import (
	"errors"
	"syscall"

	"modernc.org/sqlite"
	sqlitelib "modernc.org/sqlite/lib"

	"nodespan/assess"
)

// onDisk puts into words what a full, failing or occupied disk means for a job,
// and leaves any other error as it is.
func onDisk(err *error) {
	var told *assess.Error
	if errors.As(*err, &told) {
		return
	}
	code := 0
	var fault *sqlite.Error
	if errors.As(*err, &fault) {
		code = fault.Code() & 0xff // without the extension, https://sqlite.org/rescode.html
	}
	switch {
	case errors.Is(*err, syscall.ENOSPC), errors.Is(*err, syscall.EDQUOT), code == sqlitelib.SQLITE_FULL:
		told = assess.Errorf(assess.EInternal, "The disk with the results is full. Make room there, then go on: what was measured until now is kept.")
	case errors.Is(*err, syscall.EROFS), code == sqlitelib.SQLITE_READONLY:
		told = assess.Errorf(assess.EInternal, "The folder of the results can't be written to any more. Change its rights, then go on: what was measured until now is kept.")
	case code == sqlitelib.SQLITE_BUSY:
		told = assess.Errorf(assess.EBusy, "Another program holds the database of the results. Close it, then go on: what was measured until now is kept.")
	case code == sqlitelib.SQLITE_IOERR:
		told = assess.Errorf(assess.EInternal, "The disk with the results failed or is full. Look at the disk, then go on: what was measured until now is kept.")
	default:
		return
	}
	told.Err = *err
	*err = told
}
