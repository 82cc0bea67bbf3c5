package batch

import "nodespan/assess/notes"

// timeForm is how the camera's local time is kept: it has no zone.
const timeForm = "2006-01-02T15:04:05"

// takenAt is the time of taking that the camera wrote into the photo, else that
// of its last change, "" when there is neither.
func takenAt(data []byte) string {
	at := notes.Read(data).Taken
	if at.IsZero() {
		return ""
	}
	return at.Format(timeForm)
}
