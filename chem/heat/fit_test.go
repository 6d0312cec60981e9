package heat

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"saggar/chem/finding"
)

func TestFitNeedsMeasuredTimes(t *testing.T) {
	f := muffle()
	f.HeatingTimes, f.CoolingTimes = nil, nil
	_, err := Fit(f)
	faults := finding.FaultsOf(err)
	require.Len(t, faults, 2)
	assert.Equal(t, "heating_times", faults[0].Field)
	assert.Equal(t, "cooling_times", faults[1].Field)
	assert.NotEmpty(t, faults[0].Cure)
	_, err = Fit(Furnace{Source: Bench})
	assert.ErrorContains(t, err, "source")
}

func TestFitNamesTheFaultyField(t *testing.T) {
	for field, spoil := range map[string]func(*Furnace){
		"heating_times[0].minutes":    func(f *Furnace) { f.HeatingTimes[0].Minutes = math.NaN() },
		"heating_times[1].to_celsius": func(f *Furnace) { f.HeatingTimes[1].ToCelsius = 500 },
		"cooling_times[0].to_celsius": func(f *Furnace) { f.CoolingTimes[0].ToCelsius = 24 },
		"top_celsius":                 func(f *Furnace) { f.TopCelsius = 0 },
		"net_kilowatts":               func(f *Furnace) { f.NetKilowatts = 6 },
		"ambient_celsius":             func(f *Furnace) { f.AmbientCelsius = math.Inf(-1) },
		"source":                      func(f *Furnace) { f.Source = "steam" },
		"excludes[0]":                 func(f *Furnace) { f.Excludes = []string{"sulphur"} },
		"capture.door_open_fraction":  func(f *Furnace) { f.Capture.DoorOpenFraction = 1.01 },
	} {
		t.Run(field, func(t *testing.T) {
			f := muffle()
			spoil(&f)
			_, err := Fit(f)
			faults := finding.FaultsOf(err)
			require.NotEmpty(t, faults)
			assert.Equal(t, field, faults[0].Field)
		})
	}
}

func TestOneHeatingTimeIsTakenWithASmallMargin(t *testing.T) {
	f := muffle()
	f.HeatingTimes = []Timing{{FromCelsius: 20, ToCelsius: 1000, Minutes: 150}, {FromCelsius: 20, ToCelsius: 1000, Minutes: 170}}
	c, err := Fit(f)
	require.NoError(t, err)
	assert.InDelta(t, 1200+0.1*1180, c.FinalCelsius, 1e-9)
	assert.Contains(t, strings.Join(c.Assumptions, "\n"), "settle at 1318 C")
	result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: 1000}}}, 20)
	require.NoError(t, err)
	assert.InDelta(t, 160, result.FireMinutes, 1e-6, "the mean of the two")
}

func TestHeatingThatNeverSlowsKeepsASaneFinal(t *testing.T) {
	f := muffle()
	f.HeatingTimes = []Timing{{FromCelsius: 20, ToCelsius: 500, Minutes: 100}, {FromCelsius: 500, ToCelsius: 1000, Minutes: 80}}
	c, err := Fit(f)
	require.NoError(t, err)
	assert.InEpsilon(t, 20+3*1180.0, c.FinalCelsius, 1e-3)
	notes := strings.Join(c.Assumptions, "\n")
	assert.Contains(t, notes, "does not slow down")
	assert.Contains(t, notes, "do not fit one lump")
}

func TestFitFillsWhatIsNotStated(t *testing.T) {
	f := muffle()
	f.AmbientCelsius, f.InputKilowatts = 0, 0
	c, err := Fit(f)
	require.NoError(t, err)
	assert.Equal(t, 20.0, c.AmbientCelsius)
	assert.Equal(t, 4.0, c.InputKilowatts)
	f.NetKilowatts = 0
	_, err = Fit(f)
	assert.ErrorContains(t, err, "net_kilowatts")
}

// 400 degrees in a minute beside 580 in an hour is no furnace.
func TestAHeatingTimeThatCannotBeIsRefused(t *testing.T) {
	f := muffle()
	f.HeatingTimes = []Timing{{FromCelsius: 20, ToCelsius: 500, Minutes: 60}, {FromCelsius: 500, ToCelsius: 900, Minutes: 1},
		{FromCelsius: 900, ToCelsius: 1000, Minutes: 60}}
	_, err := Fit(f)
	faults := finding.FaultsOf(err)
	require.NotEmpty(t, faults)
	assert.Contains(t, faults.Error(), "heating_times[1].minutes: 1 from 500 C to 900 C")
	assert.NotEmpty(t, f.Faults(), "it is refused when the furnace is described, not only when it is asked for")
}

func TestHeatingTimesMayMissTheFitALittle(t *testing.T) {
	f := muffle()
	twice := func(one, other float64) []Timing { // one stretch timed twice fits at the mean
		return []Timing{{FromCelsius: 20, ToCelsius: 1000, Minutes: one}, {FromCelsius: 20, ToCelsius: 1000, Minutes: other}}
	}
	f.HeatingTimes = twice(100, 53)
	assert.Len(t, f.Faults(), 2, "each is 31 % off")
	f.HeatingTimes = twice(100, 55)
	assert.Empty(t, f.Faults(), "each is 29 % off")
	f.HeatingTimes = twice(5, 14.9)
	assert.Empty(t, f.Faults(), "half off, but under five minutes")
}
