package air

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// carbonDioxide gives off what adds so many ppm to a closed room of 100 m3.
func carbonDioxide(t *testing.T, ppm float64) []Source {
	t.Helper()
	gramsPerMole, err := GramsPerMole("CO2")
	require.NoError(t, err)
	grams := ppm * gramsPerMole / MolarVolumeLiters / 1000 * 100
	return []Source{{Releases: []Release{{"CO2", 0, 1, grams}}}}
}

// Outdoor air holds about 420 ppm of CO2 (global mean about 2023, NOAA, from memory): a release comes on top of it.
func TestARoomsCarbonDioxideBeginsWithThatOfTheAir(t *testing.T) {
	zone := Zone{VolumeCubicMeters: 100, MixingFactor: 1}
	assert.InDelta(t, 420+1000, only(t, zone, carbonDioxide(t, 1000)).At(5), 1e-6)
	osha := limitOf(t, "CO2", "OSHA", data.TimeWeighted)
	for added, over := range map[float64]bool{4579: false, 4581: true} { // 5000 less 420, held for days
		excesses, err := exceeds(zone, carbonDioxide(t, added), nil)
		require.NoError(t, err)
		assert.Equal(t, over, has(excesses, osha), "%g ppm added", added)
	}
	zone.BackgroundPPM = map[string]float64{"CO2": 0}
	assert.InDelta(t, 1000, only(t, zone, carbonDioxide(t, 1000)).At(5), 1e-6, "what is named counts, also none")
	zone.BackgroundPPM = map[string]float64{"SO2": 0.1}
	assert.InDelta(t, 1420, only(t, zone, carbonDioxide(t, 1000)).At(5), 1e-6, "another gas says nothing of it")
}

func TestAssumptionsSayWhatTheIncomingAirHolds(t *testing.T) {
	check := RoomCheck{Zone: Zone{VolumeCubicMeters: 100}, Sources: carbonDioxide(t, 1)}
	said := func() string {
		got, err := CheckRoom(check)
		require.NoError(t, err)
		return strings.Join(got.Assumptions, "\n")
	}
	assert.Contains(t, said(), "incoming air holds 420 ppm CO2 (global mean about 2023, NOAA")
	assert.Contains(t, said(), "from memory")
	assert.Contains(t, said(), "none of the other gases")
	check.Zone.BackgroundPPM = map[string]float64{"CO2": 600}
	assert.NotContains(t, said(), "420")
}

// The CO2 of the incoming air never goes; that of a firing does, so another firing much later is not held against it.
func TestCarbonDioxideOfTheAirIsNoGasOfAFiring(t *testing.T) {
	later := []Source{{Releases: []Release{{"CO2", 5000, 5030, 2000}}}}
	excesses, err := exceeds(ventilated, later, nil)
	require.NoError(t, err)
	require.True(t, refuses(excesses), "the later one must be over for this to show anything")
	assert.Empty(t, worsens(t, later, []Source{{Releases: []Release{{"CO2", 0, 30, 1}}}}))
}

func TestFlowNeededCountsTheCarbonDioxideOfTheAir(t *testing.T) {
	check := RoomCheck{Zone: Zone{VolumeCubicMeters: 100, MixingFactor: 1}, Sources: []Source{{Releases: []Release{{"CO2", 0, 2000, 85}}}}}
	withAir, err := CheckRoom(check)
	require.NoError(t, err)
	check.Zone.BackgroundPPM = map[string]float64{"CO2": 0}
	without, err := CheckRoom(check)
	require.NoError(t, err)
	require.True(t, finding.Blocks(without.Findings))
	// Steady for longer than any averaging time: the flow that dilutes to 4580 above 420 against that to 5000 above 0.
	assert.InEpsilon(t, 5000.0/4580, *withAir.FlowNeeded / *without.FlowNeeded, 1e-3)
}
