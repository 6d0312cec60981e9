package kinetics

import (
	"math"
	"sort"
	"sync"
)

// odeTolerance is the local error allowed in one step of the integration of a model, in alpha^early.
const odeTolerance = 1e-9

// path is alpha over the kinetic time, integrated once: d(alpha)/d(theta) = f(alpha) in y = alpha^early, which begins
// straight whatever the model. Between its knots y is the cubic through values and slopes.
type path struct {
	theta, y, slope []float64
	early           float64
}

// paths keeps what has been integrated, by the model's name.
var paths sync.Map

func (m Model) path() *path {
	if known, ok := paths.Load(m.Name); ok {
		return known.(*path)
	}
	kept, _ := paths.LoadOrStore(m.Name, m.integrate())
	return kept.(*path)
}

// slopeIn is dy/d(theta) = early alpha^(early-1) f(alpha). At the very start, where f may be 0 or infinite, it is the
// slope a little later, which the choice of y makes the same.
func (m Model) slopeIn(y float64) float64 {
	alpha := min(math.Pow(max(y, 1e-12), 1/m.early), 1-1e-15) // some forms are 0 times infinity at 1
	return m.early * math.Pow(alpha, m.early-1) * m.f(alpha)
}

// integrate follows the model to its end, or until all but 1e-9 is converted, with the embedded pair of Bogacki and Shampine
// (Appl. Math. Lett. 2 (1989) 321-325): third order, the step set by the difference from second order.
func (m Model) integrate() *path {
	p := &path{early: m.early}
	theta, y, k1 := 0.0, 0.0, m.slopeIn(0)
	p.add(theta, y, k1)
	step := 1e-4 / k1
	for math.Pow(y, 1/m.early) < 1-1e-9 {
		k2 := m.slopeIn(y + step/2*k1)
		k3 := m.slopeIn(y + 3*step/4*k2)
		next := y + step*(2*k1/9+k2/3+4*k3/9)
		k4 := m.slopeIn(next)
		missed := math.Abs(step * (-5*k1/72 + k2/12 + k3/9 - k4/8))
		// A step over the end of a model that finishes in finite time is shortened until it ends there.
		if (missed > odeTolerance || next > 1) && step > 1e-12/k1 {
			step *= max(0.2, min(0.8, 0.9*math.Cbrt(odeTolerance/max(missed, 1e-300))))
			continue
		}
		theta, y, k1 = theta+step, min(next, 1), k4
		p.add(theta, y, k1)
		if y >= 1 || k1 <= 0 || len(p.y) > 200_000 {
			break
		}
		step *= min(5, 0.9*math.Cbrt(odeTolerance/max(missed, 1e-300)))
	}
	return p
}

func (p *path) add(theta, y, slope float64) {
	p.theta, p.y, p.slope = append(p.theta, theta), append(p.y, y), append(p.slope, slope)
}

// at is alpha at a kinetic time.
func (p *path) at(theta float64) float64 {
	i := sort.SearchFloat64s(p.theta, theta)
	if i >= len(p.theta) {
		return math.Pow(p.y[len(p.y)-1], 1/p.early)
	}
	if i == 0 {
		return 0
	}
	return math.Pow(p.between(i, (theta-p.theta[i-1])/(p.theta[i]-p.theta[i-1])), 1/p.early)
}

// between is the cubic before knot i, u of the way.
func (p *path) between(i int, u float64) float64 {
	width := p.theta[i] - p.theta[i-1]
	y0, y1, d0, d1 := p.y[i-1], p.y[i], p.slope[i-1]*width, p.slope[i]*width
	rest := 1 - u
	return y0*rest*rest*(1+2*u) + y1*u*u*(1+2*rest) + d0*u*rest*rest - d1*u*u*rest
}

// timeTo is the kinetic time at which alpha is reached, by halving on the knots' cubics.
func (p *path) timeTo(alpha float64) float64 {
	y := math.Pow(alpha, p.early)
	i := sort.SearchFloat64s(p.y, y)
	switch {
	case i == 0:
		return 0
	case i >= len(p.y):
		return p.theta[len(p.theta)-1]
	}
	low, high := 0.0, 1.0
	for range 60 {
		if middle := (low + high) / 2; p.between(i, middle) < y {
			low = middle
		} else {
			high = middle
		}
	}
	return p.theta[i-1] + low*(p.theta[i]-p.theta[i-1])
}
