package reaction

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/thermo"
)

// The span of published values, and the temperature that handbooks give for slaked lime under 1 atm of steam.
func TestPublishedTemperaturesOfOneBar(t *testing.T) {
	cases := []struct {
		name, reaction, source string
		low, high              float64
	}{
		{"calcite", "calcite", "874.8: J. Chem. Eng. Data 55 (2010) 3779-3785; 898: handbook value, from memory", 875, 898},
		{"portlandite", "portlandite", "512: handbook value, from memory", 502, 522},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			celsius, known := named(t, c.reaction).OneBarCelsius()
			require.True(t, known)
			assert.GreaterOrEqual(t, celsius, c.low, c.source)
			assert.LessOrEqual(t, celsius, c.high, c.source)
		})
	}
	for _, unknown := range []string{"kaolinite", "sodium hydrogen carbonate", "siderite"} {
		_, known := named(t, unknown).OneBarCelsius()
		assert.False(t, known, unknown)
	}
}

// The column one_bar_c is where ln K of the one gas passes zero by chem/thermo, and empty where that cannot be said.
func TestTheTemperaturesOfOneBarAreThoseOfTheTables(t *testing.T) {
	for _, r := range All() {
		if !r.HasRate() {
			assert.Zero(t, r.Kinetics.OneBarCelsius, r.Name)
			continue
		}
		celsius := 0.0
		if len(r.Gases) == 1 {
			coefficients := map[string]float64{r.Formula: -1, r.Gases[0].Formula + "(g)": r.Gases[0].Moles}
			for _, solid := range r.Solids {
				coefficients[solid.Formula] += solid.Moles
			}
			if equation, err := thermo.NewReaction(coefficients); err == nil {
				celsius = oneBar(equation)
			}
		}
		assert.InDelta(t, celsius, r.Kinetics.OneBarCelsius, 0.051, r.Name)
	}
}

// oneBar is where ln K passes zero upwards, to 0.01 K; 0 when it does not within the tables.
func oneBar(equation *thermo.Reaction) float64 {
	lnK := func(celsius float64) float64 {
		state, err := equation.AtCelsius(celsius)
		if err != nil {
			return math.NaN()
		}
		return state.LnK
	}
	const step = 5.0
	for low := 30.0; low < 1500; low += step {
		if !(lnK(low) < 0 && lnK(low+step) >= 0) {
			continue
		}
		high := low + step
		for high-low > 0.01 {
			if middle := (low + high) / 2; lnK(middle) < 0 {
				low = middle
			} else {
				high = middle
			}
		}
		return high
	}
	return 0
}

func TestABedOfItsOwnGasIsNeverEnough(t *testing.T) {
	calcite := named(t, "calcite")
	free, _ := calcite.OneBarCelsius()
	along := func(celsius, hold, depth float64) Result {
		result, err := calcite.Along(Request{Profile: ramped(4, celsius, hold), InitialCelsius: 20, DepthMillimeters: depth})
		require.NoError(t, err)
		return result
	}
	cool := along(free-1, 2000, 20)
	assert.GreaterOrEqual(t, *cool.CoreConversion, EnoughFraction)
	assert.False(t, cool.Enough())
	assert.Nil(t, cool.MinutesTo99Percent)
	assert.Contains(t, cool.Never, "held back")
	require.NotNil(t, cool.EnoughCelsius)
	assert.InDelta(t, free, *cool.EnoughCelsius, 1)
	assert.True(t, along(*cool.EnoughCelsius, 2000, 20).Enough())
	assert.GreaterOrEqual(t, *along(600, 0, 20).EnoughCelsius, free, "a short hold needs more than that")
	thin := along(600, 60, 0)
	require.NotNil(t, thin.MinutesTo99Percent, "a thin layer in moving air")
	said := strings.Join(thin.Assumptions, "\n")
	assert.Contains(t, said, "held back")
	assert.Contains(t, said, "no more of it than its range of 700 to 900 C")
	assert.NotContains(t, strings.Join(along(900, 60, 0).Assumptions, "\n"), "held back")
}

func TestAStageHeldBackByItsOwnGasIsWarned(t *testing.T) {
	for _, c := range []struct {
		celsius, depth float64
		warned         bool
	}{{880, 20, true}, {880, 0, false}, {900, 20, false}} {
		stage := staged(t, fire{chem.Calcine, c.celsius, 600, c.depth}, map[string]float64{"CaCO3": 100})
		_, found, err := Convert(stage)
		require.NoError(t, err)
		severity, warned := codes(found)[CodeOwnGas]
		assert.Equal(t, c.warned, warned, "%g C, %g mm", c.celsius, c.depth)
		if warned {
			assert.Equal(t, finding.Warn, severity)
		}
	}
}
