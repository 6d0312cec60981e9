package assess

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/reaction"
)

func TestAStageThatIsTooShortForItsBedWarns(t *testing.T) {
	for _, c := range []struct {
		depth float64
		want  finding.Severity
	}{{0, ""}, {15, ""}, {150, finding.Warn}} {
		stage := fired(chem.Calcine, 620, add("kaolin", 100))
		stage.BedDepthMillimeters = c.depth
		treatment := treat(t, site(pot()), "pot", stage)
		assert.Equal(t, c.want, severities(treatment.Findings)[reaction.CodeShort], "%g mm", c.depth)
		assert.Equal(t, c.depth == 0, severities(treatment.Findings)[reaction.CodeNoDepth] == finding.Note, "%g mm", c.depth)
		require.Len(t, treatment.Conversions, 1)
		result := treatment.Conversions[0].Result
		assert.Equal(t, c.depth > 0, result.CoreConversion != nil)
		assert.Greater(t, result.Conversion, 0.99)
		if c.want != "" {
			short := withCode(treatment.Findings, reaction.CodeShort)[0]
			assert.Equal(t, "stages[0].program", short.Field)
			assert.Contains(t, short.Cure, "min")
		}
	}
}

// A charge that meets a hot furnace is cold at first: its core is behind one that was heated with the furnace.
func TestAHotChargeIsColdAtFirst(t *testing.T) {
	stage := fired(chem.Calcine, 600, add("kaolin", 100))
	stage.BedDepthMillimeters = 40
	slow := treat(t, site(pot()), "pot", stage)
	stage.ChargeAtCelsius = 600
	quick := treat(t, site(pot()), "pot", stage)
	assert.Greater(t, *slow.Conversions[0].Result.CoreConversion, *quick.Conversions[0].Result.CoreConversion)
}

func TestWhatIsNotForConvertingFindsNothing(t *testing.T) {
	stage := fired(chem.Sinter, 620, add("kaolin", 100))
	stage.BedDepthMillimeters = 150
	treatment := treat(t, site(pot()), "pot", stage)
	assert.NotContains(t, severities(treatment.Findings), reaction.CodeShort)
	assert.Len(t, treatment.Conversions, 1, "the figure is given all the same")
}

// What the balance of a check lets go in the likely case, what the series gives off and what the conversion says are one
// figure, the furnace's own and of the bed on average; what is left of it goes on to the next stage.
func TestTheBalanceTakesTheConversionOfTheFurnace(t *testing.T) {
	calcine, fire := fired(chem.Calcine, 560, add("kaolin", 258.157)), fired(chem.Bisque, 1000)
	calcine.BedDepthMillimeters, calcine.Program.Segments[0].HoldMinutes = 60, 60
	calcine.Program.Segments[0].RateCelsiusPerHour = 0 // as fast as this furnace does
	fire.ID = "after"
	answer, err := site(pot()).Recipe(recipe(calcine, fire), materials(), chem.Scale{})
	require.NoError(t, err)
	treatment := answer.Stages[0].Treatment
	require.NotNil(t, treatment)
	mean := *treatment.Conversions[0].Result.MeanConversion
	require.InDelta(t, 0.5, mean, 0.4, "neither nothing nor all")
	water := func(stage int, of chem.Case) float64 {
		moles := 0.0
		for _, gas := range answer.Charge.Balance.Stages[stage].OffGasOf(of) {
			moles += gas.Moles
		}
		return moles
	}
	assert.InDelta(t, 2*mean, water(0, chem.Likely), 1e-4)
	assert.InDelta(t, 2*mean*18.015, massOf(treatment.Likely)["H2O"], 1e-2)
	assert.InDelta(t, 2, water(0, chem.Cautious), 1e-4, "the cautious case lets all go")
	assert.InDelta(t, 2*(1-mean), water(1, chem.Cautious), 1e-4)
	assert.InDelta(t, 2*(1-mean)*18.015, massOf(answer.Stages[1].Treatment.Cautious)["H2O"], 1e-2)
}

func TestAMeasuredReleaseDecides(t *testing.T) {
	stage := fired(chem.Oxidise, 500, add("sulfur", 10), add("quartz", 90))
	stage.MeasuredReleases = []chem.MeasuredRelease{{Species: "SO2", MassGrams: 3, MeasuredBy: "a technician", MeasuredOn: "2026-03-01"}}
	treatment := treat(t, site(pot()), "pot", stage)
	assert.InDelta(t, 3.0, massOf(treatment.Cautious)["SO2"], 1e-9)
	assert.InDelta(t, 3.0, massOf(treatment.Likely)["SO2"], 1e-9)
	assert.Empty(t, withCode(treatment.Findings, "AIR_MEASUREMENT_OLD"), "a year to the day")
	stage.MeasuredReleases[0].MeasuredOn = "2026-02-28"
	old := withCode(treat(t, site(pot()), "pot", stage).Findings, "AIR_MEASUREMENT_OLD")
	require.Len(t, old, 1)
	assert.Equal(t, "stages[0].measured_releases[0].measured_on", old[0].Field)
}

// Three stages with beds, as a full check works them out; the room's air is the other half of it.
func BenchmarkConversionsOfThreeStages(b *testing.B) {
	stages := []chem.Stage{
		fired(chem.Calcine, 620, add("kaolin", 100)), fired(chem.Oxidise, 800, add("calcite", 50)), fired(chem.Bisque, 1000, add("kaolin", 20)),
	}
	for i := range stages {
		stages[i].BedDepthMillimeters, stages[i].ID = 30, string(rune('a'+i))
	}
	s, c := site(pot()), charge(b, stages...)
	for b.Loop() {
		for i := range stages {
			if _, err := s.Treat(c, i, "pot"); err != nil {
				b.Fatal(err)
			}
		}
	}
}
