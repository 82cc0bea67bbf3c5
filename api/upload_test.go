package api

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nodespan/assess"
	"nodespan/assess/store"
)

// pngHeader is a PNG that claims a size and has no pixels.
func pngHeader(w, h uint32) []byte {
	body := []byte("IHDR")
	body = binary.BigEndian.AppendUint32(body, w)
	body = binary.BigEndian.AppendUint32(body, h)
	body = append(body, 8, 2, 0, 0, 0)
	out := append([]byte("\x89PNG\r\n\x1a\n"), 0, 0, 0, 13)
	out = append(out, body...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(body))
}

// Bytes that are no usable photo are refused in words, and nothing is kept.
func TestBadUploads(t *testing.T) {
	r := newRig(t)
	b := r.block()
	for _, c := range []struct {
		name   string
		data   []byte
		status int
	}{
		{"zero bytes", nil, 422},
		{"text with a photo's name", []byte("this is no photo"), 422},
		{"truncated JPEG", vineJPEG[:len(vineJPEG)/2], 422},
		{"JPEG cut after its header", vineJPEG[:700], 422},
		{"PNG of 50,000 x 50,000", pngHeader(50_000, 50_000), 413},
		{"PNG without pixels", pngHeader(600, 600), 422},
		{"GIF", []byte("GIF89a\x01\x00\x01\x00\x80\x00\x00\x00\x00\x00\xff\xff\xff,\x00\x00\x00\x00\x01\x00\x01\x00\x00\x02\x02D\x01\x00;"), 422},
	} {
		status, text := r.sendRaw(b, c.data)
		if status != c.status || !strings.Contains(text, `"code"`) || strings.Contains(text, "goroutine") {
			t.Errorf("%s: %d %s, want %d with a sentence", c.name, status, text, c.status)
		}
	}
	if vs, err := r.store.VineStates(t.Context(), b); err != nil || len(vs) != 0 {
		t.Errorf("%d vines after bad uploads alone, %v; want none", len(vs), err)
	}
	files, err := filepath.Glob(filepath.Join(r.store.Dir(), "photos", "*", "*"))
	if err != nil || len(files) != 0 {
		t.Errorf("%v kept after bad uploads alone, %v", files, err)
	}
	if status, _ := r.do("POST", fmt.Sprintf("/api/blocks/%d/rows/4/vines/7/photos", b), strings.NewReader("{}")); status != 422 {
		t.Errorf("JSON instead of a form: %d", status)
	}
	if status, _ := r.sendRaw(99, vineJPEG); status != 404 {
		t.Errorf("unknown block: %d", status)
	}
}

func TestUploadTooLarge(t *testing.T) {
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), &keptMeasurer{}, Limits{UploadBytes: 1 << 20})
	b := r.block()
	for _, over := range []int{1 << 10, 1 << 20} {
		status, text := r.sendRaw(b, make([]byte, 1<<20+over))
		if status != 413 || !strings.Contains(text, "1 MB") {
			t.Errorf("%d bytes over: %d %s", over, status, text)
		}
	}
}

// Unusual photos that are right are taken: 16-bit PNG, a grey one.
func TestUnusualUploads(t *testing.T) {
	r := newRig(t)
	b := r.block()
	deep := image.NewNRGBA64(image.Rect(0, 0, 40, 30))
	var out bytes.Buffer
	if err := png.Encode(&out, deep); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"16-bit PNG": out.Bytes(), "1 x 1": pngOf(t, 1, 1)} {
		st := r.measured(r.send(b, data, http.StatusCreated).ID)
		if st.State != stateRefused {
			t.Errorf("%s: %s", name, st.State)
		}
		r.get(fmt.Sprintf("/photos/%d/picture/small.jpg", st.ID), http.StatusOK, nil)
		r.get(fmt.Sprintf("/photos/%d", st.ID), http.StatusOK, nil)
	}
}

// oriented is a JPEG, 40 x 20 as stored, red on its left half, with an EXIF
// orientation, a time and a maker's note (EXIF 2.32, tags 0x0112, 0x0132, 0x010F).
func oriented(t testing.TB, orientation byte) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, 40, 20))
	for y := range 20 {
		for x := range 40 {
			c := color.RGBA{0, 0, 255, 255}
			if x < 20 {
				c = color.RGBA{255, 0, 0, 255}
			}
			img.Set(x, y, c)
		}
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	tiff := []byte("MM\x00*\x00\x00\x00\x08\x00\x03")
	tiff = append(tiff, 0x01, 0x0f, 0, 2, 0, 0, 0, 8, 0, 0, 0, 50)
	tiff = append(tiff, 0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, orientation, 0, 0)
	tiff = append(tiff, 0x01, 0x32, 0, 2, 0, 0, 0, 20, 0, 0, 0, 58)
	tiff = append(tiff, 0, 0, 0, 0)
	tiff = append(tiff, "SECRET7\x002026:01:20 10:30:00\x00"...)
	segment := append([]byte("Exif\x00\x00"), tiff...)
	head := []byte{0xff, 0xd8, 0xff, 0xe1}
	head = binary.BigEndian.AppendUint16(head, uint16(len(segment)+2))
	return append(append(head, segment...), out.Bytes()[2:]...)
}

// A served copy is upright for each of the eight EXIF orientations, and
// carries nothing that the camera wrote beside the pixels.
func TestCopiesAreUprightAndBare(t *testing.T) {
	r := newRig(t)
	b := r.block()
	// Where the red half lies when the picture stands as EXIF says: x, y in
	// shares of the upright picture (EXIF 2.32, section 4.6.4, Orientation).
	red := map[byte][2]float64{1: {.25, .5}, 2: {.75, .5}, 3: {.75, .5}, 4: {.25, .5}, 5: {.5, .25}, 6: {.5, .25}, 7: {.5, .75}, 8: {.5, .75}}
	for o := byte(1); o <= 8; o++ {
		data := oriented(t, o)
		if !bytes.Contains(data, []byte("SECRET7")) {
			t.Fatal("the test's photo has no maker's note")
		}
		st := r.send(b, data, http.StatusCreated)
		for _, size := range []string{"small", "medium", "full"} {
			text := r.get(fmt.Sprintf("/photos/%d/picture/%s.jpg", st.ID, size), http.StatusOK, nil)
			if strings.Contains(text, "SECRET7") || strings.Contains(text, "Exif") {
				t.Errorf("orientation %d, %s: the copy carries EXIF", o, size)
			}
			img, err := jpeg.Decode(strings.NewReader(text))
			if err != nil {
				t.Fatal(err)
			}
			w, h := float64(img.Bounds().Dx()), float64(img.Bounds().Dy())
			if (o >= 5) != (h > w) {
				t.Errorf("orientation %d, %s: %v x %v", o, size, w, h)
			}
			cr, _, cb, _ := img.At(int(red[o][0]*w), int(red[o][1]*h)).RGBA()
			if cr < cb {
				t.Errorf("orientation %d, %s: the red half isn't where it belongs", o, size)
			}
		}
		p, err := r.store.Photo(t.Context(), st.ID)
		if err != nil || p.TakenAt.Year() != 2026 || p.Winter != "2025/26" {
			t.Errorf("taken %v, winter %q, %v; want January 2026, so winter 2025/26", p.TakenAt, p.Winter, err)
		}
		if kept, err := r.store.PhotoBytes(p.SHA256); err != nil || !bytes.Equal(kept, data) {
			t.Errorf("the stored photo isn't the one that was sent: %v", err)
		}
	}
}

// The same upload sent again does nothing more.
func TestUploadSentTwice(t *testing.T) {
	r := newRig(t)
	b := r.block()
	first := r.send(b, vineJPEG, http.StatusCreated, "Idempotency-Key", "k")
	again := r.send(b, vineJPEG, http.StatusOK, "Idempotency-Key", "k")
	if again.ID != first.ID {
		t.Errorf("photos %d and %d", first.ID, again.ID)
	}
	if status, text := r.sendRaw(b, pngOf(t, 30, 30), "Idempotency-Key", "k"); status != http.StatusConflict {
		t.Errorf("another photo under the same key: %d %s", status, text)
	}
}

// A photo that was kept but not measured when the program ended is measured at
// the next start.
func TestMeasuredAfterRestart(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	held := &keptMeasurer{gate: make(chan struct{})}
	r := rigOn(t, dir, held, Limits{Workers: 1})
	st := r.send(r.block(), vineJPEG, http.StatusCreated)
	r.stop() // while it is being measured
	part := filepath.Join(dir, "photos", "ab")
	if err := os.MkdirAll(part, 0o750); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(part, "1.part"), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}

	r = rigOn(t, dir, &keptMeasurer{}, Limits{})
	if got := r.measured(st.ID); got.State != stateMeasured {
		t.Errorf("after the restart: %+v", got)
	}
	if _, err := os.Stat(filepath.Join(part, "1.part")); !os.IsNotExist(err) {
		t.Errorf("the half-written photo is still there: %v", err)
	}
}

// A fault in measuring one photo is told, and takes nothing else with it.
func TestFaultWhileMeasuring(t *testing.T) {
	r := newRig(t)
	b := r.block()
	r.measurer.panics = true
	st := r.measured(r.send(b, vineJPEG, http.StatusCreated).ID)
	if st.State != stateFailed || !strings.Contains(st.Message, "photo is kept") || strings.Contains(st.Message, "codec") {
		t.Errorf("after a panic: %+v", st)
	}
	page := r.get(st.Page, http.StatusOK, nil)
	if !strings.Contains(page, "could not be measured") {
		t.Error("the photo's page doesn't tell")
	}
	r.measurer.mu.Lock()
	r.measurer.panics, r.measurer.err = false, assess.Errorf(assess.EInvalid, "This kind of file can't be measured.")
	r.measurer.mu.Unlock()
	st = r.measured(r.send(b, pngOf(t, 20, 20), http.StatusCreated).ID)
	if st.State != stateFailed || st.Message != "This kind of file can't be measured." {
		t.Errorf("after an error in words: %+v", st)
	}
}

// More than the queue holds is told to come back; what was accepted is kept.
func TestQueueFull(t *testing.T) {
	held := &keptMeasurer{gate: make(chan struct{})}
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), held, Limits{Workers: 1, Queue: 2})
	b := r.block()
	var accepted []int64
	full := false
	for i := range 6 {
		status, text := r.sendRaw(b, pngOf(t, 20+i, 20))
		switch status {
		case http.StatusCreated:
			ps, err := r.store.Photos(t.Context(), 1)
			if err != nil {
				t.Fatal(err)
			}
			accepted = append(accepted, ps[0].ID)
		case http.StatusServiceUnavailable:
			full = true
		default:
			t.Fatalf("%d %s", status, text)
		}
	}
	if !full {
		t.Error("the queue never was full")
	}
	close(held.gate)
	for _, id := range accepted {
		if st := r.measured(id); st.State != stateRefused {
			t.Errorf("photo %d: %s", id, st.State)
		}
	}
}

// Progress comes as events until the photo is measured.
func TestEvents(t *testing.T) {
	held := &keptMeasurer{gate: make(chan struct{})}
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), held, Limits{})
	st := r.send(r.block(), vineJPEG, http.StatusCreated)
	go close(held.gate)
	text := r.get(fmt.Sprintf("/api/photos/%d/events", st.ID), http.StatusOK, nil)
	if !strings.HasPrefix(text, "data: {") || !strings.Contains(text, `"state":"measured"`) {
		t.Errorf("events: %s", text)
	}
}

func TestMarks(t *testing.T) {
	r := newRig(t)
	st := r.measured(r.send(r.block(), pngOf(t, 600, 600), http.StatusCreated).ID)
	for name, bad := range map[string]string{
		"one place twice": `{"a":[5,5],"b":[5,5],"distance_mm":500}`,
		"no distance":     `{"a":[5,5],"b":[500,5],"distance_mm":0}`,
		"metres":          `{"a":[5,5],"b":[500,5],"distance_mm":0.5}`,
	} {
		if status, text := r.do("POST", fmt.Sprintf("/api/photos/%d/marks", st.ID), strings.NewReader(bad)); status != 422 {
			t.Errorf("%s: %d %s", name, status, text)
		}
	}
	r.post(fmt.Sprintf("/api/photos/%d/marks", st.ID), `{"a":[5,5],"b":[500,5],"distance_mm":500}`, http.StatusAccepted, nil)
	if got := r.measured(st.ID); got.State != stateMeasured || got.Measurement == st.Measurement {
		t.Errorf("by marks: %+v", got)
	}
	if m, err := r.store.Measurement(t.Context(), st.Measurement); err != nil || m.Seen.Outcome != assess.Refused {
		t.Errorf("the refusal is gone: %+v, %v", m, err)
	}
}

func TestFileNames(t *testing.T) {
	for given, want := range map[string]string{
		"IMG_1.jpg": "IMG_1.jpg", `C:\photos\a.jpg`: "a.jpg", "../../etc/passwd": "passwd", "": "photo", "a\x00\u202eb.jpg": "ab.jpg",
	} {
		if got := plainName(given); got != want {
			t.Errorf("plainName(%q) = %q, want %q", given, got, want)
		}
	}
}

// People take turns in the queue; each one's photos stay in their order.
func TestTurns(t *testing.T) {
	for sent, want := range map[string]string{
		"a1 a2 a3":                   "a1 a2 a3",
		"a1 a2 a3 a4 b1":             "a1 b1 a2 a3 a4",
		"a1 a2 a3 b1 b2 c1":          "a1 b1 c1 a2 b2 a3",
		"a1 b1 a2 b2 c1 c2 c3":       "a1 b1 c1 a2 b2 c2 c3",
		"a1 a2 a3 a4 a5 b1 b2 b3 a6": "a1 b1 a2 b2 a3 b3 a4 a5 a6",
	} {
		var waiting []store.Ask
		names := map[int64]string{}
		for i, name := range strings.Fields(sent) {
			names[int64(i)] = name
			waiting = inTurn(waiting, store.Ask{ID: int64(i), By: name[:1]})
		}
		var got []string
		for _, a := range waiting {
			got = append(got, names[a.ID])
		}
		if g := strings.Join(got, " "); g != want {
			t.Errorf("sent %s: measured in the order %s, want %s", sent, g, want)
		}
	}
}
