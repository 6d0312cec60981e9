package kinetics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/data"
	"saggar/chem/heat"
)

// The three forms of a model belong together: g is the integral of 1/f, by plain quadrature, and inverse undoes g.
func TestModelsFormsBelongTogether(t *testing.T) {
	for _, m := range Models() {
		t.Run(m.Name, func(t *testing.T) {
			const from, to = 0.05, 0.95
			sum, steps := 0.0, 20000
			for i := range steps { // midpoints
				sum += (to - from) / float64(steps) / m.f(from+(float64(i)+0.5)*(to-from)/float64(steps))
			}
			assert.InEpsilon(t, sum, m.g(to)-m.g(from), 1e-6)
			for _, alpha := range []float64{1e-6, 0.1, 0.5, 0.9, 0.99, 0.999999} {
				assert.InEpsilon(t, alpha, m.Fraction(m.KineticTime(alpha)), 1e-9)
			}
			assert.Zero(t, m.Fraction(0))
			assert.InDelta(t, 1, m.Fraction(1e30), 1e-9)
		})
	}
}

// The two routes against each other: the closed form, and the embedded Runge-Kutta integration of f.
func TestClosedFormAndIntegrationAgree(t *testing.T) {
	for _, m := range Models() {
		t.Run(m.Name, func(t *testing.T) {
			p := m.integrate()
			for _, alpha := range []float64{0.001, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 0.999} {
				theta := m.g(alpha)
				assert.InDelta(t, alpha, p.at(theta), 2e-6, "at %g", alpha)
				assert.InEpsilon(t, theta, p.timeTo(alpha), 1e-3, "to %g", alpha)
			}
			assert.InDelta(t, 1, p.at(1e9), 1e-4)
			assert.Less(t, len(p.y), 20_000)
		})
	}
}

// The integral of the truncated Sestak-Berggren model by plain quadrature: with x = u^(1/(1-m)) it has no infinite end.
func TestSestakBerggrenAgainstQuadrature(t *testing.T) {
	for name, exponents := range map[string][2]float64{
		"SB(0.203;0.380)": {0.203, 0.380}, "SB(0;0.5)": {0, 0.5}, "SB(0.5;0.9)": {0.5, 0.9},
	} {
		m, ok := ModelNamed(name)
		require.True(t, ok)
		power, n := 1-exponents[0], exponents[1]
		for _, alpha := range []float64{0.001, 0.1, 0.5, 0.9, 0.99} {
			exact, steps, end := 0.0, 200_000, math.Pow(alpha, power)
			for i := range steps {
				u := end * (float64(i) + 0.5) / float64(steps)
				exact += end / float64(steps) / power * math.Pow(1-math.Pow(u, 1/power), -n)
			}
			assert.InEpsilon(t, exact, m.KineticTime(alpha), 1e-4, "%s to %g", name, alpha)
			assert.InDelta(t, alpha, m.Fraction(exact), 1e-5, "%s at %g", name, alpha)
		}
		assert.False(t, m.Closed())
	}
}

func TestModelNames(t *testing.T) {
	for _, name := range []string{"", "F4", "A9", "SB(", "SB(1;1)", "SB(-0.1;1)", "SB(0.1;0)", "SB(0.1,1)"} {
		_, ok := ModelNamed(name)
		assert.False(t, ok, name)
	}
}

func FuzzModelNamed(f *testing.F) {
	f.Add("SB(0.203;0.380)")
	f.Add("A2")
	f.Fuzz(func(t *testing.T, name string) {
		if len(name) > 40 {
			return
		}
		if m, ok := ModelNamed(name); ok {
			require.Equal(t, name, m.Name)
		}
	})
}

// Against a third route, the rate equation itself along a ramp, by plain fourth-order Runge-Kutta in small fixed steps.
func TestRateEquationAlongARampByPlainIntegration(t *testing.T) {
	for _, m := range Models() {
		t.Run(m.Name, func(t *testing.T) {
			r, ok := NewRate(data.Kinetics{Model: m.Name, ActivationKilojoulesPerMole: 222, FrequencyPerSecond: 2.3584e12})
			require.True(t, ok)
			perSecond := 10.0 / 60
			slope := func(seconds, alpha float64) float64 {
				return r.PerSecond(20+perSecond*seconds) * m.f(min(max(alpha, 1e-10), 1))
			}
			seconds, alpha, step := 0.0, 1e-10, 0.25
			for seconds < 480/perSecond {
				k1 := slope(seconds, alpha)
				k2 := slope(seconds+step/2, alpha+step/2*k1)
				k3 := slope(seconds+step/2, alpha+step/2*k2)
				k4 := slope(seconds+step, alpha+step*k3)
				alpha = min(1, alpha+step/6*(k1+2*k2+2*k3+k4))
				seconds += step
			}
			converted := r.Along([]heat.Point{{Celsius: 20}, {Minute: 48, Celsius: 500}})
			// The diffusion models start infinitely steep, which a fixed step misses a little.
			assert.InDelta(t, alpha, converted, 2e-3)
		})
	}
}

func TestFractionNeverFalls(t *testing.T) {
	names := []string{"F1", "F2", "F3", "A2", "A3", "R2", "R3", "D1", "D3", "SB(0.203;0.380)"}
	rapid.Check(t, func(t *rapid.T) {
		m, _ := ModelNamed(rapid.SampledFrom(names).Draw(t, "model"))
		early := rapid.Float64Range(0, 20).Draw(t, "early")
		later := early + rapid.Float64Range(0, 20).Draw(t, "later")
		require.LessOrEqual(t, m.Fraction(early), m.Fraction(later)+1e-12)
		require.GreaterOrEqual(t, m.Fraction(early), 0.0)
		require.LessOrEqual(t, m.Fraction(later), 1.0)
	})
}
