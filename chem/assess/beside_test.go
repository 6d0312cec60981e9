package assess

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/heat"
)

func TestWhatAChargeIsToOthers(t *testing.T) {
	s := site(pot())
	ride := func(scale chem.Scale, stage chem.Stage) Ride {
		r, err := s.Ride(charge(t, stage), 0, scale)
		require.NoError(t, err)
		return r
	}
	ware := fired(chem.Bisque, 900)
	ware.WareGrams = 2000
	of := ride(chem.Scale{}, ware)
	assert.Equal(t, Ride{MassGrams: 2000, Grams: 2000, Ware: true}, of, "ordinary ware counts as itself, and its room is not known")

	packed := fired(chem.Calcine, 900, add("quartz", 600))
	packed.TampedDensityGramsPerMilliliter = 1.2
	of = ride(chem.Scale{}, packed)
	assert.InDelta(t, 0.75, of.Liters, 1e-9, "half a liter in crucibles filled to two thirds")
	assert.InDelta(t, 600, of.Grams, 1e-6, "quartz takes the heat of ware")
	assert.InDelta(t, 3, ride(chem.Scale{CrucibleCount: 4, CrucibleMilliliters: 750}, packed).Liters, 1e-9)

	of = ride(chem.Scale{}, fired(chem.Calcine, 1000, add("calcite", 600)))
	assert.Greater(t, of.Grams, 600*1.5, "driving carbon dioxide off takes more heat than warming ware")
	assert.Equal(t, 600.0, of.MassGrams)
	assert.False(t, of.Ware)
	assert.Equal(t, []string{heat.Sulfur}, ride(chem.Scale{}, fired(chem.Calcine, 800, add("sulfur", 5), add("quartz", 95))).Contents)
}

func TestWareOfOthersTakesHeatAndGivesNothingOffHere(t *testing.T) {
	stage := fired(chem.Calcine, 1000, add("calcite", 100))
	alone := treat(t, site(pot()), "pot", stage)
	beside, err := site(pot()).TreatBeside(charge(t, stage), 0, "pot", 3000)
	require.NoError(t, err)
	assert.Greater(t, beside.Heat.FireMinutes, alone.Heat.FireMinutes)
	assert.InDeltaMapValues(t, massOf(alone.Cautious), massOf(beside.Cautious), 1e-6)
	none, err := site(pot()).TreatBeside(charge(t, stage), 0, "pot", 0)
	require.NoError(t, err)
	assert.Equal(t, alone.Phases, none.Phases)
	gas := treat(t, site(gasPot()), "gas-pot", stage)
	assert.Len(t, gas.Cautious, len(gas.OfCharge())+len(gas.Flame))
	assert.NotEmpty(t, gas.Flame)
	small := pot()
	small.MaxChargeGrams = 1000
	heavy, err := site(small).TreatBeside(charge(t, stage), 0, "pot", 901)
	require.NoError(t, err)
	assert.Contains(t, severities(heavy.Findings), heat.CodeChargeTooLarge, "what stands beside counts in the furnace")
}
