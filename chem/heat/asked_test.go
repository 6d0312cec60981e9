package heat

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
)

func TestAsked(t *testing.T) {
	profile, err := Program{Segments: []Segment{
		{ToCelsius: 620, RateCelsiusPerHour: 200, HoldMinutes: 30}, {ToCelsius: 620, HoldMinutes: 10}, {ToCelsius: 420, RateCelsiusPerHour: 100},
	}}.Asked(20)
	require.NoError(t, err)
	assert.Equal(t, []Point{{0, 20}, {180, 620}, {210, 620}, {220, 620}, {340, 420}}, profile)
	held, err := Program{Segments: []Segment{{ToCelsius: 450, HoldMinutes: 60}}}.Asked(450)
	require.NoError(t, err)
	assert.Equal(t, []Point{{0, 450}, {60, 450}}, held)
}

func TestAskedRefuses(t *testing.T) {
	for field, p := range map[string]struct {
		program Program
		start   float64
	}{
		"segments[1].rate_celsius_per_hour": {Program{Segments: []Segment{{ToCelsius: 600, RateCelsiusPerHour: 100}, {ToCelsius: 700}}}, 20},
		"segments":                          {Program{}, 20},
		"start_celsius":                     {Program{Segments: []Segment{{ToCelsius: 600, RateCelsiusPerHour: 100}}}, -41},
		"segments[0].to_celsius":            {Program{Segments: []Segment{{ToCelsius: 2001, RateCelsiusPerHour: 100}}}, 20},
	} {
		_, err := p.program.Asked(p.start)
		faults := finding.FaultsOf(err)
		require.Len(t, faults, 1, field)
		assert.Equal(t, field, faults[0].Field)
	}
	_, err := Program{Segments: []Segment{{ToCelsius: 2000, RateCelsiusPerHour: 1}}}.Asked(20)
	assert.ErrorContains(t, err, "the program takes 118800 minutes")
}

// What a furnace with power to spare does is what is asked.
func TestAskedIsWhatAStrongFurnaceDoes(t *testing.T) {
	furnace := Furnace{
		Source: Electric, NetKilowatts: 100, InputKilowatts: 100, TopCelsius: 1900, Control: Programmed,
		HeatingTimes: []Timing{{FromCelsius: 20, ToCelsius: 1500, Minutes: 1}}, CoolingTimes: []Timing{{FromCelsius: 1500, ToCelsius: 100, Minutes: 100}},
	}
	constants, err := Fit(furnace)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		var program Program
		celsius := 20.0
		for range rapid.IntRange(1, 5).Draw(t, "segments") {
			celsius += rapid.Float64Range(1, 250).Draw(t, "more")
			program.Segments = append(program.Segments, Segment{
				ToCelsius: celsius, RateCelsiusPerHour: rapid.Float64Range(50, 500).Draw(t, "rate"), HoldMinutes: rapid.SampledFrom([]float64{0, 30}).Draw(t, "hold"),
			})
		}
		asked, err := program.Asked(20)
		require.NoError(t, err)
		result, err := Run(furnace, constants, program, 20)
		require.NoError(t, err)
		for _, point := range asked {
			require.InDelta(t, point.Celsius, At(result.Profile, point.Minute), 1e-6)
		}
	})
}
