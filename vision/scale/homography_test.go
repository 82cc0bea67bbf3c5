package scale

import (
	"math"
	"math/rand/v2"
	"testing"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/stat"
)

// boardPoints are the 8 x 5 inner corners of the card in mm from its centre.
func boardPoints() [][2]float64 {
	var out [][2]float64
	for j := 1; j <= 5; j++ {
		for i := 1; i <= 8; i++ {
			out = append(out, [2]float64{(float64(i) - 4.5) * 15, (float64(j) - 3) * 15})
		}
	}
	return out
}

func project(h Homography, p [][2]float64) [][2]float64 {
	out := make([][2]float64, len(p))
	for i, q := range p {
		u, v := h.Apply(q[0], q[1])
		out[i] = [2]float64{u, v}
	}
	return out
}

func shaken(p [][2]float64, sd float64, rng *rand.Rand) [][2]float64 {
	out := make([][2]float64, len(p))
	for i, q := range p {
		out[i] = [2]float64{q[0] + sd*rng.NormFloat64(), q[1] + sd*rng.NormFloat64()}
	}
	return out
}

// views are mappings from mm to pixels such as photos give: square on, turned
// in its plane, and seen askew from the left and from below.
func views() map[string]Homography {
	return map[string]Homography{
		"square on":     pinhole(3000, 1999.5, 1499.5, 1500, 0, 0, 0, 100, -80).h,
		"turned":        pinhole(3000, 1999.5, 1499.5, 1500, 0, 0, 0.6, -300, 200).h,
		"from the left": pinhole(3000, 1999.5, 1499.5, 1400, 0.4, 0, 0.05, 250, 50).h,
		"from below":    pinhole(2500, 1999.5, 1499.5, 1800, 0.1, -0.35, -0.1, 0, 0).h,
		"close":         pinhole(3000, 1999.5, 1499.5, 400, 0.3, 0.3, 0.2, 0, 10).h,
	}
}

// TestFitAgainstOpenCV: without noise both give the known mapping; with noise
// both are the least squares solution in the picture (OpenCV's method 0 with
// its own Levenberg-Marquardt refinement), so they agree far within the noise.
func TestFitAgainstOpenCV(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	board := boardPoints()
	for name, h := range views() {
		for _, sd := range []float64{0, 0.1} {
			px := shaken(project(h, board), sd, rng)
			got, rms, _, err := Fit(board, px)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			src, dst := gocv.NewMatWithSize(len(board), 2, gocv.MatTypeCV64F), gocv.NewMatWithSize(len(board), 2, gocv.MatTypeCV64F)
			for i := range board {
				for k := range 2 {
					src.SetDoubleAt(i, k, board[i][k])
					dst.SetDoubleAt(i, k, px[i][k])
				}
			}
			mask := gocv.NewMat()
			ocv := gocv.FindHomography(src, &dst, gocv.HomograpyMethodAllPoints, 3, &mask, 2000, 0.995)
			var theirs Homography
			for i := range theirs {
				theirs[i] = ocv.GetDoubleAt(i/3, i%3)
			}
			for _, m := range []gocv.Mat{src, dst, mask, ocv} {
				m.Close()
			}
			// OpenCV computes points in 32 bits: 4000 px has steps of 2.4e-4.
			for i, p := range board {
				a, b := got.Apply(p[0], p[1])
				c, d := theirs.Apply(p[0], p[1])
				if e := math.Hypot(a-c, b-d); e > 2e-3 {
					t.Errorf("%s, noise %g, corner %d: %.5f px from OpenCV's", name, sd, i, e)
				}
			}
			if sd == 0 && rms > 1e-8 {
				t.Errorf("%s: residual without noise: want 0, got %g px", name, rms)
			}
		}
	}
}

// TestFitRefuses: fewer than four points, all on a line, all the same.
func TestFitRefuses(t *testing.T) {
	line := [][2]float64{{0, 0}, {1, 1}, {2, 2}, {3, 3}, {4, 4}}
	for name, p := range map[string][][2]float64{"three points": line[:3], "a line": line, "one place": {{1, 1}, {1, 1}, {1, 1}, {1, 1}, {1, 1}}} {
		if h, _, _, err := Fit(p, p); err == nil {
			t.Errorf("%s: want an error, got %v", name, h)
		}
	}
}

// TestFitCovariance holds the covariance that Fit states against a Monte Carlo
// run (JCGM 101:2008, clause 7): the spread of the eight elements over many
// fits to shaken corners. With M trials a standard deviation is known to
// 1/sqrt(2 M) of itself, 2.2 % for 1000; four times that is allowed.
func TestFitCovariance(t *testing.T) {
	const trials, sd = 1000, 0.05
	board := boardPoints()
	for name, h := range views() {
		rng := rand.New(rand.NewPCG(3, 4))
		px := project(h, board)
		_, _, cov, err := Fit(board, px)
		if err != nil {
			t.Fatal(err)
		}
		var seen [8][]float64
		for range trials {
			g, _, _, err := Fit(board, shaken(px, sd, rng))
			if err != nil {
				t.Fatal(err)
			}
			for k := range seen {
				seen[k] = append(seen[k], g[k])
			}
		}
		for k := range seen {
			want, got := stat.StdDev(seen[k], nil), sd*math.Sqrt(cov.At(k, k))
			if math.Abs(got/want-1) > 4/math.Sqrt(2*trials) {
				t.Errorf("%s, element %d: Monte Carlo %g, stated %g", name, k, want, got)
			}
			for l := range k {
				r := stat.Correlation(seen[k], seen[l], nil)
				s := cov.At(k, l) / math.Sqrt(cov.At(k, k)*cov.At(l, l))
				if math.Abs(r-s) > 4/math.Sqrt(trials) {
					t.Errorf("%s, elements %d and %d: correlation by Monte Carlo %.3f, stated %.3f", name, k, l, r, s)
				}
			}
		}
	}
}

func TestInverseAndJacobian(t *testing.T) {
	for name, h := range views() {
		inv := h.Inverse()
		for _, p := range boardPoints() {
			u, v := h.Apply(p[0], p[1])
			if x, y := inv.Apply(u, v); math.Hypot(x-p[0], y-p[1]) > 1e-8 {
				t.Errorf("%s: there and back is %g mm off", name, math.Hypot(x-p[0], y-p[1]))
			}
			const e = 1e-4
			a, b, c, d := h.Jacobian(p[0], p[1])
			u1, v1 := h.Apply(p[0]+e, p[1])
			u0, v0 := h.Apply(p[0]-e, p[1])
			u3, v3 := h.Apply(p[0], p[1]+e)
			u2, v2 := h.Apply(p[0], p[1]-e)
			for _, q := range [][2]float64{{a, (u1 - u0) / 2 / e}, {c, (v1 - v0) / 2 / e}, {b, (u3 - u2) / 2 / e}, {d, (v3 - v2) / 2 / e}} {
				if math.Abs(q[0]-q[1]) > 1e-5 {
					t.Errorf("%s: derivative %g, by differences %g", name, q[0], q[1])
				}
			}
		}
	}
}
