package heat

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// leastSquares is the end of a search for the parameters with the least sum of squared residuals.
type leastSquares struct {
	parameters []float64
	squares    float64
	// inverse is (J^T J)^-1, row by row: times the variance of a residual, the covariance of the parameters.
	inverse *mat.SymDense
	// ok is false when the residuals do not determine the parameters.
	ok bool
}

// noResidual is, in the residuals' unit, what no reading of a clock or a thermometer tells apart.
const noResidual = 1e-8

// fitLeastSquares searches by the method of Levenberg and Marquardt: steps (J^T J + damping diag(J^T J)) d = -J^T r, with less
// damping after a step that helps and more after one that does not. The residuals must be smooth; J is taken by central
// differences, so parameters should be of the order of 1. It needs more residuals than parameters, or as many.
func fitLeastSquares(begin []float64, residuals func([]float64) []float64) leastSquares {
	found := leastSquares{parameters: append([]float64{}, begin...)}
	rest := residuals(found.parameters)
	found.squares = sumOfSquares(rest)
	damping := 1e-3
	jacobian := jacobianAt(found.parameters, len(rest), residuals)
	for range 200 {
		trial, ok := dampedStep(jacobian, rest, found.parameters, damping)
		next := residuals(trial)
		squares := sumOfSquares(next)
		if !ok || !(squares <= found.squares) {
			if damping *= 8; damping > 1e12 {
				break
			}
			continue
		}
		gained, moved := found.squares-squares, farthest(trial, found.parameters)
		found.parameters, found.squares, rest = trial, squares, next
		damping = max(1e-12, damping/8)
		if moved < 1e-9 || gained <= 1e-12*squares || squares < float64(len(rest))*noResidual*noResidual {
			break
		}
		jacobian = jacobianAt(found.parameters, len(rest), residuals)
	}
	found.inverse, found.ok = inverseOfNormal(jacobianAt(found.parameters, len(rest), residuals))
	found.ok = found.ok && !math.IsNaN(found.squares) && !math.IsInf(found.squares, 0)
	return found
}

// dampedStep is the trial point of one step.
func dampedStep(jacobian *mat.Dense, rest, at []float64, damping float64) ([]float64, bool) {
	n := len(at)
	normal, slope := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	normal.SymOuterK(1, jacobian.T())
	slope.MulVec(jacobian.T(), mat.NewVecDense(len(rest), rest))
	for i := range n {
		normal.SetSym(i, i, normal.At(i, i)*(1+damping)+1e-300)
	}
	trial := append([]float64{}, at...)
	var factor mat.Cholesky
	if !factor.Factorize(normal) {
		return trial, false
	}
	step := mat.NewVecDense(n, nil)
	if err := factor.SolveVecTo(step, slope); err != nil {
		return trial, false
	}
	for i := range trial {
		trial[i] -= min(2, max(-2, step.AtVec(i))) // a parameter is a logarithm: no more than sevenfold at once
	}
	return trial, true
}

// jacobianAt takes the slopes of the residuals by central differences.
func jacobianAt(at []float64, rows int, residuals func([]float64) []float64) *mat.Dense {
	const step = 1e-5
	jacobian := mat.NewDense(rows, len(at), nil)
	point := append([]float64{}, at...)
	for j := range at {
		h := step * max(1, math.Abs(at[j]))
		point[j] = at[j] + h
		above := residuals(point)
		point[j] = at[j] - h
		below := residuals(point)
		point[j] = at[j]
		for i := range rows {
			jacobian.Set(i, j, (above[i]-below[i])/(2*h))
		}
	}
	return jacobian
}

// inverseOfNormal is (J^T J)^-1; false when it is singular to working precision.
func inverseOfNormal(jacobian *mat.Dense) (*mat.SymDense, bool) {
	_, n := jacobian.Dims()
	normal, inverse := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	normal.SymOuterK(1, jacobian.T())
	var factor mat.Cholesky
	if !factor.Factorize(normal) || !(factor.Cond() < 1e14) {
		return inverse, false
	}
	return inverse, factor.InverseTo(inverse) == nil
}

func sumOfSquares(values []float64) float64 {
	total := 0.0
	for _, v := range values {
		total += v * v
	}
	return total
}

func farthest(a, b []float64) float64 {
	most := 0.0
	for i := range a {
		most = max(most, math.Abs(a[i]-b[i]))
	}
	return most
}
