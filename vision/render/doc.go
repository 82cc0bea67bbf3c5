// Package render makes photos of dormant vines of which everything is known:
// a picture and its truth.Photo, from a Params alone, the same bytes for the
// same Params on the same kind of processor.
//
// A photo comes about in four steps:
//
//   - Random draws Params from a seed and from Options (or the caller sets
//     Params by hand): camera, light, background, reference, how the vine grew.
//   - Grow makes a Scene from Params: tubes (wood, wires, ties, posts) with a
//     centre line and a radius at every station, beads (buds, knobs, cane
//     ends), and flat boards (the card). World millimetres: x along the row, y
//     away from the camera with the wire plane at y = 0, z up.
//   - The picture is drawn in linear light. Each pixel has 16 sub-samples, no
//     two of them in one column or row of the sample grid, so that an edge
//     along the pixel grid still falls within 1/32 pixel of its place; a
//     z-buffer decides visibility for each. Tubes are silhouettes of
//     generalised cylinders, not polygons: the width at a station is the true
//     one for every direction of view.
//   - The sensor: exposure, defocus, motion, shot and read noise, sRGB
//     transfer curve (IEC 61966-2-1), sharpening, eight bits. JPEG comes last,
//     by the caller, with Params.JPEGQuality.
//
// The truth follows from the Scene by projection; what is visible follows
// from the identity of what each pixel's centre shows.
//
// Too simple here, and so no proof of the field: no leaf or grape stalks left
// hanging, no wet wood, snow or mould, no canes caught between wires, no
// flare, no phone's local tone mapping. Real vines are harder.
package render
