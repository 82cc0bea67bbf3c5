package assess

// explained holds, for each Reason, what was wrong and what to do.
var explained = map[Reason]Sentence{
	NoReference:       Tell("No scale was found in the photo, so nothing in it can be given in millimetres. Hang the printed card or bar from the wire, wholly in the picture and facing the camera, and take the photo again; or tap two marks whose distance you measured."),
	ReferenceTooSmall: Tell("The scale is in the photo, but too small in it to measure by. Step nearer, to about 1.5 m, or use the photo in its full size rather than a reduced copy."),
	ReferenceImplaus:  Tell("What looks like a scale can't be one that hangs on the wire: its size or tilt isn't possible. Let the card hang flat and face the camera, check its square size in the settings, and take the photo again."),
	ReferencePartly:   Tell("Part of the scale is hidden or outside the picture. Move leaves, canes or the clip off its pattern, keep all of its white margin in sight, and take the photo again."),
	PhotoTooSmall:     Tell("The photo has too few pixels to tell a cane's edges. Use the camera's own full-size photo, not a preview, a screenshot or a copy that a messenger made smaller."),
	PhotoBlurred:      Tell("The photo is too blurred to tell a cane's edges. Hold the camera still or rest it on a post, tap the card to focus on it, and take the photo again."),
	PhotoTooDark:      Tell("The photo is too dark to tell wood from its surroundings. Take it in daylight, with the sun beside or behind you."),
	PhotoTooBright:    Tell("The photo is burnt out where the vine or the scale is. Keep the sun out of the picture, tap the card so that the exposure is set for it, and take the photo again."),
	NoCane:            Tell("The scale was found, but no one-year cane. If canes stand there, hang a sheet behind the vine or point out base and tip of each cane by two taps."),
	NoWire:            Tell("No wire was seen, so heights and places along it can't be told. Take the photo square to the row with the fruiting wires in it."),
	NoHead:            Tell("The vine's head wasn't seen, so distances from it can't be told. Keep the top of the trunk in the picture, and free of grass."),
	ReferenceFar:      Tell("Some canes stand far from the scale, and their millimetres are less sure; the intervals say by how much. Clip the card next to the canes that matter, or take a second photo."),
	CanesCutOff:       Tell("Some canes run out of the picture, so their length and outer nodes can't be told. Step back, or take a second photo of the upper part."),
	NodesUnclear:      Tell("On most canes fewer than two nodes were seen, so internode lengths can't be told. Step nearer, or tap the nodes on the photo."),
	CardAskew:         Tell("The card hangs turned out of the wires' plane. Its millimetres were put right by the wires and by how a camera is usually held, and the intervals are wider for it. Clip it flat to the wire and take the photo again where it matters."),
	ByMarks:           Tell("The scale comes from two tapped marks: a tilt of the camera can't be seen from them, and the intervals are wider. Use the printed card where it matters."),
	SecondTooNear:     Tell("The second photo was taken from nearly the same place as the first, so it doesn't show how far canes stand off the wire. Take it from a step to the side, a quarter of the distance to the vine or so, with the card where it is."),
	SecondDisagrees:   Tell("The two photos don't fit together: the card was moved between them, or they show different vines. Only the first was used. Leave the card where it hangs and take both photos again."),
	SecondUnscaled:    Tell("The card wasn't found in both photos, so it can't be told where they were taken from; a bar or two marks don't show how the camera was turned. Only the first was used. Keep the card wholly in both pictures."),
}

// Explain puts a reason in words, with what to do. It also has a sentence for
// a reason that it doesn't know, which names it.
func Explain(r Reason) Sentence {
	if s, ok := explained[r]; ok {
		return s
	}
	return Tell("The photo has the fault %s, which this version can't explain. Take the photo again, square to the row, with the scale in it.", string(r))
}

// Reasons lists every reason that Explain knows, in the order in which they
// are declared.
func Reasons() []Reason {
	return []Reason{
		NoReference, ReferenceTooSmall, ReferenceImplaus, ReferencePartly,
		PhotoTooSmall, PhotoBlurred, PhotoTooDark, PhotoTooBright, NoCane,
		NoWire, NoHead, ReferenceFar, CanesCutOff, NodesUnclear, CardAskew, ByMarks,
		SecondTooNear, SecondDisagrees, SecondUnscaled,
	}
}

// Advise puts reasons in words, one sentence or more each: what a
// Measurement's Advice holds.
func Advise(reasons []Reason) []string {
	advice := make([]string, 0, len(reasons))
	for _, r := range reasons {
		advice = append(advice, Explain(r).String())
	}
	return advice
}
