package chem

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Bounds of the search for non-negative amounts: a gradient below this share of the aim is none, and columns that depend on
// each other beyond this condition number count as one. A column shorter than the least length counts as none: it would take
// amounts beyond any number.
const (
	gradientRounding = 1e-12
	mostCondition    = 1e12
	leastLength      = 1e-300
)

// nonNegative finds x >= 0 with the least |A x - b| by the active set method of Lawson and Hanson (Solving Least Squares
// Problems, 1974, chapter 23), each least squares problem by QR. Columns are scaled to length 1 first. Where columns depend
// on each other, of the many answers it is one that uses few of them. Every entry of a and b must be finite.
func nonNegative(a *mat.Dense, b []float64) []float64 {
	rows, columns := a.Dims()
	search := activeSet{a: mat.NewDense(rows, columns, nil), b: b, x: make([]float64, columns)}
	lengths := make([]float64, columns)
	for j := range columns {
		column := mat.Col(nil, j, a)
		if lengths[j] = mat.Norm(mat.NewVecDense(rows, column), 2); lengths[j] < leastLength {
			lengths[j] = 1 / leastLength // it helps nothing: its gradient is nearly 0
		}
		for i := range column {
			column[i] /= lengths[j]
		}
		search.a.SetCol(j, column)
	}
	search.run()
	for j := range search.x {
		search.x[j] /= lengths[j]
	}
	return search.x
}

// activeSet is a search under way; passive are the columns that may be above zero.
type activeSet struct {
	a       *mat.Dense
	b, x    []float64
	passive []int
}

func (s *activeSet) run() {
	least := gradientRounding * mat.Norm(mat.NewVecDense(len(s.b), s.b), 2)
	useless := map[int]bool{}
	// In theory the method ends by itself; rounding must not keep it going.
	for range 10 * len(s.x) {
		next := s.steepest(least, useless)
		if next < 0 || len(s.passive) == len(s.b) {
			return
		}
		s.passive = append(s.passive, next)
		z, sound := s.leastSquares()
		if !sound || z[len(z)-1] <= 0 {
			// It depends on the columns that are there, or its gradient was rounding.
			s.passive = s.passive[:len(s.passive)-1]
			useless[next] = true
			continue
		}
		clear(useless)
		s.settle(z)
	}
}

// settle moves from x towards z as far as nothing goes below zero, lets go of what reached it, and solves again.
func (s *activeSet) settle(z []float64) {
	for slices.Min(z) <= 0 {
		step := 1.0
		for k, j := range s.passive {
			if z[k] <= 0 {
				step = math.Min(step, reach(s.x[j], z[k]))
			}
		}
		var kept []int
		for k, j := range s.passive {
			if z[k] <= 0 && reach(s.x[j], z[k]) <= step {
				s.x[j] = 0
				continue
			}
			s.x[j] += step * (z[k] - s.x[j])
			kept = append(kept, j)
		}
		if s.passive = kept; len(kept) == 0 {
			return
		}
		z, _ = s.leastSquares()
	}
	for k, j := range s.passive {
		s.x[j] = z[k]
	}
}

// reach is how much of the way from x > 0 to z <= 0 leads to zero.
func reach(x, z float64) float64 {
	if x <= 0 {
		return 0
	}
	return x / (x - z)
}

// steepest is the column not yet passive along which the misfit falls most; -1 when it falls along none.
func (s *activeSet) steepest(least float64, useless map[int]bool) int {
	best, found := least, -1
	for j, gradient := range s.gradient() {
		if gradient > best && !useless[j] && !slices.Contains(s.passive, j) {
			best, found = gradient, j
		}
	}
	return found
}

// gradient is A'(b - A x), half the fall of the squared misfit along each column.
func (s *activeSet) gradient() []float64 {
	var misfit, gradient mat.VecDense
	misfit.MulVec(s.a, mat.NewVecDense(len(s.x), s.x))
	misfit.SubVec(mat.NewVecDense(len(s.b), s.b), &misfit)
	gradient.MulVec(s.a.T(), &misfit)
	return gradient.RawVector().Data
}

// leastSquares solves for the passive columns alone; not sound when they depend on each other.
func (s *activeSet) leastSquares() (z []float64, sound bool) {
	part := mat.NewDense(len(s.b), len(s.passive), nil)
	for k, j := range s.passive {
		part.SetCol(k, mat.Col(nil, j, s.a))
	}
	var qr mat.QR
	qr.Factorize(part)
	var solved mat.VecDense
	err := qr.SolveVecTo(&solved, false, mat.NewVecDense(len(s.b), s.b))
	if err != nil || !(qr.Cond() < mostCondition) {
		return make([]float64, len(s.passive)), false
	}
	return solved.RawVector().Data, true
}
