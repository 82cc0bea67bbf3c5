package truth

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"strconv"

	"nodespan/assess"
)

// Read reads one truth file. It returns EInvalid, naming the file, when it is
// no truth of a photo.
func Read(path string) (*Photo, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var p Photo
	if err := json.Unmarshal(b, &p); err != nil {
		return nil, assess.Errorf(assess.EInvalid, "%s is no truth file: %w", path, err)
	}
	if p.Scene == "" || p.Image == "" || p.ImageSize[0] <= 0 {
		return nil, assess.Errorf(assess.EInvalid, "%s is no truth file: it names no scene, image or size", path)
	}
	for _, c := range p.Canes {
		if n := len(c.LinePx); len(c.LineMM) != n || len(c.LineDepthMM) != n || len(c.LineDiameterMM) != n || len(c.LineMMPerPx) != n {
			return nil, assess.Errorf(assess.EInvalid, "%s: cane %s has centre line lists of different lengths", path, c.ID)
		}
	}
	return &p, nil
}

// ReadDir reads every truth file (*.json that is one) of a folder, by name.
// It returns ENotFound when there is none.
func ReadDir(dir string) ([]*Photo, error) {
	paths, err := filepath.Glob(filepath.Join(dir, "*.json"))
	if err != nil {
		return nil, err
	}
	sort.Strings(paths)
	var out []*Photo
	for _, path := range paths {
		p, err := Read(path)
		if assess.ErrorCode(err) == assess.EInvalid {
			continue // another JSON file in the same folder
		}
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	if len(out) == 0 {
		return nil, assess.Errorf(assess.ENotFound, "no truth files (NAME.json beside NAME.jpg) in %s", dir)
	}
	return out, nil
}

// Write writes p to path, its numbers rounded as Photo says.
func (p *Photo) Write(path string) error {
	b, err := p.Encode()
	if err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o644)
}

// Encode gives the JSON that Write writes.
func (p *Photo) Encode() ([]byte, error) {
	// A deep copy by way of JSON, so that rounding doesn't touch the caller's.
	b, err := json.Marshal(p)
	if err != nil {
		return nil, err
	}
	var c Photo
	if err := json.Unmarshal(b, &c); err != nil {
		return nil, err
	}
	roundAll(reflect.ValueOf(&c).Elem(), 100)
	if b, err = json.Marshal(&c); err != nil {
		return nil, err
	}
	return append(b, '\n'), nil
}

// roundAll rounds every float below v to 1/per, or what a field's tag says.
func roundAll(v reflect.Value, per float64) {
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(math.Round(v.Float()*per) / per)
	case reflect.Pointer:
		if !v.IsNil() {
			roundAll(v.Elem(), per)
		}
	case reflect.Slice, reflect.Array:
		for i := 0; i < v.Len(); i++ {
			roundAll(v.Index(i), per)
		}
	case reflect.Struct:
		for i := 0; i < v.NumField(); i++ {
			own := per
			if t, ok := v.Type().Field(i).Tag.Lookup("round"); ok {
				var err error
				if own, err = strconv.ParseFloat(t, 64); err != nil {
					panic("a field's round tag isn't a number: " + t) // a mistake of ours, met by every test
				}
			}
			roundAll(v.Field(i), own)
		}
	}
}
