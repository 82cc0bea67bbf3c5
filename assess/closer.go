package assess

import "math"

// onCardU is the relative standard uncertainty of the depth of a cane that the
// card is clipped to: it stands within some 7 mm of the card, at 1.5 m (common
// practice, no source).
const onCardU = 0.005

// halved is the share of the present interval's width from which on another
// photo is worth the way.
const halved = 0.5

// WithCardOn is a cane as it would stand, read alike, on one more photo with
// the card clipped to it: without the doubt of its distance from the wire,
// which one photo can't see. helps tells whether that would settle a finding
// that is too close to call, or halve the diameter's interval; where edges or
// nodes are what is unsure, it wouldn't. c isn't changed.
func WithCardOn(m *Measurement, c Cane, rs RuleSet) (closer Cane, helps bool) {
	if m.Reference == nil || c.Finding != TooCloseToCall {
		return cloneCane(c), false
	}
	closer = foreseen(c, math.Hypot(m.Reference.RelativeU, onCardU), c.EdgeDoubt, 0, rs)
	if !closer.Diameter.Known() || !c.Diameter.Known() {
		return closer, false
	}
	return closer, closer.Finding != TooCloseToCall || closer.Diameter.Width() <= halved*c.Diameter.Width()
}
