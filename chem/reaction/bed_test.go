package reaction

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/heat"
)

// cold never reacts: only its temperatures are looked at.
func cold(t testing.TB) Reaction { return with(t, "F1", 500, 1) }

// unaccomplished is what the core still misses of a step of the face, by the series for a slab.
// Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), 3.3.
func unaccomplished(fourier float64) float64 {
	sum := 0.0
	for n := range 200 {
		root := (2*float64(n) + 1) * math.Pi / 2
		sum += 2 / root * math.Pow(-1, float64(n)) * math.Exp(-root*root*fourier)
	}
	return sum
}

func TestPublishedConduction(t *testing.T) {
	const depth, diffusivity = 50.0, 2e-7
	diffusing := 0.05 * 0.05 / diffusivity / 60 // minutes to a Fourier number of 1
	for _, row := range readCSV(t, "conduction-checks.csv") {
		t.Run(row["id"], func(t *testing.T) {
			fourier := number(t, row["fourier"])
			assert.InDelta(t, unaccomplished(fourier), number(t, row["expected"]), 1e-5)
			result, err := cold(t).Along(Request{
				Profile: held(1000, fourier*diffusing), InitialCelsius: 0, DepthMillimeters: depth,
				DiffusivitySquareMetersPerSecond: diffusivity,
			})
			require.NoError(t, err)
			assert.InDelta(t, number(t, row["expected"]), 1-*result.CorePeakCelsius/1000, 0.002)
		})
	}
}

// A ramp of the face: the core lags by rate L^2/2a in the end, and by the series before; Carslaw and Jaeger, 3.4 and 3.5.
func TestRampAgainstTheSeries(t *testing.T) {
	const diffusivity, depth, perSecond = 1.5e-7, 0.04, 200.0 / 3600
	for _, hours := range []float64{0.5, 1, 2, 4} {
		seconds := hours * 3600
		fourier := diffusivity * seconds / (depth * depth)
		lag := perSecond * depth * depth / diffusivity / 2
		for n := range 200 {
			root := (2*float64(n) + 1) * math.Pi / 2
			lag -= perSecond * depth * depth / diffusivity * 2 * math.Pow(-1, float64(n)) / (root * root * root) *
				math.Exp(-root*root*fourier)
		}
		result, err := cold(t).Along(Request{
			Profile:          []heat.Point{{Celsius: 20}, {Minute: seconds / 60, Celsius: 20 + perSecond*seconds}},
			InitialCelsius:   20,
			DepthMillimeters: 1000 * depth, DiffusivitySquareMetersPerSecond: diffusivity,
		})
		require.NoError(t, err)
		assert.InDelta(t, 20+perSecond*seconds-lag, *result.CorePeakCelsius, 0.5, "%g h", hours)
	}
}

// mean is the average over the depth.
func (b *bed) mean() float64 {
	sum := 0.0
	for _, celsius := range b.cells {
		sum += celsius
	}
	return sum / bedCells
}

// What enters through the face is what the bed has gained, for any program.
func TestConductionConservesHeat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.Float64Range(0, 1000).Draw(t, "start")
		b := newBed(start, rapid.Float64Range(0.001, 0.5).Draw(t, "depth"), rapid.Float64Range(1e-8, 1e-6).Draw(t, "diffusivity"))
		face, entered, scale := rapid.Float64Range(0, 1300).Draw(t, "face"), 0.0, 1.0
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			next := rapid.Float64Range(0, 1300).Draw(t, "next")
			heat := b.step(face, next, rapid.Float64Range(0.01, 20000).Draw(t, "seconds"))
			entered, face, scale = entered+heat, next, scale+math.Abs(heat)
		}
		require.InDelta(t, b.mean()-start, entered, 1e-9*scale+1e-9)
	})
}

// In the end the whole bed is as hot as its face, and no core is ever hotter than the face has been, but for the damped
// overshoot of a step that was too long to follow.
func TestTheCoreFollowsTheFace(t *testing.T) {
	never := cold(t)
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(0.5, 20).Draw(t, "rate")
		celsius := rapid.Float64Range(100, 1300).Draw(t, "celsius")
		depth := rapid.Float64Range(1, 100).Draw(t, "depth")
		minutes := 8 * depth * depth / 1e6 / defaultDiffusivity().Value / 60
		result, err := never.Along(Request{Profile: ramped(rate, celsius, minutes), InitialCelsius: 20, DepthMillimeters: depth})
		require.NoError(t, err)
		require.InDelta(t, celsius, *result.CorePeakCelsius, 0.1)
		require.LessOrEqual(t, *result.CorePeakCelsius, celsius+0.05)
	})
}

// The step is fine enough: ten times finer ones give the same conversions.
func TestFinerStepsChangeNothing(t *testing.T) {
	kaolinite := named(t, "kaolinite")
	q := Request{Profile: ramped(5, 520, 60), InitialCelsius: 20, DepthMillimeters: 25}
	coarse := newWalk(kaolinite, q)
	coarse.along(q.Profile, nil)
	fine := newWalk(kaolinite, q)
	fine.longest = 2
	fine.along(q.Profile, nil)
	for p := range placeCount {
		assert.InDelta(t, fine.fraction(p), coarse.fraction(p), 3e-3, "place %d", p)
	}
	assert.InDelta(t, fine.meanFraction(), coarse.meanFraction(), 1e-3)
}

// Beds thinner than any dust and deeper than any kiln come to an end too.
func TestAnyDepthIsFollowed(t *testing.T) {
	for _, depth := range []float64{1e-9, 1e-3, 0.1, 2000} {
		for _, profile := range [][]heat.Point{ramped(1000, 1000, 1e4), {{Celsius: 20}, {Celsius: 1200}, {Minute: 1e-9, Celsius: 20}, {Minute: 8e4, Celsius: 900}}} {
			result, err := named(t, "kaolinite").Along(Request{Profile: profile, InitialCelsius: 20, DepthMillimeters: depth})
			require.NoError(t, err)
			assert.Equal(t, depth < 1, *result.CoreConversion > 0.99, "%g mm", depth)
		}
	}
}
