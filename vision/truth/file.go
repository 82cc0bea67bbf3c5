package truth

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"sort"

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

// Write writes p to path, its numbers rounded to what is meaningful:
// hundredths of a pixel and of a millimetre, six digits for the camera.
func (p *Photo) Write(path string) error {
	b, err := p.Encode()
	if err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o644)
}

// Encode gives the JSON that Write writes.
func (p *Photo) Encode() ([]byte, error) {
	cam := p.Camera
	q := *p
	// A deep copy by way of JSON, so that rounding doesn't touch the caller's.
	b, err := json.Marshal(&q)
	if err != nil {
		return nil, err
	}
	var c Photo
	if err := json.Unmarshal(b, &c); err != nil {
		return nil, err
	}
	roundAll(reflect.ValueOf(&c).Elem(), 100)
	c.Camera = cam
	roundAll(reflect.ValueOf(&c.Camera).Elem(), 1e6)
	c.MMPerPx = roundTo(p.MMPerPx, 1e5)
	for i := range c.Canes {
		from := p.Canes[i]
		for k, v := range from.LineMMPerPx {
			c.Canes[i].LineMMPerPx[k] = roundTo(v, 1e5)
		}
		for k, v := range from.Nodes {
			c.Canes[i].Nodes[k].MMPerPx = roundTo(v.MMPerPx, 1e5)
		}
		for k, v := range from.Internodes {
			c.Canes[i].Internodes[k].DiameterMM = roundTo(v.DiameterMM, 1e3)
			c.Canes[i].Internodes[k].ApparentMM = roundTo(v.ApparentMM, 1e3)
		}
		c.Canes[i].VisibleFraction = roundTo(from.VisibleFraction, 1e3)
		c.Canes[i].InFrameFraction = roundTo(from.InFrameFraction, 1e3)
		c.Canes[i].Ellipticity = roundTo(from.Ellipticity, 1e3)
	}
	if c.Reference != nil {
		c.Reference.MMPerPxCentre = roundTo(p.Reference.MMPerPxCentre, 1e5)
		c.Reference.VisibleFraction = roundTo(p.Reference.VisibleFraction, 1e3)
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	if err := enc.Encode(&c); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

func roundTo(v, per float64) float64 { return math.Round(v*per) / per }

// roundAll rounds every float below v to 1/per.
func roundAll(v reflect.Value, per float64) {
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(roundTo(v.Float(), per))
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
			roundAll(v.Field(i), per)
		}
	}
}
