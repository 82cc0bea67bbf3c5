package batch

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"sync"
	"time"

	"nodespan/assess"
)

// keptMeasurer gives for the same bytes always the same measurement, after a
// wait that differs, so that workers finish in another order each time.
type keptMeasurer struct {
	mu    sync.Mutex
	calls map[string]int
	slow  bool
	block chan struct{} // every measurement waits for it, or for ctx
}

func (k *keptMeasurer) Guide(context.Context, []byte, *assess.Measurement, assess.Point, assess.Point) (*assess.Cane, error) {
	return nil, errors.New("not for this test")
}

func (k *keptMeasurer) Measure(ctx context.Context, photo []byte, ask assess.Ask) (*assess.Measurement, error) {
	k.mu.Lock()
	if k.calls == nil {
		k.calls = map[string]int{}
	}
	call := string(photo)
	if ask.With != nil {
		call += " with " + string(ask.With)
	}
	k.calls[call]++
	k.mu.Unlock()
	if k.block != nil {
		select {
		case <-k.block:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	if k.slow {
		time.Sleep(time.Duration(rand.IntN(3000)) * time.Microsecond)
	}
	switch {
	case bytes.HasPrefix(photo, []byte("broken")):
		return nil, assess.Errorf(assess.EInvalid, "This file is no photo that can be read.")
	case bytes.HasPrefix(photo, []byte("panic")):
		panic("a fault in a codec")
	case bytes.HasPrefix(photo, []byte("refused")):
		return &assess.Measurement{Program: "kept 1", Outcome: assess.Refused, Reasons: []assess.Reason{assess.NoReference}, WidthPx: 800, HeightPx: 600, TimingMS: map[string]float64{"decode": 2, "total": 3}}, nil
	}
	m := measurementOf(photo)
	switch {
	case ask.With == nil:
	case bytes.HasPrefix(ask.With, []byte("photo that breaks")):
		return nil, errors.New("the two can't be worked on")
	case bytes.HasPrefix(ask.With, []byte("photo from the same spot")):
		m.Reasons = append(m.Reasons, assess.SecondTooNear)
	default:
		m.With = sumOf(ask.With)
		for i := range m.Canes {
			m.Canes[i].Depth = &assess.Depth{Value: 40, Low: 38, High: 42}
			m.Canes[i].LeanU = 1.5
			m.Canes[i].RelativeU = 0.007
			assess.Derive(&m.Canes[i])
		}
	}
	return m, nil
}

// measurementOf makes up a measurement from a photo's bytes.
func measurementOf(photo []byte) *assess.Measurement {
	sum := sha256.Sum256(photo)
	r := rand.New(rand.NewPCG(binary.LittleEndian.Uint64(sum[:8]), 1))
	m := &assess.Measurement{Program: "kept 1", Outcome: assess.Measured, Reasons: []assess.Reason{}, WidthPx: 800, HeightPx: 600, Wires: []assess.Wire{},
		Reference: &assess.Reference{Kind: "checker", MMPerPx: 1, Outline: []assess.Point{{390, 290}, {410, 290}, {410, 310}, {390, 310}}, PxToMM: [9]float64{1, 0, -400, 0, 1, -300, 0, 0, 1}},
		TimingMS:  map[string]float64{"decode": 1 + r.Float64(), "total": 10 + 5*r.Float64()}}
	for i := range 3 + r.IntN(5) {
		c := assess.Cane{ID: i + 1, Traced: "automatic", Origin: "unknown", RelativeU: 0.02, Because: []assess.Sentence{}}
		x, d := 100+90*float64(i), 5+5*r.Float64()
		step := 45 + 50*r.Float64()
		for k := range 40 {
			c.CentreLine = append(c.CentreLine, assess.Point{x, 500 - 10*float64(k)})
			c.AlongMM = append(c.AlongMM, 10*float64(k))
			c.Profile = append(c.Profile, assess.ProfilePoint{AlongMM: 10 * float64(k), DiameterMM: d, U: 0.1})
		}
		for a := step / 2; a < 390; a += step {
			c.Nodes = append(c.Nodes, assess.Node{Px: assess.Point{x, 500 - a}, AlongMM: a, Side: "left", Confidence: 0.9})
		}
		assess.Derive(&c)
		m.Canes = append(m.Canes, c)
	}
	return m
}
