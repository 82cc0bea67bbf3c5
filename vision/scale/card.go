package scale

import (
	"image"
	"math"

	"gocv.io/x/gocv"

	"nodespan/assess"
)

// card looks for the checkerboard at one picture size. It returns the mapping,
// or the most telling reason why a board-like thing was not accepted (""
// when nothing board-like was seen).
func (f *finder) card(shrink int, by look) (*Map, assess.Reason) {
	g := f.grey(shrink)
	cs := saddles(g, by)
	grid := newCells(cs, g.Cols(), g.Rows())
	seen := map[int]bool{}
	var reason assess.Reason
	tries := 0
	for i := range cs {
		if seen[i] {
			continue
		}
		l := grow(grid, i, 110)
		if l == nil {
			continue
		}
		for _, k := range l.at {
			seen[k] = true
		}
		if len(l.at) < 9 {
			continue
		}
		if tries++; tries > 40 {
			break
		}
		m, why := f.board(cs, l, shrink)
		if m != nil {
			return m, ""
		}
		if why != "" {
			reason = why
		}
	}
	return nil, reason
}

// board holds a lattice against the printed card.
func (f *finder) board(cs []corner, l *lattice, shrink int) (*Map, assess.Reason) {
	i0, i1, j0, j1 := l.bounds()
	w, h := i1-i0+1, j1-j0+1
	cols, rows := f.par.Columns-1, f.par.Rows-1
	// A wall of tiles or a shirt has more corners than the card either way;
	// one row of chance hits beside it is let through to the print test.
	if min(w, h) > min(cols, rows)+1 || max(w, h) > max(cols, rows)+1 || min(w, h) < 3 {
		return nil, ""
	}
	var best *Map
	var bestScore float64
	var reason assess.Reason
	for _, turned := range []bool{false, true} {
		wi, hi := cols, rows
		if turned {
			wi, hi = rows, cols
		}
		for oi := min(i0, i1-wi+1); oi <= max(i0, i1-wi+1); oi++ {
			for oj := min(j0, j1-hi+1); oj <= max(j0, j1-hi+1); oj++ {
				m, score, why := f.place(cs, l, shrink, oi, oj, turned)
				if m != nil && score > bestScore {
					best, bestScore = m, score
				}
				if why != "" && reason == "" {
					reason = why
				}
			}
		}
	}
	if best != nil {
		return best, ""
	}
	return nil, reason
}

// place tries the card with its first inner corner at (oi, oj) of the lattice.
func (f *finder) place(cs []corner, l *lattice, shrink, oi, oj int, turned bool) (*Map, float64, assess.Reason) {
	cols, rows := f.par.Columns-1, f.par.Rows-1
	wi, hi := cols, rows
	if turned {
		wi, hi = rows, cols
	}
	// Board coordinates count squares from the pattern's corner, so that the
	// inner corners are at 1..cols, 1..rows.
	var board, px [][2]float64
	for k, c := range l.at {
		i, j := k[0]-oi, k[1]-oj
		if i < 0 || j < 0 || i >= wi || j >= hi {
			continue
		}
		b := [2]float64{float64(i + 1), float64(j + 1)}
		if turned {
			b = [2]float64{float64(j + 1), float64(i + 1)}
		}
		board = append(board, b)
		s := float64(shrink)
		px = append(px, [2]float64{(cs[c].x+0.5)*s - 0.5, (cs[c].y+0.5)*s - 0.5})
	}
	total := cols * rows
	if len(board) < 9 {
		return nil, 0, ""
	}
	h, _, _, err := Fit(board, px)
	if err != nil {
		return nil, 0, ""
	}
	a, b, c, d := h.Jacobian(float64(f.par.Columns)/2, float64(f.par.Rows)/2)
	square := math.Sqrt(math.Abs(a*d - b*c))
	print := f.printed(h, square)
	full := len(board) >= total*9/10
	switch {
	case print.good >= 0.6 && !print.ends:
		return nil, 0, assess.ReferencePartly
	case full && print.good >= 0.9 && print.margin >= 0.85:
	case len(board) >= total*2/5 && print.good >= 0.8 && print.margin >= 0.55:
	case len(board) >= total/4 && print.good >= 0.6 && print.contrast > 40:
		return nil, 0, assess.ReferencePartly
	default:
		return nil, 0, ""
	}
	if square < f.par.MinSquarePx {
		return nil, 0, assess.ReferenceTooSmall
	}
	// Refine every corner on the full picture, those that the coarse search
	// missed too.
	want := make([][2]float64, 0, total)
	for j := 1; j <= rows; j++ {
		for i := 1; i <= cols; i++ {
			want = append(want, [2]float64{float64(i), float64(j)})
		}
	}
	board, px = f.refine(h, want, square)
	if len(board) < total*2/5 {
		return nil, 0, assess.ReferencePartly
	}
	mm := func(p [2]float64) [2]float64 {
		return [2]float64{(p[0] - float64(f.par.Columns)/2) * f.par.SquareMM, (p[1] - float64(f.par.Rows)/2) * f.par.SquareMM}
	}
	from := make([][2]float64, len(board))
	for i := range board {
		from[i] = mm(board[i])
	}
	fit, rms, cov, err := Fit(from, px)
	if err != nil {
		return nil, 0, ""
	}
	// Corners far off the plane were hidden or blurred: once more without.
	var keepF, keepP [][2]float64
	for i := range from {
		u, v := fit.Apply(from[i][0], from[i][1])
		if math.Hypot(u-px[i][0], v-px[i][1]) < max(3.5*rms, 0.15) {
			keepF, keepP = append(keepF, from[i]), append(keepP, px[i])
		}
	}
	if len(keepF) < len(from) && len(keepF) >= total*2/5 {
		if fit, rms, cov, err = Fit(keepF, keepP); err != nil {
			return nil, 0, ""
		}
	}
	if rms > f.par.MaxResidualRel*square {
		return nil, 0, assess.ReferencePartly
	}
	hw, hh := float64(f.par.Columns)/2*f.par.SquareMM, float64(f.par.Rows)/2*f.par.SquareMM
	m := newMap("checker", fit, rms, cov, hw, hh, f)
	f.cardBlur(m)
	return m, print.good + print.margin, ""
}

// print is how well the squares of a candidate look like the printed card.
type printMatch struct {
	good     float64 // share of neighbouring squares that differ as printed
	margin   float64 // share of margin places that are white
	contrast float64 // grey levels between white and black
	// ends is whether the print can be seen to end where it should: each
	// outermost line of squares alternates for the most part, and none of the
	// lines beyond does. Otherwise it may be a board of another count, whose
	// squares nobody knows the size of.
	ends bool
}

// endSeen is the least share of neighbouring squares along an outermost line
// that must differ as printed. A card's line that is hidden more than that
// could as well be missing.
const endSeen = 0.5

// lineOf lists the squares of one line of the board, from (i, j) in steps of
// (di, dj), as values of the sampled grid.
func lineOf(val [][]float64, i, j, di, dj, n int) []float64 {
	out := make([]float64, n)
	for k := range out {
		out[k] = val[j+k*dj][i+k*di]
	}
	return out
}

// alternates is the share of neighbouring squares along a line that differ by
// more than the least step, each the other way than the one before.
func alternates(line []float64, first, step float64) float64 {
	n := 0
	sign := first
	for k := 1; k < len(line); k++ {
		if sign*(line[k]-line[k-1]) > step {
			n++
		}
		sign = -sign
	}
	return float64(n) / float64(len(line)-1)
}

// printed samples the squares under the mapping from board to picture.
func (f *finder) printed(h Homography, square float64) printMatch {
	cols, rows := f.par.Columns, f.par.Rows
	val := make([][]float64, rows+2)
	for j := range val {
		val[j] = make([]float64, cols+2)
		for i := range val[j] {
			sum, n := 0.0, 0.0
			for _, dy := range []float64{0.3, 0.5, 0.7} {
				for _, dx := range []float64{0.3, 0.5, 0.7} {
					x, y := h.Apply(float64(i-1)+dx, float64(j-1)+dy)
					if g := f.greyAt(x, y); g >= 0 {
						sum += g
						n++
					}
				}
			}
			val[j][i] = math.NaN()
			if n > 5 {
				val[j][i] = sum / n
			}
		}
	}
	// Whichever polarity has the larger mean difference is the print's.
	var mean [2]float64
	var cnt [2]float64
	for j := 1; j <= rows; j++ {
		for i := 1; i <= cols; i++ {
			if v := val[j][i]; !math.IsNaN(v) {
				mean[(i+j)%2] += v
				cnt[(i+j)%2]++
			}
		}
	}
	if cnt[0] == 0 || cnt[1] == 0 {
		return printMatch{}
	}
	contrast := mean[1]/cnt[1] - mean[0]/cnt[0]
	dark := 0
	if contrast < 0 {
		contrast, dark = -contrast, 1
	}
	if contrast < 20 {
		return printMatch{}
	}
	var good, pairs, white, places float64
	isDark := func(i, j int) bool {
		return i >= 1 && j >= 1 && i <= cols && j <= rows && (i+j)%2 == dark
	}
	inside := func(i, j int) bool { return i >= 1 && j >= 1 && i <= cols && j <= rows }
	test := func(i, j, k, l int) {
		a, b := val[j][i], val[l][k]
		edge := !inside(i, j) || !inside(k, l)
		ok := false
		switch {
		case math.IsNaN(a) || math.IsNaN(b):
		case isDark(i, j):
			ok = b-a > 0.4*contrast
		case isDark(k, l):
			ok = a-b > 0.4*contrast
		default:
			ok = math.Abs(a-b) < 0.45*contrast
		}
		if edge {
			places++
			if ok {
				white++
			}
		} else {
			pairs++
			if ok {
				good++
			}
		}
	}
	for j := 0; j <= rows+1; j++ {
		for i := 0; i <= cols+1; i++ {
			if i <= cols && j >= 1 && j <= rows {
				test(i, j, i+1, j)
			}
			if j <= rows && i >= 1 && i <= cols {
				test(i, j, i, j+1)
			}
		}
	}
	ends := true
	for _, side := range []struct{ i, j, outI, outJ, di, dj, n int }{
		{1, 1, 1, 0, 1, 0, cols}, {1, rows, 1, rows + 1, 1, 0, cols},
		{1, 1, 0, 1, 0, 1, rows}, {cols, 1, cols + 1, 1, 0, 1, rows},
	} {
		// The sign of the first step along the line, going to bright from dark.
		sign := func(i, j int) float64 {
			if (i+j)%2 == dark {
				return 1
			}
			return -1
		}
		in := alternates(lineOf(val, side.i, side.j, side.di, side.dj, side.n), sign(side.i, side.j), 0.4*contrast)
		out := alternates(lineOf(val, side.outI, side.outJ, side.di, side.dj, side.n), sign(side.outI, side.outJ), 0.4*contrast)
		if in < endSeen || out >= endSeen {
			ends = false
		}
	}
	return printMatch{good: good / pairs, margin: white / places, contrast: contrast, ends: ends}
}

// refine finds board points near where h puts them, on the full picture, and
// drops those that are not there.
func (f *finder) refine(h Homography, board [][2]float64, square float64) (kept, px [][2]float64) {
	win := int(math.Round(min(max(0.38*square, 2), 12)))
	border := float64(2*win + 3)
	// Only the part of the picture that holds the points is needed in grey.
	at := make([][2]float64, len(board))
	inside := make([]bool, len(board))
	var around image.Rectangle
	for i, b := range board {
		x, y := h.Apply(b[0], b[1])
		inside[i] = x > border && y > border && x < float64(f.photo.Width)-border && y < float64(f.photo.Height)-border
		if inside[i] {
			at[i] = [2]float64{x, y}
			around = around.Union(image.Rect(int(x-border), int(y-border), int(x+border)+1, int(y+border)+1))
		}
	}
	if around.Empty() {
		return nil, nil
	}
	part := f.photo.BGR.Region(around.Intersect(image.Rect(0, 0, f.photo.Width, f.photo.Height)))
	defer part.Close()
	grey := gocv.NewMat()
	defer grey.Close()
	gocv.CvtColor(part, &grey, gocv.ColorBGRToGray)
	pts := gocv.NewMatWithSize(len(board), 1, gocv.MatTypeCV32FC2)
	defer pts.Close()
	ox, oy := float64(around.Min.X), float64(around.Min.Y)
	for i := range board {
		x, y := border, border
		if inside[i] {
			x, y = at[i][0]-ox, at[i][1]-oy
		}
		pts.SetFloatAt(i, 0, float32(x))
		pts.SetFloatAt(i, 1, float32(y))
	}
	gocv.CornerSubPix(grey, &pts, image.Pt(win, win), image.Pt(-1, -1),
		gocv.NewTermCriteria(gocv.Count+gocv.EPS, 40, 0.005))
	for i, b := range board {
		if !inside[i] {
			continue
		}
		x, y := float64(pts.GetFloatAt(i, 0))+ox, float64(pts.GetFloatAt(i, 1))+oy
		if math.Hypot(x-at[i][0], y-at[i][1]) > 0.25*square {
			continue
		}
		// A corner that is really there has the printed contrast around it.
		if !f.crosses(x, y, square*0.3, h, b) {
			continue
		}
		kept, px = append(kept, b), append(px, [2]float64{x, y})
	}
	return kept, px
}

// crosses tells whether the four squares that meet at a corner alternate.
func (f *finder) crosses(x, y, r float64, h Homography, b [2]float64) bool {
	a, bb, c, d := h.Jacobian(b[0], b[1])
	n1, n2 := math.Hypot(a+bb, c+d), math.Hypot(a-bb, c-d)
	at := func(sx, sy float64) float64 {
		// Along the two diagonals of the squares, at distance r in pixels.
		n := n1
		if sx*sy < 0 {
			n = n2
		}
		return f.greyAt(x+(sx*a+sy*bb)*r/n, y+(sx*c+sy*d)*r/n)
	}
	p, q := at(1, 1), at(-1, -1)
	s, t := at(1, -1), at(-1, 1)
	return min(p, q) > max(s, t)+10 || min(s, t) > max(p, q)+10
}
