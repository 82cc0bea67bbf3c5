package caliper

// Params are the tunables of this stage.
type Params struct {
	// StepMM is the distance between stations. Smaller sees narrower nodes
	// and costs time. Default 1.5 mm, at least 1.5 px.
	StepMM float64
	// AlongMM is the length over which a station's cross-section is averaged.
	// Longer lowers noise and smears nodes. Default 3 mm, at least 3 px.
	AlongMM float64
	// MaxSigma is the largest blur that the fit may take, px. Larger follows
	// photos that are more out of focus, and soft shadows. Default 6.
	MaxSigma float64
	// MaxMisfit is the largest root mean square of what the model leaves,
	// relative to the step at the weaker edge. Default 0.35.
	MaxMisfit float64
	// Jump is the largest relative difference of a reading from the median of
	// its neighbourhood. Nodes swell by up to a half. Default 0.6.
	Jump float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{StepMM: 1.5, AlongMM: 3, MaxSigma: 6, MaxMisfit: 0.35, Jump: 0.6}
}
