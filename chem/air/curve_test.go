package air

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawZone draws a room with a flow in up to three steps, zero and next to zero among them.
func drawZone(t *rapid.T) Zone {
	flow := rapid.OneOf(rapid.Just(0.0), rapid.Just(1e-12), rapid.Float64Range(0.001, 1))
	zone := Zone{
		VolumeCubicMeters: rapid.Float64Range(60, 400).Draw(t, "volume"),
		MixingFactor:      rapid.Float64Range(1, 5).Draw(t, "mixing"),
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "steps") {
		zone.Flow = append(zone.Flow, FlowStep{float64(i * rapid.IntRange(20, 200).Draw(t, "at")), flow.Draw(t, "flow")})
		if i > 0 {
			zone.Flow[i].StartMinute += zone.Flow[i-1].StartMinute
		}
	}
	if rapid.Bool().Draw(t, "dirty") {
		zone.BackgroundPPM = map[string]float64{"SO2": 0.02, "CO": 0.4}
	}
	return zone
}

func drawSources(t *rapid.T, label string) []Source {
	minute := rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(0, 400).Draw(t, "minute")) })
	length := rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(1, 200).Draw(t, "length")) })
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Source {
		source := Source{
			Name:             "muffle",
			CaptureFraction:  rapid.Float64Range(0, 1).Draw(t, "closed"),
			DoorOpenFraction: rapid.Float64Range(0, 1).Draw(t, "open"),
		}
		for range rapid.IntRange(1, 4).Draw(t, "releases") {
			from := minute.Draw(t, "from")
			source.Releases = append(source.Releases, Release{
				Species: rapid.SampledFrom([]string{"SO2", "CO"}).Draw(t, "species"), StartMinute: from,
				EndMinute: from + length.Draw(t, "for"), GramsPerMinute: rapid.Float64Range(0, 5).Draw(t, "grams"),
			})
		}
		for range rapid.IntRange(0, 3).Draw(t, "openings") {
			from := minute.Draw(t, "opens")
			source.DoorOpen = append(source.DoorOpen, Interval{from, from + length.Draw(t, "stays")})
		}
		return source
	}), 1, 4).Draw(t, label)
}

// plainSteps are the steps a minute of the plain integration.
const plainSteps = 16

// plainly is a room solved by fourth-order Runge-Kutta from minute 0 on, and the sum of its concentration.
type plainly struct {
	ppm []float64
	sum []float64 // ppm minutes
}

// plainlySolved integrates V dC/dt = G - (Q/K)(C - background) with every quantity looked up anew in each step. It
// shares no code with the package.
func plainlySolved(zone Zone, sources []Source, species string, gramsPerMole float64, minutes int) plainly {
	const h = 1.0 / plainSteps
	background := zone.BackgroundPPM[species]
	c, sum := background, 0.0
	result := plainly{ppm: []float64{c}, sum: []float64{0}}
	for i := range minutes * plainSteps {
		middle := (float64(i) + 0.5) * h // breakpoints are whole minutes: nothing changes within a step
		spill, flow := plainSpill(sources, species, middle), zone.Flow[0].CubicMetersPerSecond
		for _, step := range zone.Flow[1:] {
			if step.StartMinute <= middle {
				flow = step.CubicMetersPerSecond
			}
		}
		slope := func(c float64) float64 {
			return (spill*1000*24.45/gramsPerMole - flow*60/zone.MixingFactor*(c-background)) / zone.VolumeCubicMeters
		}
		k1 := slope(c)
		k2 := slope(c + h/2*k1)
		k3 := slope(c + h/2*k2)
		next := c + h/6*(k1+2*k2+2*k3+slope(c+h*k3))
		sum += h/2*(c+next) + h*h/12*(k1-slope(next))
		c = next
		result.ppm, result.sum = append(result.ppm, c), append(result.sum, sum)
	}
	return result
}

func plainSpill(sources []Source, species string, minute float64) float64 {
	spill := 0.0
	for _, source := range sources {
		capture := source.CaptureFraction
		for _, open := range source.DoorOpen {
			if open.StartMinute <= minute && minute < open.EndMinute {
				capture = source.DoorOpenFraction
			}
		}
		for _, r := range source.Releases {
			if r.Species == species && r.StartMinute <= minute && minute < r.EndMinute {
				spill += r.GramsPerMinute * (1 - capture)
			}
		}
	}
	return spill
}

// maxMean is the greatest moving mean over windows that begin at a step.
func (p plainly) maxMean(window int) float64 {
	width, best := window*plainSteps, 0.0
	for i := width; i < len(p.sum); i++ {
		best = max(best, (p.sum[i]-p.sum[i-width])/float64(window))
	}
	return best
}

// sumTo is the sum up to any minute, by the cubic through two steps and their slopes.
func (p plainly) sumTo(minute float64) float64 {
	const h = 1.0 / plainSteps
	i := min(int(minute/h), len(p.sum)-2)
	x := minute/h - float64(i)
	return p.sum[i]*(1+2*x)*(1-x)*(1-x) + p.sum[i+1]*x*x*(3-2*x) +
		h*(p.ppm[i]*x*(1-x)*(1-x)-p.ppm[i+1]*x*x*(1-x))
}

func TestClosedFormAgainstPlainIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, sources := drawZone(t), drawSources(t, "sources")
		curves, err := Curves(zone, sources)
		require.NoError(t, err)
		for _, curve := range curves {
			gramsPerMole := map[string]float64{"SO2": 64.058, "CO": 28.010}[curve.Species()]
			plain := plainlySolved(zone, sources, curve.Species(), gramsPerMole, 1300)
			highest := 0.0
			for i, want := range plain.ppm {
				minute := float64(i) / plainSteps
				highest = max(highest, want)
				if i%17 == 0 {
					assert.InDelta(t, want, curve.At(minute), 1e-6*max(want, 1e-3*highest), "minute %v", minute)
				}
			}
			peak, at := curve.Peak()
			assert.InEpsilon(t, max(highest, 1e-12), max(peak, 1e-12), 1e-6)
			assert.InDelta(t, peak, curve.At(at), 1e-9*peak)
		}
	})
}

func TestMaxMeanAgainstPlainIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, sources := drawZone(t), drawSources(t, "sources")
		curves, err := Curves(zone, sources)
		require.NoError(t, err)
		for _, curve := range curves {
			gramsPerMole := map[string]float64{"SO2": 64.058, "CO": 28.010}[curve.Species()]
			plain := plainlySolved(zone, sources, curve.Species(), gramsPerMole, 1300)
			for _, window := range []int{10, 15, 60, 480} {
				got, start := curve.MaxMean(float64(window))
				want := (plain.sumTo(start+float64(window)) - plain.sumTo(start)) / float64(window)
				assert.InDelta(t, want, got, 1e-6*want+1e-12, "window %d", window)
				assert.GreaterOrEqual(t, got, plain.maxMean(window)*(1-1e-6)-1e-12, "window %d", window)
			}
		}
	})
}

func TestReleasesAdd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone := drawZone(t)
		first, second := drawSources(t, "first"), drawSources(t, "second")
		at := rapid.Float64Range(-10, 1500).Draw(t, "at")
		excess := func(sources []Source) float64 {
			curves, err := Curves(zone, sources)
			require.NoError(t, err)
			for _, curve := range curves {
				if curve.Species() == "SO2" {
					return curve.At(at) - zone.BackgroundPPM["SO2"]
				}
			}
			return 0
		}
		want := excess(first) + excess(second)
		assert.InDelta(t, want, excess(append(append([]Source(nil), first...), second...)), 1e-9*want+1e-12)
	})
}

func TestOriginOfTimeDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, sources := drawZone(t), drawSources(t, "sources")
		shift := float64(rapid.IntRange(-10000, 10000).Draw(t, "shift"))
		before, err := Curves(zone, sources)
		require.NoError(t, err)
		for i := range zone.Flow {
			zone.Flow[i].StartMinute += shift
		}
		for i := range sources {
			for j := range sources[i].Releases {
				sources[i].Releases[j].StartMinute += shift
				sources[i].Releases[j].EndMinute += shift
			}
			for j := range sources[i].DoorOpen {
				sources[i].DoorOpen[j].StartMinute += shift
				sources[i].DoorOpen[j].EndMinute += shift
			}
		}
		after, err := Curves(zone, sources)
		require.NoError(t, err)
		require.Len(t, after, len(before))
		for i := range before {
			want, _ := before[i].MaxMean(15)
			got, _ := after[i].MaxMean(15)
			assert.InDelta(t, want, got, 1e-9*want)
		}
	})
}

func TestDecayHasNoSeam(t *testing.T) {
	for _, z := range []float64{0, 1e-300, 1e-9, 1e-3, 0.049999, 0.05, 0.3, 5, 800} {
		survives, phi1, phi2 := decay(z)
		assert.InDelta(t, math.Exp(-z), survives, 1e-15, "z %v", z)
		if z > 1e-8 {
			assert.InEpsilon(t, -math.Expm1(-z)/z, phi1, 1e-14, "z %v", z)
		}
		if z > 1e-2 {
			assert.InEpsilon(t, (z+math.Expm1(-z))/z/z, phi2, 1e-11, "z %v", z)
		}
	}
	_, phi1, phi2 := decay(0)
	assert.Equal(t, 1.0, phi1)
	assert.Equal(t, 0.5, phi2)
}

func TestMinuteBelow(t *testing.T) {
	source := []Source{{Releases: []Release{{"SO2", 0, 30, 1}}}}
	zone := Zone{VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.2)}
	curve := only(t, zone, source)
	minute, ok := curve.MinuteBelow(0.2)
	require.True(t, ok)
	assert.InDelta(t, 0.2, curve.At(minute), 1e-9)
	assert.Greater(t, minute, 30.0)

	minute, ok = curve.MinuteBelow(1e5)
	assert.True(t, ok, "below it all the time")
	assert.Equal(t, 30.0, minute, "not before the last release has ended")

	zone.Flow = nil
	_, ok = only(t, zone, source).MinuteBelow(0.2)
	assert.False(t, ok, "without flow the gas stays")

	zone.Flow = []FlowStep{{0, 0}, {100, 0.2}}
	late, ok := only(t, zone, source).MinuteBelow(0.2)
	require.True(t, ok)
	assert.Greater(t, late, 100.0, "only once the fan runs")

	zone.Flow, zone.BackgroundPPM = ConstantFlow(0.2), map[string]float64{"SO2": 0.3}
	_, ok = only(t, zone, source).MinuteBelow(0.2)
	assert.False(t, ok, "the incoming air is above it")
}

func only(t require.TestingT, zone Zone, sources []Source) Curve {
	curves, err := Curves(zone, sources)
	require.NoError(t, err)
	require.Len(t, curves, 1)
	return curves[0]
}

func TestWhatSurvivesIsTheExponential(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := rapid.OneOf(rapid.Float64Range(0, 1), rapid.Float64Range(0, 40), rapid.Float64Range(0, 800)).Draw(t, "z")
		require.InEpsilon(t, math.Exp(-z)+1e-320, surviving(z)+1e-320, 1e-15)
	})
}
