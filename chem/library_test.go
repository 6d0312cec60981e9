package chem

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"saggar/chem/heat"
)

func TestTheLibraryCanBeReckonedWith(t *testing.T) {
	list := Library()
	require.Greater(t, len(list), 60)
	for _, material := range list {
		require.Empty(t, material.Validate(), material.ID)
		assert.LessOrEqual(t, len(material.Source), 200, "%s: the contract takes 200 characters", material.ID)
		assert.NotEmpty(t, material.Title, material.ID)
		parts, err := material.Breakdown(100)
		require.NoError(t, err, material.ID)
		assert.InDelta(t, 100, allMoles(parts).Grams()+parts.InertGrams, 1e-9, material.ID)
		assert.LessOrEqual(t, parts.InertGrams, 10.0, "%s says what it consists of", material.ID)
		result, err := Balance(oneStage(1200, heat.Oxidising, "", Addition{Material: "m", MassGrams: 100}),
			Materials{"m": material}, 1)
		require.NoError(t, err, material.ID)
		assert.LessOrEqual(t, result.Stages[0].MassOutGrams, 140.0, material.ID)
	}
	kaolin, known := LibraryMaterial("kaolin")
	assert.True(t, known)
	assert.Equal(t, "kaolin", kaolin.ID)
	_, known = LibraryMaterial("unobtainium")
	assert.False(t, known)
}

// What the class of danger shows in a compound, the row says too, and the rows of one class are those that are expected.
func TestTheLibraryNamesItsHazards(t *testing.T) {
	by := map[Hazard][]string{}
	for _, material := range Library() {
		for _, hazard := range material.Hazards {
			by[hazard] = append(by[hazard], material.ID)
		}
	}
	assert.Equal(t, []string{"sulfur"}, by[HazardSulfur])
	assert.Equal(t, []string{"copper-powder"}, by[HazardMetalPowder])
	assert.Equal(t, []string{"activated-carbon", "charcoal", "graphite", "starch", "sugar", "wheat-flour"}, by[HazardCarbon])
	for _, id := range []string{"quartz", "ball-clay", "kaolin", "potash-feldspar", "talc"} {
		assert.Contains(t, by[HazardSilicaDust], id)
	}
	for _, id := range []string{"red-iron-oxide", "copper-oxide", "manganese-dioxide"} {
		assert.Contains(t, by[HazardMetalOxide], id)
	}
	assert.Empty(t, by[HazardToxic])
}

// Protein of flour holds about 16 % nitrogen by mass (the usual factor of 6.25 from nitrogen to protein).
func TestProteinOfFlourHoldsItsShareOfNitrogen(t *testing.T) {
	flour, known := LibraryMaterial("wheat-flour")
	require.True(t, known)
	protein := mustFormula(t, flour.Phases[2].Formula)
	assert.InDelta(t, 1/6.25, protein.Count("N")*gramsPerMole("N")/protein.MolarMass(), 0.005)
}
