package chem

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

func misfit(a *mat.Dense, b, x []float64) float64 {
	var r mat.VecDense
	r.MulVec(a, mat.NewVecDense(len(x), x))
	r.SubVec(mat.NewVecDense(len(b), b), &r)
	return mat.Norm(&r, 2)
}

// bruteForce is the least misfit over all sets of columns whose own least squares answer, by the pseudo-inverse, is not
// negative. The best non-negative answer is one of them.
func bruteForce(a *mat.Dense, b []float64) float64 {
	rows, columns := a.Dims()
	best := mat.Norm(mat.NewVecDense(rows, b), 2) // nothing at all
	for set := 1; set < 1<<columns; set++ {
		var chosen []int
		for j := range columns {
			if set&(1<<j) != 0 {
				chosen = append(chosen, j)
			}
		}
		part := mat.NewDense(rows, len(chosen), nil)
		for k, j := range chosen {
			part.SetCol(k, mat.Col(nil, j, a))
		}
		var svd mat.SVD
		if !svd.Factorize(part, mat.SVDThin) {
			continue
		}
		rank := svd.Rank(1e-12)
		if rank == 0 {
			continue
		}
		var solved mat.Dense
		svd.SolveTo(&solved, mat.NewDense(rows, 1, b), rank)
		x, negative := make([]float64, columns), false
		for k, j := range chosen {
			x[j] = solved.At(k, 0)
			negative = negative || x[j] < 0
		}
		if !negative {
			best = math.Min(best, misfit(a, b, x))
		}
	}
	return best
}

func drawnProblem(t *rapid.T, mostColumns int) (*mat.Dense, []float64) {
	rows := rapid.IntRange(1, 12).Draw(t, "rows")
	columns := rapid.IntRange(1, mostColumns).Draw(t, "columns")
	entry := rapid.OneOf(rapid.Float64Range(-1, 1), rapid.Float64Range(0, 100), rapid.Just(0.0), rapid.Just(1.0))
	a, b := mat.NewDense(rows, columns, nil), make([]float64, rows)
	for i := range rows {
		for j := range columns {
			a.Set(i, j, entry.Draw(t, "a"))
		}
		b[i] = entry.Draw(t, "b")
	}
	return a, b
}

func TestNonNegativeIsAsNearAsAnySetOfColumns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawnProblem(t, 6)
		x := nonNegative(a, b)
		for _, value := range x {
			require.GreaterOrEqual(t, value, 0.0)
		}
		scale := mat.Norm(mat.NewVecDense(len(b), b), 2)
		require.LessOrEqual(t, misfit(a, b, x), bruteForce(a, b)+1e-7*scale+1e-12)
	})
}

// Karush, Kuhn and Tucker: x >= 0, no column along which the misfit still falls, and none at all along those in use.
func TestNonNegativeMeetsTheConditionsOfTheOptimum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawnProblem(t, 25)
		x := nonNegative(a, b)
		search := activeSet{a: a, b: b, x: x}
		size := mat.Norm(mat.NewVecDense(len(b), b), 2)
		for j, fall := range search.gradient() {
			length := mat.Norm(a.ColView(j), 2)
			allowed := 1e-6*size*length + 1e-12
			require.GreaterOrEqual(t, x[j], 0.0)
			require.LessOrEqual(t, fall, allowed, "column %d", j)
			if x[j] > 0 {
				require.InDelta(t, 0, fall, allowed, "column %d", j)
			}
		}
	})
}

func TestNonNegativeInPlainCases(t *testing.T) {
	for name, c := range map[string]struct {
		a    *mat.Dense
		b    []float64
		want []float64
	}{
		"exact":                  {mat.NewDense(2, 2, []float64{1, 1, 0, 2}), []float64{3, 4}, []float64{1, 2}},
		"one would be negative":  {mat.NewDense(2, 2, []float64{1, 1, 0, 1}), []float64{2, -1}, []float64{2, 0}},
		"nothing helps":          {mat.NewDense(2, 1, []float64{1, 1}), []float64{-1, -1}, []float64{0}},
		"a column of zeros":      {mat.NewDense(1, 2, []float64{0, 2}), []float64{4}, []float64{0, 2}},
		"the same column twice":  {mat.NewDense(2, 2, []float64{1, 1, 1, 1}), []float64{3, 3}, []float64{3, 0}},
		"more columns than rows": {mat.NewDense(1, 3, []float64{1, 2, 4}), []float64{8}, []float64{8, 0, 0}},
		"nothing is asked":       {mat.NewDense(1, 1, []float64{1}), []float64{0}, []float64{0}},
	} {
		assert.InDeltaSlice(t, c.want, nonNegative(c.a, c.b), 1e-9, name)
	}
}
