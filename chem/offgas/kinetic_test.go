package offgas

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/chem/reaction"
)

// slow goes to 900 C at 3 C a minute, holds for 4 h and cools.
var slow = []heat.Point{{Minute: 0, Celsius: 20}, {Minute: 880.0 / 3, Celsius: 900}, {Minute: 880.0/3 + 240, Celsius: 900}, {Minute: 900, Celsius: 80}}

func calcite(of chem.Case, depth float64) Firing {
	return Firing{
		Gases:   []chem.OffGas{{Case: of, Species: "CO2", MassGrams: 100, LowCelsius: 700, HighCelsius: 900, Origin: "calcite"}},
		Profile: slow, ChargeAtCelsius: 20, Practice: chem.DefaultPractice(), DepthMillimeters: depth,
	}
}

func seriesOf(t *testing.T, f Firing) []air.Release {
	t.Helper()
	series, err := Series(f)
	require.NoError(t, err)
	return series
}

func peakOf(series []air.Release) float64 {
	highest := 0.0
	for _, r := range series {
		highest = math.Max(highest, r.GramsPerMinute)
	}
	return highest
}

// gone is the share of a series that has come off by a minute.
func gone(series []air.Release, minute float64) float64 {
	sum := 0.0
	for _, r := range series {
		sum += r.GramsPerMinute * math.Max(0, math.Min(minute, r.EndMinute)-r.StartMinute)
	}
	return sum
}

// The pieces follow the reaction itself to one part in twelve, and no more than twelve of them.
func TestSeriesFollowsTheRate(t *testing.T) {
	for _, depth := range []float64{0, 30} {
		firing := calcite(chem.Likely, depth)
		series := seriesOf(t, firing)
		assert.LessOrEqual(t, len(series), mostPieces)
		assert.InDelta(t, 100, massOf(series)["CO2"], 1e-9)
		r, ok := reaction.Named("calcite")
		require.True(t, ok)
		course, err := r.Course(reaction.Request{Profile: slow, InitialCelsius: 20, DepthMillimeters: depth})
		require.NoError(t, err)
		whole := course[len(course)-1].Mean
		steepest := 0.0
		for i, stand := range course {
			assert.InDelta(t, 100*stand.Mean/whole, gone(series, stand.Minute), 100.0/mostPieces)
			if i > 0 && stand.Minute > course[i-1].Minute {
				steepest = math.Max(steepest, 100*(stand.Mean-course[i-1].Mean)/whole/(stand.Minute-course[i-1].Minute))
			}
		}
		assert.InEpsilon(t, steepest, peakOf(series), 0.1, "the peak is kept to a tenth")
	}
}

func TestCautiousIsNeverFlatterThanTheRangeOrTheBed(t *testing.T) {
	cautious, likely := calcite(chem.Cautious, 30), calcite(chem.Likely, 30)
	assert.Greater(t, peakOf(seriesOf(t, cautious)), peakOf(seriesOf(t, likely)), "a bed is slower than its surface")
	ranged := cautious
	ranged.Gases = []chem.OffGas{cautious.Gases[0]}
	ranged.Gases[0].Origin = ""
	assert.GreaterOrEqual(t, peakOf(seriesOf(t, cautious)), peakOf(seriesOf(t, ranged)))
	// A range so narrow that the even way is the sharper one is kept.
	sharp := cautious
	sharp.Gases = []chem.OffGas{cautious.Gases[0]}
	sharp.Gases[0].LowCelsius, sharp.Gases[0].HighCelsius = 800, 805
	series := seriesOf(t, sharp)
	require.Len(t, series, 1)
	assert.InDelta(t, 60.0, series[0].GramsPerMinute, 1e-6)
}

func TestChargedHotOrWithoutARateItIsAsTheRangeSays(t *testing.T) {
	hot := calcite(chem.Cautious, 30)
	hot.ChargeAtCelsius, hot.ChargeMinute = 750, -20
	series := seriesOf(t, hot)
	require.Len(t, series, 1)
	assert.Equal(t, [2]float64{-20, -15}, [2]float64{series[0].StartMinute, series[0].EndMinute})
	unrated := calcite(chem.Cautious, 30)
	unrated.Gases[0].Origin = "malachite"
	assert.Len(t, seriesOf(t, unrated), 1)
}

// Whoever watches stays until the later of the two ways is over.
func TestUntil(t *testing.T) {
	firing := calcite(chem.Cautious, 0)
	series := seriesOf(t, firing)
	assert.InDelta(t, 880.0/3, firing.Until(series), 1e-6, "the end of the range, at 900 C")
	assert.Less(t, series[len(series)-1].EndMinute, 880.0/3)
	deep := calcite(chem.Likely, 100)
	assert.Greater(t, deep.Until(seriesOf(t, deep)), 880.0/3)
	firing.Gases[0].Species = "H2O"
	assert.Zero(t, firing.Until(seriesOf(t, firing)), "steam alone")
}

func BenchmarkSeriesOfAStage(b *testing.B) {
	firing := calcite(chem.Likely, 30)
	firing.Gases = append(firing.Gases, chem.OffGas{Case: chem.Likely, Species: "H2O", MassGrams: 10, LowCelsius: 400, HighCelsius: 700, Origin: "kaolinite"})
	for b.Loop() {
		if _, err := Series(firing); err != nil {
			b.Fatal(err)
		}
	}
}
