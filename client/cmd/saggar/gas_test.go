package main

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func gasOf(t *testing.T, feed string, flags ...string) gasMixture {
	t.Helper()
	return decoded[gasMixture](t, "", append([]string{"gas", "equilibrium", "--feed", feed}, flags...)...)
}

// C + CO2 = 2 CO at 700 C has K = 1.0002 bar (computed from the nine-coefficient sets): x^2/(1-x) = K/p over solid carbon.
func TestCarbonDioxideOverCarbonSettlesAtItsConstant(t *testing.T) {
	answer := gasOf(t, " CO2 = 1 , C = 2 ", "--celsius", "700")
	x := -0.5*1.0002/1.01325 + math.Sqrt(0.25*math.Pow(1.0002/1.01325, 2)+1.0002/1.01325)
	assert.Equal(t, "CO", answer.Species[0].Species)
	assert.InDelta(t, x, answer.Species[0].MoleFraction, 1e-4)
	last := answer.Species[len(answer.Species)-1]
	assert.Equal(t, []string{"C", "graphite"}, []string{last.Species, last.Phase})
	assert.InDelta(t, last.Moles/answer.GasMoles, last.MoleFraction, 1e-12)
	assert.InDelta(t, 2-(answer.GasMoles*x/2), last.Moles, 1e-3, "each two CO have taken a carbon up")
	require.NotNil(t, answer.Reducing)
	assert.True(t, *answer.Reducing)
	assert.Contains(t, answer.Verdict, "does not burn carbon away")
	assert.Equal(t, 1.0, *answer.CarbonActivity)
	assert.InDelta(t, answer.ProductKilojoules-answer.FeedKilojoules, answer.HeatKilojoules, 1e-9)
	assert.NotEmpty(t, answer.Caution)
}

func TestWhatTheFeedLeavesOpenIsNull(t *testing.T) {
	r := at(t, "", "gas", "equilibrium", "--celsius", "700", "--feed", "N2=1", "--output", "json")
	for _, field := range []string{"log10_oxygen_bar", "reducing", "carbon_monoxide_per_carbon_dioxide", "carbon_activity"} {
		assert.Contains(t, r.out, `"`+field+`": null`)
	}
	r = at(t, "", "gas", "equilibrium", "--celsius", "700", "--feed", "N2=1")
	assert.NotContains(t, r.out, "Atmosphere")
}

func TestTheListOfSpeciesAndTheFeedsTemperatureCount(t *testing.T) {
	few := gasOf(t, "CO2=1,O2=1", "--celsius", "700", "--species", "CO2,O2", "--feed-celsius", "700")
	assert.Len(t, few.Species, 2)
	assert.InDelta(t, 0, few.HeatKilojoules, 1e-9)
}

// FuzzReadFeed holds the reader to its word: what it takes has a formula and a number for each part, and all else is an
// error that names the flag.
func FuzzReadFeed(f *testing.F) {
	for _, seed := range []string{"CO2=1,C=1", "", ",", "=", "CO2==1", " S = 1e-3 ", "H2O(g)=2", "N2=NaN", "a,b=c"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		amounts, err := readFeed(text)
		if err != nil {
			assert.Contains(t, err.Error(), "--feed")
			return
		}
		assert.Len(t, amounts, strings.Count(text, ",")+1)
		for _, a := range amounts {
			assert.NotEmpty(t, a.Formula)
		}
	})
}
