package data

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestReactions(t *testing.T) {
	rows, err := readTable("reactions.csv", toReaction)
	require.NoError(t, err)
	named := map[string]bool{}
	for _, row := range rows {
		assert.Contains(t, []ReactionKind{OfPhase, OfElement, OfFreeWater, OfWare, BetweenReactants, Transition}, row.Kind, row.Name)
		assert.Contains(t, known, row.Read, row.Name)
		assert.NotEmpty(t, append(row.Gases, row.Solids...), row.Name)
		assert.Equal(t, row.Kind == BetweenReactants, len(row.Reactants) > 1, row.Name)
		if row.Kind == Transition {
			assert.Equal(t, row.LowCelsius, row.HighCelsius, row.Name)
		} else {
			assert.Less(t, row.LowCelsius, row.HighCelsius, row.Name)
		}
		if row.Kind != OfWare {
			assert.False(t, named[row.Name], "%s stands twice", row.Name)
			named[row.Name] = true
		}
		if row.Read == CommonPractice {
			assert.Contains(t, row.Source, "common practice, no source")
		}
		if row.Kinetics != (Kinetics{}) {
			assert.Positive(t, row.Kinetics.ActivationKilojoulesPerMole, row.Name)
			assert.Positive(t, row.Kinetics.FrequencyPerSecond, row.Name)
			assert.Less(t, row.Kinetics.LowCelsius, row.Kinetics.HighCelsius, row.Name)
			assert.NotEmpty(t, row.Kinetics.Model, row.Name)
			assert.NotEmpty(t, row.Kinetics.Source, row.Name)
			assert.Contains(t, known, row.Kinetics.Read, row.Name)
		}
		if row.Enthalpy != (Enthalpy{}) {
			assert.NotZero(t, row.Enthalpy.KilojoulesPerMole, row.Name)
			assert.NotEmpty(t, row.Enthalpy.Source, row.Name)
			assert.Contains(t, known, row.Enthalpy.Read, row.Name)
		}
	}
	// Clays and Clay Minerals 68 (2020), kaolinite dehydroxylation paper: 400 to 700 C.
	kaolinite := rows[0]
	assert.Equal(t, "kaolinite", kaolinite.Name)
	assert.Equal(t, [2]float64{400, 700}, [2]float64{kaolinite.LowCelsius, kaolinite.HighCelsius})
	assert.Equal(t, []Yield{{"H2O", 2}}, kaolinite.Gases)
}

func TestSimpleOxidesNameEachElementOnce(t *testing.T) {
	seen := map[string]bool{}
	for _, row := range SimpleOxides() {
		assert.False(t, seen[row.Element], row.Element)
		assert.Contains(t, row.Formula, row.Element)
		assert.Contains(t, known, row.Read)
		seen[row.Element] = true
	}
}

func TestBedProperties(t *testing.T) {
	rows := BedProperties()
	assert.Equal(t, "thermal diffusivity", rows[0].Quantity)
	for _, row := range rows {
		assert.Positive(t, row.Value, row.Quantity)
		assert.NotEmpty(t, row.Unit, row.Quantity)
		assert.Contains(t, known, row.Read, row.Quantity)
	}
}
