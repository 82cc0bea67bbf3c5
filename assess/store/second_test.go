package store

import (
	"fmt"
	"testing"

	"nodespan/assess"
)

func secondOf(data string) NewPhoto {
	return NewPhoto{Data: []byte(data), Name: "b.jpg", ContentType: "image/jpeg", By: "Ben", IdempotencyKey: "key of " + data}
}

// lined is a measured cane with a line, by which it is known again.
func lined(finding assess.Finding, with string) *assess.Measurement {
	return &assess.Measurement{Program: "test", RuleSet: "rules@1", Outcome: assess.Measured, With: with, Canes: []assess.Cane{
		{ID: 1, Finding: finding, CentreLine: []assess.Point{{10, 10}, {10, 200}}, AlongMM: []float64{0, 190}},
	}}
}

// A second stance is a photo of the record that is measured with its first
// alone: kept once, however often it is sent, and counted nowhere by itself.
func TestSecondStance(t *testing.T) {
	s := openStore(t)
	b := addBlock(t, s)
	first := addPhoto(t, s, b, "first")
	if _, _, _, err := s.AddSecond(t.Context(), first.ID, secondOf("second")); assess.ErrorCode(err) != assess.EBusy {
		t.Fatalf("while the first is measured: %v, want busy", err)
	}
	ask, _, _, _ := s.LatestAsk(t.Context(), first.ID)
	m, err := s.AddMeasurement(t.Context(), ask.ID, lined(assess.Weak, ""))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, _, err := s.AddSecond(t.Context(), first.ID, secondOf("first")); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("the same photo: %v, want invalid", err)
	}
	said := assess.Ruling{Cane: 1, Said: assess.Agree, Seen: assess.Seen{Finding: assess.Weak}}
	keep, err := KeepRuling(said)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "", []NewRuling{keep}); err != nil {
		t.Fatal(err)
	}
	p, ask, fresh, err := s.AddSecond(t.Context(), first.ID, secondOf("second"))
	if err != nil || !fresh || ask.PhotoID != first.ID || ask.Second != p.ID || p.Winter != first.Winter || p.VineID != first.VineID {
		t.Fatalf("second %+v, ask %+v, fresh %v, %v", p, ask, fresh, err)
	}
	for _, key := range []string{"key of second", "another"} {
		n := secondOf("second")
		n.IdempotencyKey = key
		q, a, fresh, err := s.AddSecond(t.Context(), first.ID, n)
		if key == "another" { // under a key of its own it has to wait its turn
			if assess.ErrorCode(err) != assess.EBusy {
				t.Errorf("under another key while it is measured: %v", err)
			}
			continue
		}
		if err != nil || fresh || q.ID != p.ID || a.ID != ask.ID {
			t.Errorf("sent again: %+v %+v %v %v", q, a, fresh, err)
		}
	}
	open, err := s.OpenAsks(t.Context())
	if err != nil || len(open) != 1 || open[0].Second != p.ID {
		t.Fatalf("open %+v, %v", open, err)
	}
	// Rulings of the first measurement come over, with who and when.
	m2, err := s.AddMeasurement(t.Context(), ask.ID, lined(assess.Weak, "ab"))
	if err != nil {
		t.Fatal(err)
	}
	rs, err := s.Rulings(t.Context(), m2.ID)
	if err != nil || len(rs) != 1 || rs[0].Who != "Ada" {
		t.Fatalf("rulings of the second measurement %+v, %v", rs, err)
	}
	read, err := ReadRulings(rs)
	if err != nil || read[0].Carried == 0 || read[0].Said != assess.Agree {
		t.Errorf("carried %+v, %v", read, err)
	}
	// What a phone had kept of the first measurement and sends now comes over too.
	said.Said, said.Kind = assess.Correct, assess.OldWood
	if keep, err = KeepRuling(said); err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddRulings(t.Context(), m.ID, 1, "Ada", "", []NewRuling{keep}); err != nil {
		t.Fatal(err)
	}
	rs, err = s.Rulings(t.Context(), m2.ID)
	if err != nil || len(rs) != 2 || rs[1].Kind != "correct" {
		t.Errorf("after a late ruling %+v, %v", rs, err)
	}

	photos, err := s.Photos(t.Context(), first.VineID)
	if err != nil || len(photos) != 1 || photos[0].ID != first.ID {
		t.Errorf("the vine's photos %+v, %v", photos, err)
	}
	states, err := s.VineStates(t.Context(), b.ID)
	if err != nil || len(states) != 1 || states[0].Photos != 1 || states[0].Ruled != 1 || states[0].Waiting != 0 {
		t.Errorf("the vine is %+v, %v", states, err)
	}
	if of, err := s.FirstOf(t.Context(), p.ID); err != nil || of != first.ID {
		t.Errorf("second of %d, %v", of, err)
	}
	if of, err := s.FirstOf(t.Context(), first.ID); err != nil || of != 0 {
		t.Errorf("the first is second of %d, %v", of, err)
	}
	if _, _, _, err := s.AddSecond(t.Context(), p.ID, secondOf("third")); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a second one of a second: %v", err)
	}
	sound(t, s)

	// It goes and comes with its first, and for good.
	if err := s.DeletePhoto(t.Context(), first.ID, "Ada"); err != nil {
		t.Fatal(err)
	}
	if err := second(s.Photo(t.Context(), p.ID)); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("the second of a deleted first: %v", err)
	}
	if err := s.UndeletePhoto(t.Context(), first.ID, "Ada"); err != nil {
		t.Fatal(err)
	}
	if err := second(s.Photo(t.Context(), p.ID)); err != nil {
		t.Errorf("the second of a first that is back: %v", err)
	}
	// Deleted alone and purged, it leaves the first and all that was said.
	if err := s.DeletePhoto(t.Context(), p.ID, "Ada"); err != nil {
		t.Fatal(err)
	}
	if r, err := s.Purge(t.Context(), 0, false); err != nil || r.Photos != 1 || r.Files != 1 {
		t.Errorf("purged %+v, %v", r, err)
	}
	if r := sound(t, s); r.Photos != 1 || r.Measurements != 2 || r.Rulings != 4 {
		t.Errorf("after the purge of the second: %+v", r)
	}
	if _, _, _, err := s.AddSecond(t.Context(), first.ID, secondOf("fourth")); err != nil {
		t.Fatal(err)
	}
	if err := s.DeletePhoto(t.Context(), first.ID, "Ada"); err != nil {
		t.Fatal(err)
	}
	if r, err := s.Purge(t.Context(), 0, false); err != nil || r.Photos != 2 {
		t.Errorf("purged with the first: %+v, %v", r, err)
	}
	if r := sound(t, s); r.Photos != 0 || r.Measurements != 0 {
		t.Errorf("after the purge of both: %+v", r)
	}
}

// A photo that came as a second stance can be sent as one of its own, and the
// other way round: its bytes are there once.
func TestSecondStanceByItself(t *testing.T) {
	s := openStore(t)
	b := addBlock(t, s)
	first := addPhoto(t, s, b, "first")
	addMeasurement(t, s, first)
	p, _, _, err := s.AddSecond(t.Context(), first.ID, secondOf("second"))
	if err != nil {
		t.Fatal(err)
	}
	own, fresh, err := s.AddPhoto(t.Context(), NewPhoto{Data: []byte("second"), BlockID: b.ID, Row: 4, Number: 7, Winter: "2026/27", Name: "b.jpg", ContentType: "image/jpeg", By: "Ada"})
	if err != nil || !fresh || own.ID != p.ID {
		t.Fatalf("by itself %+v, %v, %v", own, fresh, err)
	}
	if of, err := s.FirstOf(t.Context(), p.ID); err != nil || of != 0 {
		t.Errorf("is still second of %d, %v", of, err)
	}
	if ps, err := s.Photos(t.Context(), first.VineID); err != nil || len(ps) != 2 {
		t.Errorf("%d photos, %v", len(ps), err)
	}
	// Deleting the first leaves it now.
	if err := s.DeletePhoto(t.Context(), first.ID, "Ada"); err != nil {
		t.Fatal(err)
	}
	if err := second(s.Photo(t.Context(), p.ID)); err != nil {
		t.Error(err)
	}
	for _, q := range []string{`DELETE FROM second_stances`, fmt.Sprintf(`UPDATE second_stances SET second_id = %d`, first.ID)} {
		if _, err := s.db.Exec(q); err == nil {
			t.Errorf("%s went through", q)
		}
	}
	sound(t, s)
}
