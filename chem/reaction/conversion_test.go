package reaction

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
	"saggar/chem/heat"
)

func TestAHoldOfTheMinutesGivenIsEnough(t *testing.T) {
	cases := []struct {
		name, reaction       string
		rate, celsius, depth float64
	}{
		{"kaolinite, thin", "kaolinite", 5, 500, 0},
		{"kaolinite, deep", "kaolinite", 5, 520, 30},
		{"kaolinite, on the ramp", "kaolinite", 1, 700, 0},
		{"calcite, deep", "calcite", 4, 890, 20},
		{"portlandite, deep", "portlandite", 3, 525, 10},
		{"brucite, deep", "brucite", 3, 380, 15},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := named(t, c.reaction)
			at := func(hold float64) Result {
				result, err := r.Along(Request{Profile: ramped(c.rate, c.celsius, hold), InitialCelsius: 20, DepthMillimeters: c.depth})
				require.NoError(t, err)
				return result
			}
			needed := at(10).MinutesTo99Percent
			require.NotNil(t, needed)
			assert.InDelta(t, *needed, *at(500).MinutesTo99Percent, 1e-6+0.001**needed, "whatever the program holds")
			if *needed == 0 {
				assert.GreaterOrEqual(t, at(0).Last(), 0.99)
				return
			}
			assert.InDelta(t, 0.99, at(*needed).Last(), 0.002)
			assert.Less(t, at(0.8**needed).Last(), 0.99)
		})
	}
}

func TestTooCoolIsSaidWithTheTemperatureThatWouldDo(t *testing.T) {
	kaolinite := named(t, "kaolinite")
	for _, depth := range []float64{0, 20} {
		q := Request{Profile: ramped(5, 330, 120), InitialCelsius: 20, DepthMillimeters: depth}
		result, err := kaolinite.Along(q)
		require.NoError(t, err)
		assert.Nil(t, result.MinutesTo99Percent)
		assert.Contains(t, result.Never, "too cool")
		require.NotNil(t, result.EnoughCelsius)
		q.Profile = ramped(5, *result.EnoughCelsius, 120)
		hotter, err := kaolinite.Along(q)
		require.NoError(t, err)
		assert.GreaterOrEqual(t, hotter.Last(), 0.99)
		q.Profile = ramped(5, *result.EnoughCelsius-3, 120)
		cooler, err := kaolinite.Along(q)
		require.NoError(t, err)
		assert.Less(t, cooler.Last(), 0.99)
	}
}

func TestWithoutADepthThereIsNoEnough(t *testing.T) {
	result, err := named(t, "kaolinite").Along(Request{Profile: ramped(5, 700, 600)})
	require.NoError(t, err)
	assert.Greater(t, result.Conversion, 0.9999)
	assert.Nil(t, result.CoreConversion)
	assert.False(t, result.Enough())
	assert.Contains(t, result.Assumptions[len(result.Assumptions)-1], "cannot be said")
	for _, depth := range []float64{20, 400} {
		deep, err := named(t, "kaolinite").Along(Request{Profile: ramped(5, 600, 240), InitialCelsius: 20, DepthMillimeters: depth})
		require.NoError(t, err)
		assert.Equal(t, depth == 20, deep.Enough())
		assert.LessOrEqual(t, *deep.CoreConversion, *deep.MeanConversion+1e-8)
		assert.LessOrEqual(t, *deep.MeanConversion, deep.Conversion+1e-8)
	}
}

func TestBeyondWhatWasMeasuredIsSaid(t *testing.T) {
	for celsius, beyond := range map[float64]bool{460: true, 461: false, 617: false, 618: true} {
		result, err := named(t, "kaolinite").Along(Request{Profile: held(celsius, 5)})
		require.NoError(t, err)
		said := false
		for _, note := range result.Assumptions {
			said = said || len(note) > 20 && note[:21] == "The rate was measured"
		}
		assert.Equal(t, beyond, said, "%g", celsius)
	}
}

func TestAlongRefuses(t *testing.T) {
	good := func() Request { return Request{Profile: ramped(5, 500, 60), InitialCelsius: 20, DepthMillimeters: 10} }
	for field, spoil := range map[string]func(*Request){
		"profile":                              func(q *Request) { q.Profile = nil },
		"profile[1].celsius":                   func(q *Request) { q.Profile[1].Celsius = math.NaN() },
		"profile[2].minute":                    func(q *Request) { q.Profile[2].Minute = 1 },
		"profile[0].minute":                    func(q *Request) { q.Profile[0].Minute = math.Inf(-1) },
		"initial_celsius":                      func(q *Request) { q.InitialCelsius = math.Inf(1) },
		"depth_millimeters":                    func(q *Request) { q.DepthMillimeters = -1 },
		"diffusivity_square_meters_per_second": func(q *Request) { q.DiffusivitySquareMetersPerSecond = 1 },
	} {
		t.Run(field, func(t *testing.T) {
			q := good()
			spoil(&q)
			_, err := named(t, "kaolinite").Along(q)
			fields := []string{}
			for _, f := range finding.FaultsOf(err) {
				fields = append(fields, f.Field)
			}
			assert.Contains(t, fields, field)
			_, err = named(t, "kaolinite").Course(q)
			assert.Error(t, err)
		})
	}
	_, err := named(t, "malachite").Along(good())
	assert.ErrorContains(t, err, "reaction: no rate is tabled for malachite, only its range, 200 to 380 C")
}

// profiles are any mixture of ramps, holds, cooling and jumps.
func drawProfile(t *rapid.T) []heat.Point {
	profile := []heat.Point{{Celsius: rapid.Float64Range(0, 900).Draw(t, "start")}}
	for range rapid.IntRange(1, 6).Draw(t, "points") {
		last := profile[len(profile)-1]
		profile = append(profile, heat.Point{
			Minute: last.Minute + rapid.SampledFrom([]float64{0, 1, 30, 200, 1000}).Draw(t, "minutes"), Celsius: rapid.Float64Range(0, 1300).Draw(t, "celsius"),
		})
	}
	return profile
}

func TestConversionGrowsWithTimeAndTemperature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, _ := Named(rapid.SampledFrom(Rated()).Draw(t, "reaction"))
		q := Request{Profile: drawProfile(t), InitialCelsius: 20, DepthMillimeters: rapid.SampledFrom([]float64{0, 3, 30, 300}).Draw(t, "depth")}
		course, err := r.Course(q)
		require.NoError(t, err)
		before := Stand{Minute: math.Inf(-1)}
		for _, stand := range course {
			require.GreaterOrEqual(t, stand.Minute, before.Minute)
			require.GreaterOrEqual(t, stand.Surface, before.Surface)
			require.GreaterOrEqual(t, stand.Mean, before.Mean)
			require.LessOrEqual(t, stand.Mean, 1.0)
			before = stand
		}
		result, err := r.Along(q)
		require.NoError(t, err)
		require.InDelta(t, before.Surface, result.Conversion, 2e-3)
		hotter := q
		hotter.Profile = nil
		for _, p := range q.Profile {
			hotter.Profile = append(hotter.Profile, heat.Point{Minute: p.Minute, Celsius: p.Celsius + 20})
		}
		more, err := r.Along(hotter)
		require.NoError(t, err)
		require.GreaterOrEqual(t, more.Conversion, result.Conversion-1e-9)
		require.GreaterOrEqual(t, more.Last(), result.Last()-1e-9)
	})
}

func TestMeasuredConversion(t *testing.T) {
	// 100 g of kaolinite loses 13.9566 g.
	whole := named(t, "kaolinite").LossFraction()
	m, err := Weighing{BeforeGrams: 100, AfterGrams: 100 - 50*whole, TheoreticalLossFraction: whole, ReadabilityGrams: 0.01}.Measure()
	require.NoError(t, err)
	assert.InDelta(t, 0.5, m.Conversion, 1e-12)
	// u^2 = (d/sqrt 12)^2 (1 + (after/before)^2) / (whole loss)^2, k = 2.
	assert.InDelta(t, 2*0.01/math.Sqrt(12)*math.Sqrt(1+0.930217*0.930217)/13.9566, m.Uncertainty, 1e-8)
	moist, err := Weighing{BeforeGrams: 100 / 0.98, MoistureFractionBefore: 0.02, AfterGrams: 100 - 50*whole,
		TheoreticalLossFraction: whole, ReadabilityGrams: 0.01}.Measure()
	require.NoError(t, err)
	assert.InDelta(t, 0.5, moist.Conversion, 1e-12, "free water is no reaction")
	assert.InDelta(t, 50*whole, moist.LossGrams, 1e-9)
}

func TestMeasureRefuses(t *testing.T) {
	good := Weighing{BeforeGrams: 100, AfterGrams: 90, TheoreticalLossFraction: 0.14, ReadabilityGrams: 0.1}
	for says, spoil := range map[string]func(*Weighing){
		"before_grams":              func(w *Weighing) { w.BeforeGrams = 0 },
		"after_grams: NaN":          func(w *Weighing) { w.AfterGrams = math.NaN() },
		"after_grams: -1":           func(w *Weighing) { w.AfterGrams = -1 },
		"readability_grams":         func(w *Weighing) { w.ReadabilityGrams = 0 },
		"moisture_fraction_before":  func(w *Weighing) { w.MoistureFractionBefore = 1 },
		"moisture_fraction_after":   func(w *Weighing) { w.MoistureFractionAfter = -0.1 },
		"theoretical_loss_fraction": func(w *Weighing) { w.TheoreticalLossFraction = 1.1 },
		"gained":                    func(w *Weighing) { w.AfterGrams = 100.2 },
		"more than the 14 g":        func(w *Weighing) { w.AfterGrams = 85.8 },
	} {
		t.Run(says, func(t *testing.T) {
			w := good
			spoil(&w)
			_, err := w.Measure()
			assert.ErrorContains(t, err, says)
		})
	}
	// Within the balance's uncertainty it is rounding, not a fault.
	for after, want := range map[float64]float64{100.05: 0, 85.95: 1} {
		w := good
		w.AfterGrams = after
		m, err := w.Measure()
		require.NoError(t, err)
		assert.Equal(t, want, m.Conversion)
	}
}

// A 20 h program with a bed, as a check of a recipe follows it.
func BenchmarkConversionInABed(b *testing.B) {
	kaolinite := named(b, "kaolinite")
	q := Request{
		Profile: append(ramped(5, 620, 480), heat.Point{Minute: 1200, Celsius: 60}), InitialCelsius: 20, DepthMillimeters: 30,
	}
	for b.Loop() {
		if _, err := kaolinite.Along(q); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCourseOfABed(b *testing.B) {
	kaolinite := named(b, "kaolinite")
	q := Request{
		Profile: append(ramped(5, 620, 480), heat.Point{Minute: 1200, Celsius: 60}), InitialCelsius: 20, DepthMillimeters: 30,
	}
	for b.Loop() {
		if _, err := kaolinite.Course(q); err != nil {
			b.Fatal(err)
		}
	}
}
