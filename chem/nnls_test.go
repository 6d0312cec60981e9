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

// ownAnswers are the least squares answers, by the pseudo-inverse, of all sets of columns whose answer is not negative. The best
// non-negative answer is one of them.
func ownAnswers(a *mat.Dense, b []float64) [][]float64 {
	rows, columns := a.Dims()
	answers := [][]float64{make([]float64, columns)} // nothing at all
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
			answers = append(answers, x)
		}
	}
	return answers
}

// leftOver is the gradient along a column of length 1 that a search may leave, with amounts that were compared. It ends with less
// than 1e-12 of |b|. Rounding is less than 1e-12 of what was added up, which is far above |b| where columns nearly cancel. A column
// left out as dependent is so by 1e-12 for each of the others.
func leftOver(a *mat.Dense, b []float64, amounts ...[]float64) float64 {
	_, columns := a.Dims()
	return (gradientRounding + float64(columns)/mostCondition) * added(a, b, amounts...)
}

// added is |b| and all that amounts of the columns come to before any of it cancels.
func added(a *mat.Dense, b []float64, amounts ...[]float64) float64 {
	sum := mat.Norm(mat.NewVecDense(len(b), b), 2)
	for _, x := range amounts {
		for j := range x {
			sum += x[j] * mat.Norm(a.ColView(j), 2)
		}
	}
	return sum
}

func drawnProblem(t *rapid.T, mostColumns int) (*mat.Dense, []float64) {
	rows := rapid.IntRange(1, 12).Draw(t, "rows")
	columns := rapid.IntRange(1, mostColumns).Draw(t, "columns")
	drawn := rapid.OneOf(rapid.Float64Range(-1, 1), rapid.Float64Range(0, 100), rapid.Just(0.0), rapid.Just(1.0))
	entry := rapid.Map(drawn, func(x float64) float64 {
		if math.Abs(x) < leastLength {
			return 0
		}
		return x
	})
	a, b := mat.NewDense(rows, columns, nil), make([]float64, rows)
	for i := range rows {
		for j := range columns {
			a.Set(i, j, entry.Draw(t, "a"))
		}
		b[i] = entry.Draw(t, "b")
	}
	return a, b
}

// The squared misfit is convex: from x to any y >= 0 it falls by at most twice the sum of g (y - x), where g is its half fall
// along each column. With g as leftOver has it, and the sum of x and y for columns of length 1 below what was added up, that
// leaves a misfit of some millionths of |b| where there could be none.
func TestNonNegativeIsAsNearAsAnySetOfColumns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawnProblem(t, 6)
		x := nonNegative(a, b)
		for _, value := range x {
			require.GreaterOrEqual(t, value, 0.0)
		}
		found := misfit(a, b, x)
		for _, y := range ownAnswers(a, b) {
			fall, other := leftOver(a, b, x, y), misfit(a, b, y)
			require.LessOrEqual(t, found*found, other*other+2*fall*added(a, b, x, y), "%v is nearer than %v", y, x)
		}
	})
}

// Karush, Kuhn and Tucker: x >= 0, no column along which the misfit still falls, and none at all along those in use. What rounds
// is in leftOver.
func TestNonNegativeMeetsTheConditionsOfTheOptimum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawnProblem(t, 25)
		x := nonNegative(a, b)
		search := activeSet{a: a, b: b, x: x}
		for j, fall := range search.gradient() {
			allowed := leftOver(a, b, x) * mat.Norm(a.ColView(j), 2)
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
		"one too short to use":   {mat.NewDense(1, 2, []float64{1e-310, 2}), []float64{4}, []float64{0, 2}},
		"the same column twice":  {mat.NewDense(2, 2, []float64{1, 1, 1, 1}), []float64{3, 3}, []float64{3, 0}},
		"more columns than rows": {mat.NewDense(1, 3, []float64{1, 2, 4}), []float64{8}, []float64{8, 0, 0}},
		"nothing is asked":       {mat.NewDense(1, 1, []float64{1}), []float64{0}, []float64{0}},
	} {
		assert.InDeltaSlice(t, c.want, nonNegative(c.a, c.b), 1e-9, name)
	}
}
