package gas

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
)

func starved(t testing.TB, charge StarvedCharge) StarvedGas {
	t.Helper()
	g, err := AirStarved(charge)
	require.NoError(t, err)
	return g
}

func shareOf(list []Share, species string) float64 {
	for _, s := range list {
		if s.Species == species {
			return s.Fraction
		}
	}
	return 0
}

// Atoms and species that hold the same atoms come to the same.
func TestAtomsComeToTheSameAsTheGasesTheyMakeUp(t *testing.T) {
	g := starved(t, StarvedCharge{Celsius: 780, CarbonMoles: 2, SulfurMoles: 1, HydrogenMoles: 0.6, OxygenMoles: 1.5, NitrogenMoles: 0.2})
	same := at(t, 780, atmosphere, Amount{"CO", 1.2}, Amount{"C", 0.8}, Amount{"S2", 0.5}, Amount{"H2O", 0.3}, Amount{"N2", 0.1})
	for _, s := range same.Species {
		assert.InDelta(t, s.Moles, one(t, g.Mixture, s.Species).Moles, 1e-9, s.Species)
	}
	assert.InDelta(t, *same.Log10OxygenBar, *g.Mixture.Log10OxygenBar, 1e-9)
	assert.Zero(t, g.Mixture.HeatKilojoules)
	assert.NotEmpty(t, g.Caution)
	assert.NotEmpty(t, g.Assumptions)
}

func TestTheWaysOutOfAnElementAddUpToAllOfIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		moles := func(name string) float64 { return rapid.SampledFrom([]float64{0, 1e-6, 0.1, 1, 3}).Draw(t, name) }
		charge := StarvedCharge{
			Celsius: rapid.Float64Range(300, 1300).Draw(t, "celsius"), CarbonMoles: moles("C"), SulfurMoles: moles("S"),
			HydrogenMoles: moles("H"), OxygenMoles: moles("O"), NitrogenMoles: moles("N"),
		}
		g, err := AirStarved(charge)
		if charge.SulfurMoles+charge.HydrogenMoles+charge.OxygenMoles+charge.NitrogenMoles == 0 {
			require.NotEmpty(t, finding.FaultsOf(err))
			return
		}
		require.NoError(t, err)
		for _, c := range []struct {
			shares []Share
			moles  float64
		}{{g.Sulfur, charge.SulfurMoles}, {g.Carbon, charge.CarbonMoles}} {
			sum := 0.0
			for _, s := range c.shares {
				assert.False(t, math.IsNaN(s.Fraction) || s.Fraction < 0 || s.Fraction > 1)
				sum += s.Fraction
			}
			if c.moles > 0 {
				assert.InDelta(t, 1, sum, 1e-9)
			} else {
				assert.Empty(t, c.shares)
			}
		}
		assertBalances(t, g.Mixture)
	})
}

// What the chemistry says of the ends: with oxygen to spare sulfur leaves as its oxides; with hydrogen as H2S; with
// carbon and neither as CS2.
func TestSulfurLeavesWithWhatIsOffered(t *testing.T) {
	burnt := starved(t, StarvedCharge{Celsius: 800, SulfurMoles: 1, CarbonMoles: 1, OxygenMoles: 6})
	assert.Greater(t, shareOf(burnt.Sulfur, "SO2")+shareOf(burnt.Sulfur, "SO3"), 0.999999)
	assert.Greater(t, shareOf(burnt.Carbon, "CO2"), 0.999)
	assert.Equal(t, "SO2", burnt.Sulfur[0].Species)
	wet := starved(t, StarvedCharge{Celsius: 800, SulfurMoles: 0.1, HydrogenMoles: 10, OxygenMoles: 1})
	assert.Greater(t, shareOf(wet.Sulfur, "H2S"), 0.99)
	dry := starved(t, StarvedCharge{Celsius: 1000, SulfurMoles: 1, CarbonMoles: 5})
	assert.Greater(t, shareOf(dry.Sulfur, "CS2"), 0.8)
	assert.Greater(t, shareOf(dry.Carbon, "C"), 0.5)
	between := starved(t, StarvedCharge{Celsius: 700, SulfurMoles: 1, CarbonMoles: 2, OxygenMoles: 2})
	for _, species := range []string{"COS", "CS2", "S2"} {
		assert.Greater(t, shareOf(between.Sulfur, species), 0.01, species)
	}
}

func TestAStarvedChargeThatCannotBeUsedIsNamed(t *testing.T) {
	for name, c := range map[string]struct {
		charge StarvedCharge
		field  string
	}{
		"nothing":        {StarvedCharge{Celsius: 800}, "carbon_moles"},
		"carbon alone":   {StarvedCharge{Celsius: 800, CarbonMoles: 1}, "oxygen_moles"},
		"below zero":     {StarvedCharge{Celsius: 800, SulfurMoles: -1, OxygenMoles: 1}, "sulfur_moles"},
		"no number":      {StarvedCharge{Celsius: 800, HydrogenMoles: math.NaN()}, "hydrogen_moles"},
		"endless":        {StarvedCharge{Celsius: 800, NitrogenMoles: math.Inf(1)}, "nitrogen_moles"},
		"too hot":        {StarvedCharge{Celsius: 2100, SulfurMoles: 1}, "celsius"},
		"below pressure": {StarvedCharge{Celsius: 800, PressureBar: -1, SulfurMoles: 1}, "pressure_bar"},
	} {
		_, err := AirStarved(c.charge)
		require.Len(t, finding.FaultsOf(err), 1, name)
		assert.Equal(t, c.field, finding.FaultsOf(err)[0].Field, name)
		assert.NotEmpty(t, finding.FaultsOf(err)[0].Cure, name)
	}
}
