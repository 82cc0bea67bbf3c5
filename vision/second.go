package vision

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/stance"
)

// withSecond measures a photo together with a second one from another stance.
// The two are measured one after the other, so that no more memory is taken
// than for the larger.
func (v *Measurer) withSecond(ctx context.Context, data []byte, ask assess.Ask) (*assess.Measurement, error) {
	second := ask.With
	ask.With = nil
	out, err := v.Measure(ctx, data, ask)
	if err != nil || out.Outcome != assess.Measured {
		return out, err
	}
	quiet := *v
	quiet.Explain = nil
	other, err := quiet.Measure(ctx, second, assess.Ask{Name: "second stance"})
	if err != nil {
		if assess.ErrorCode(err) == assess.EInvalid || assess.ErrorCode(err) == assess.ETooLarge {
			return nil, assess.Errorf(assess.ErrorCode(err), "the second photo: %w", err)
		}
		return nil, err
	}
	for k, ms := range other.TimingMS {
		out.TimingMS["second_"+k] = ms
		if k == "total" {
			out.TimingMS[k] += ms
		}
	}
	if other.Outcome != assess.Measured || ask.Marks != nil {
		return unused(out, assess.SecondUnscaled), nil
	}
	a, err := v.side(ctx, data, out)
	if err != nil {
		return nil, err
	}
	b, err := v.side(ctx, second, other)
	if err != nil {
		return nil, err
	}
	if a == nil || b == nil {
		return unused(out, assess.SecondUnscaled), nil
	}
	r := stance.Find(*a, *b, v.Params.Stance)
	if v.Explain != nil {
		if err := v.explainStance(second, out, other, r); err != nil {
			return nil, err
		}
	}
	if r.Why != "" {
		return unused(out, r.Why), nil
	}
	sum := sha256.Sum256(second)
	out.With = hex.EncodeToString(sum[:])
	for i, c := range r.Courses {
		if c == nil {
			continue
		}
		seen := &other.Canes[c.Other]
		cane := &out.Canes[i]
		readings := secondReadings(cane, c, r, seen, b.Map)
		v.deepen(cane, c, a.Map)
		v.Params.Pooling.pool(cane, readings, seen.EdgeDoubt)
		assess.Derive(cane)
	}
	return out, nil
}

// unused says why a second photo changes nothing.
func unused(m *assess.Measurement, why assess.Reason) *assess.Measurement {
	m.Reasons = append(m.Reasons, why)
	m.Advice = assess.Advise(m.Reasons)
	return m
}

// side finds a measured photo's scale again, with what the record doesn't hold
// of it.
func (v *Measurer) side(ctx context.Context, data []byte, m *assess.Measurement) (*stance.Side, error) {
	p, err := photo.Decode(data, v.Params.Limits)
	if err != nil {
		return nil, err
	}
	defer p.Close()
	s, _, err := v.scaleAgain(ctx, p, m)
	if err != nil || s == nil {
		return nil, err
	}
	out := stance.SideOf(p, s, m.Canes, m.Wires, v.Params.Stance)
	return &out, nil
}

// deepen allows for a cane's depth in its readings, from which Derive is still to
// make its numbers. The two photos together
// know the scale at the cane better than the card alone did: what was unsure of
// its corners carried far outwards, of a card that hangs askew, and of the
// depth makes way for what the pair leaves unsure.
func (v *Measurer) deepen(c *assess.Cane, course *stance.Course, m *scale.Map) {
	flat := c.AlongMM
	deep := course.Lengthen(m, c.CentreLine, flat)
	factors := course.Factors(m, c.CentreLine, flat)
	for i := range c.Profile {
		q := &c.Profile[i]
		f := onto(flat, factors, q.AlongMM)
		q.DiameterMM, q.U = round(q.DiameterMM*f, 3), round(q.U*f, 3)
		q.AlongMM = round(onto(flat, deep, q.AlongMM), 1)
	}
	for i := range c.Nodes {
		c.Nodes[i].AlongMM = round(onto(flat, deep, c.Nodes[i].AlongMM), 1)
	}
	c.AlongMM = make([]float64, len(deep))
	for i, s := range deep {
		c.AlongMM[i] = round(s, 1)
	}
	c.RelativeU = round(math.Sqrt(m.RelativeU*m.RelativeU+v.Params.RoundU*v.Params.RoundU+course.ScaleU*course.ScaleU), 5)
	c.LeanU = round(course.LeanU, 2)
	const level = 1.96 // of 95 %
	c.Depth = &assess.Depth{Value: round(course.MeanMM, 1), Low: round(course.MeanMM-level*course.U, 1), High: round(course.MeanMM+level*course.U, 1)}
}

// onto takes a value of a rising list to what another of the same length has
// there.
func onto(from, to []float64, x float64) float64 {
	for i := 1; i < len(from); i++ {
		if x <= from[i] || i == len(from)-1 {
			if d := from[i] - from[i-1]; d > 0 {
				return to[i-1] + (x-from[i-1])/d*(to[i]-to[i-1])
			}
		}
	}
	return x
}

// explainStance draws over the second photo where the first's canes must be
// seen in it at the depths that were found.
func (v *Measurer) explainStance(second []byte, m, other *assess.Measurement, r *stance.Result) error {
	p, err := photo.Decode(second, v.Params.Limits)
	if err != nil {
		return err
	}
	defer p.Close()
	d := newPen(p)
	for _, c := range other.Canes {
		d.line(c.CentreLine, yellow, d.w)
	}
	for i, c := range r.Courses {
		if c == nil {
			continue
		}
		l := r.Transfer(&m.Canes[i], c)
		d.line(l, pink, 2*d.w)
		q := l[len(l)/3]
		d.text(assess.Point{q[0] + float64(8*d.w), q[1]}, fmt.Sprintf("%d: %+.0f mm (%.0f)", m.Canes[i].ID, c.MeanMM, 1.96*c.U))
	}
	d.text(assess.Point{20, 40 * float64(d.w)}, fmt.Sprintf("stances %.0f mm apart (%.0f), %.0f mm from the card's plane %s", r.BaseMM, 1.96*r.BaseU, r.DistanceMM, r.Why))
	jpg, err := d.jpeg()
	if err != nil {
		return err
	}
	return v.Explain("7-stance", jpg)
}
