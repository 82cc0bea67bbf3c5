package batch

import (
	"slices"
	"strings"
)

// A Shot is what a photo outside of a job is placed and paired by.
type Shot struct{ photo photo }

// ShotOf takes what that needs from a photo's bytes; path is its path below the
// folder, as names and lists are held against it.
func ShotOf(path string, data []byte) Shot {
	return Shot{photo{path: path, sha: sumOf(data), taken: takenAt(data)}}
}

// Path is the photo's path below the folder.
func (s Shot) Path() string { return s.photo.path }

// PlaceOf tells where a photo belongs that is in no job: a place without a vine
// when nothing tells it.
func (m *Matcher) PlaceOf(s Shot) Place { return m.Place(s.photo) }

// Pairing is how the photos of a folder stand to each other, by their paths.
type Pairing struct {
	Second map[string]string // of a first photo: the one from a step aside that shows its depth
	CopyOf map[string]string // of a copy: the photo that stands for the same bytes
}

// PairUp pairs the photos of a folder as a job pairs them.
func (m *Matcher) PairUp(shots []Shot) Pairing {
	out := Pairing{map[string]string{}, map[string]string{}}
	var all []planned
	for _, s := range shots {
		all = append(all, planned{photo: s.photo})
	}
	slices.SortFunc(all, func(a, b planned) int { return strings.Compare(a.path, b.path) })
	for path, second := range secondsOf(all, m) {
		out.Second[path] = second.path
	}
	original := originals(all, m)
	for _, p := range all {
		if o := original[p.sha]; o != p.path {
			out.CopyOf[p.path] = o
		}
	}
	return out
}
