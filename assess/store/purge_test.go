package store

import (
	"context"
	"fmt"
	"testing"
	"time"

	"nodespan/assess"
)

// A deleted photo is shown and counted nowhere, comes back whole, and is gone
// for good only after a purge, which leaves everything else as it was.
func TestDeleteAndPurge(t *testing.T) {
	s := filled(t)
	shown := func() (photos, waiting int, states []VineState) {
		ps, err := s.Photos(t.Context(), 1)
		if err != nil {
			t.Fatal(err)
		}
		_, n, err := s.Waiting(t.Context(), FirstEstate, 10)
		if err != nil {
			t.Fatal(err)
		}
		states, err = s.VineStates(t.Context(), 1)
		if err != nil {
			t.Fatal(err)
		}
		return len(ps), n, states
	}
	p0, w0, v0 := shown()
	for _, id := range []int64{1, 2} {
		if err := s.DeletePhoto(t.Context(), id, "Ada"); err != nil {
			t.Fatal(err)
		}
	}
	if p, w, v := shown(); p != p0-2 || w != w0-1 || v[0].Photos != v0[0].Photos-2 || v[0].Ruled != 0 {
		t.Errorf("%d photos, %d waiting, %+v after deleting two of %d, %d, %+v", p, w, v, p0, w0, v0)
	}
	for what, err := range map[string]error{
		"photo": second(s.Photo(t.Context(), 1)), "its estate": second(s.EstateOfPhoto(t.Context(), 1)), "its measurement's": second(s.EstateOfMeasurement(t.Context(), 1)),
	} {
		if assess.ErrorCode(err) != assess.ENotFound {
			t.Errorf("%s: %v, want not found", what, err)
		}
	}
	if all, err := s.DeletedPhotos(t.Context(), FirstEstate); err != nil || len(all) != 2 || all[0].By != "Ada" {
		t.Errorf("deleted: %+v %v", all, err)
	}
	if r, err := s.Purge(t.Context(), time.Hour, false); err != nil || r.Photos != 0 {
		t.Errorf("purged what was just deleted: %+v %v", r, err)
	}
	if err := s.UndeletePhoto(t.Context(), 2, "Ada"); err != nil {
		t.Fatal(err)
	}
	if r, err := s.Purge(t.Context(), 0, true); err != nil || r.Photos != 1 || r.Files != 1 {
		t.Errorf("dry: %+v %v", r, err)
	}
	sound(t, s)
	if r, err := s.Purge(t.Context(), 0, false); err != nil || r.Photos != 1 || r.Files != 1 {
		t.Errorf("purged: %+v %v", r, err)
	}
	if r := sound(t, s); r.Photos != 4 || r.Rulings != 0 {
		t.Errorf("after the purge: %+v", r)
	}
	if p, w, _ := shown(); p != p0-1 || w != w0 {
		t.Errorf("after the purge %d photos, %d waiting", p, w)
	}
	// The record refuses as before.
	for _, q := range []string{`DELETE FROM measurements`, `UPDATE measurements SET outcome = 'x'`, `DELETE FROM rulings`} {
		if _, err := s.AddRulings(t.Context(), 2, 0, "Ada", "", []NewRuling{ruling(1)}); err != nil && assess.ErrorCode(err) != assess.EConflict {
			t.Fatal(err)
		}
		if _, err := s.db.Exec(q); err == nil {
			t.Errorf("%s went through after a purge", q)
		}
	}
}

func second[T any](_ T, err error) error { return err }

// Whoever sends a photo again while it is purged has it kept, whichever of the
// two comes first.
func TestPurgeWhileSending(t *testing.T) {
	s := openStore(t)
	b := addBlock(t, s)
	for i := range 30 {
		data := fmt.Sprintf("photo %d", i)
		p := addPhoto(t, s, b, data)
		if err := s.DeletePhoto(t.Context(), p.ID, "Ada"); err != nil {
			t.Fatal(err)
		}
		done := make(chan error, 1)
		go func() { _, err := s.Purge(context.Background(), 0, false); done <- err }()
		again := addPhoto(t, s, b, data)
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		if again.ID == p.ID { // it came before the purge, and took the mark back
			if _, err := s.Photo(t.Context(), p.ID); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := s.PhotoBytes(again.SHA256); err != nil || string(got) != data {
			t.Fatalf("sent again while it was purged: %q, %v", got, err)
		}
	}
	sound(t, s)
}
