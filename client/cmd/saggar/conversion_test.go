package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/client/api"
)

func conversionOf(t *testing.T, program string, flags ...string) heatConversion {
	t.Helper()
	return decoded[heatConversion](t, program, append([]string{"heat", "conversion", "--reaction", "kaolinite", "--program", "-"}, flags...)...)
}

// The isothermal integral form of F1 with 222 kJ/mol and 2.3584e12 1/s: 1 h at 450 C converts 0.54292.
func TestConversionOfAHold(t *testing.T) {
	answer := conversionOf(t, "segments: [{to_celsius: 450, hold_minutes: 60}]", "--start-celsius", "450")
	assert.InDelta(t, 0.54292, answer.Conversion, 1e-4)
	assert.Nil(t, answer.CoreConversion)
	require.NotNil(t, answer.MinutesTo99Percent)
	again := conversionOf(t, "segments: [{to_celsius: 450, hold_minutes: "+plain(*answer.MinutesTo99Percent)+"}]", "--start-celsius", "450")
	assert.InDelta(t, 0.99, again.Conversion, 1e-6)
	assert.NotEmpty(t, answer.Caution)
}

func TestADepthGivesACore(t *testing.T) {
	const program = "segments: [{to_celsius: 540, rate_celsius_per_hour: 200, hold_minutes: 60}]"
	thin := conversionOf(t, program, "--depth-millimeters", "5")
	deep := conversionOf(t, program, "--depth-millimeters", "50")
	quick := conversionOf(t, program, "--depth-millimeters", "50", "--diffusivity-square-meters-per-second", "1e-5")
	assert.InDelta(t, thin.Conversion, deep.Conversion, 1e-9)
	assert.Greater(t, *thin.CoreConversion, *deep.CoreConversion)
	assert.Greater(t, *quick.CoreConversion, *deep.CoreConversion)
	assert.Greater(t, *deep.MinutesTo99Percent, *thin.MinutesTo99Percent)
	assert.Contains(t, strings.Join(deep.Assumptions, " "), "one face")
}

func TestTooCoolIsSaid(t *testing.T) {
	answer := conversionOf(t, "segments: [{to_celsius: 300, rate_celsius_per_hour: 200, hold_minutes: 60}]")
	assert.Nil(t, answer.MinutesTo99Percent)
	assert.Contains(t, answer.NeverReason, "too cool")
	require.NotNil(t, answer.EnoughCelsius)
	assert.Greater(t, *answer.EnoughCelsius, 400.0)
	shown := at(t, "segments: [{to_celsius: 300, rate_celsius_per_hour: 200}]", "heat", "conversion", "--reaction", "kaolinite", "--program", "-")
	assert.Contains(t, shown.out, "never enough")
}

// A furnace takes its own time at full power, and cools after it.
func TestABedOfItsOwnGasIsHeldBack(t *testing.T) {
	const program = "segments: [{to_celsius: 600, rate_celsius_per_hour: 200, hold_minutes: 900}]"
	thin := conversionOf(t, program, "--reaction", "calcite")
	assert.Contains(t, thin.HeldBack, "held back")
	deep := conversionOf(t, program, "--reaction", "calcite", "--depth-millimeters", "20")
	assert.Nil(t, deep.MinutesTo99Percent)
	assert.Equal(t, deep.HeldBack, deep.NeverReason)
	assert.GreaterOrEqual(t, *deep.EnoughCelsius, 875.0)
	assert.Empty(t, conversionOf(t, "segments: [{to_celsius: 900, hold_minutes: 60, rate_celsius_per_hour: 200}]", "--reaction", "calcite").HeldBack)
}

func TestConversionOnAFurnace(t *testing.T) {
	answer := conversionOf(t, "segments: [{to_celsius: 700, hold_minutes: 30}]", "--furnace", muffleFile, "--depth-millimeters", "20")
	assert.Greater(t, answer.Conversion, 0.99)
	assert.Contains(t, strings.Join(answer.Assumptions, " "), "one lump of heat")
}

func TestReactionsAreListed(t *testing.T) {
	list := decoded[[]tabledReaction](t, "", "heat", "reactions")
	byName := map[string]tabledReaction{}
	for _, r := range list {
		byName[r.Reaction] = r
		assert.NotEmpty(t, r.Source, r.Reaction)
		assert.NotEmpty(t, r.Equation, r.Reaction)
	}
	assert.Equal(t, "F1", byName["kaolinite"].Model)
	assert.InDelta(t, 222, byName["kaolinite"].ActivationKilojoulesPerMole, 1e-9)
	assert.InDelta(t, 178.17, *byName["calcite"].EnthalpyKilojoulesPerMole, 1e-9)
	assert.Nil(t, byName["muscovite"].EnthalpyKilojoulesPerMole)
	assert.Equal(t, api.ExitOK, at(t, "", "heat", "reactions", "--output", "csv").code)
}
