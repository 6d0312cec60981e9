package chem

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestALotsMoistureCountsInPlaceOfItsMaterials(t *testing.T) {
	recipe, materials := twoStages()
	dry := materials["clay"]
	dry.MoistureFraction = 0
	materials["clay"] = dry
	rapid.Check(t, func(t *rapid.T) {
		moisture := rapid.Float64Range(0, 0.9).Draw(t, "moisture")
		lot := Lot{ID: "clay-7", Material: "clay", MassGrams: 1, MadeOn: "2027-03-01", MoistureFraction: &moisture}
		drawn, all, err := recipe.DrawnFrom(materials, []Draw{{Lot: lot}})
		require.NoError(t, err)
		require.Equal(t, "lots/clay-7", drawn.Stages[0].Additions[0].Material)
		require.Equal(t, "clay", recipe.Stages[0].Additions[0].Material, "the recipe itself stays")
		of := func(r Recipe, m Materials) (water, aluminium float64) {
			balance, err := Balance(r, m, 1)
			require.NoError(t, err)
			for _, e := range balance.Stages[0].Elements {
				if e.Element == "Al" {
					aluminium = e.InMoles
				}
			}
			return balance.Stages[0].FreeWaterGrams, aluminium
		}
		waterBefore, before := of(recipe, materials)
		water, aluminium := of(drawn, all)
		require.InDelta(t, 60*moisture, water-waterBefore, 1e-9, "of 60 g as weighed")
		require.InEpsilon(t, before*(1-moisture), aluminium, 1e-9)
	})
}

func TestALotsOwnAnalysisCountsInPlaceOfItsMaterials(t *testing.T) {
	recipe, materials := twoStages()
	lot := Lot{ID: "clay-8", Material: "clay", MassGrams: 1, MadeOn: "2027-03-01", Phases: []Phase{{"SiO2", 1}}, Hazards: []Hazard{HazardSilicaDust}}
	drawn, all, err := recipe.DrawnFrom(materials, []Draw{{Material: "clay", Stage: "fire", Lot: lot}})
	require.NoError(t, err)
	balance, err := Balance(drawn, all, 1)
	require.NoError(t, err)
	for _, e := range balance.Stages[0].Elements {
		assert.NotEqual(t, "Al", e.Element, "the lot holds none")
	}
	assert.Contains(t, all["lots/clay-8"].Hazards, HazardSilicaDust)
}

func TestDrawsThatMeanNothing(t *testing.T) {
	recipe, materials := twoStages()
	soda := Lot{ID: "soda-1", Material: "soda", MassGrams: 1, MadeOn: "2027-03-01"}
	both, _, err := recipe.DrawnFrom(materials, []Draw{{Lot: soda}})
	require.NoError(t, err)
	assert.Equal(t, "lots/soda-1", both.Stages[0].Additions[1].Material)
	assert.Equal(t, "lots/soda-1", both.Stages[1].Additions[1].Material, "every stage that puts it in")
	other := soda
	other.ID = "soda-2"
	for name, c := range map[string]struct {
		draws []Draw
		field string
	}{
		"no such addition":   {[]Draw{{Material: "gold", Lot: soda}}, "draws[0].material"},
		"not at that stage":  {[]Draw{{Material: "clay", Stage: "oxidise", Lot: soda}}, "draws[0].material"},
		"twice":              {[]Draw{{Lot: soda}, {Lot: other}}, "draws[1].material"},
		"nothing of the lot": {[]Draw{{Material: "soda", Lot: Lot{ID: "x", Material: "soda", MadeOn: "2027-03-01"}}}, "draws[0].lot.mass_grams"},
		"unknown material":   {[]Draw{{Material: "soda", Lot: Lot{ID: "x", Material: "gold", MassGrams: 1, MadeOn: "2027-03-01"}}}, "draws[0].lot.material"},
	} {
		_, _, err := recipe.DrawnFrom(materials, c.draws)
		assert.ErrorContains(t, err, c.field, name)
	}
	_, _, err = recipe.DrawnFrom(materials, []Draw{{Stage: "fire", Lot: soda}, {Stage: "oxidise", Lot: other}})
	assert.NoError(t, err, "one lot for each stage")
}

func TestALotOfAnotherMaterialIsWarnedOf(t *testing.T) {
	materials := Materials{
		"soda":     {ID: "soda", Phases: []Phase{{"Na2CO3", 1}}},
		"hydrated": {ID: "hydrated", Phases: []Phase{{"Na2CO3.10H2O", 1}}},
	}
	hydrated := Lot{ID: "crystals", Material: "hydrated", MassGrams: 1, MadeOn: "2027-03-01"}
	found := OfOtherMaterials(materials, []Draw{{Material: "soda", Stage: "fire", Lot: hydrated}})
	require.Len(t, found, 1)
	assert.Equal(t, []string{"WARN", "LOT_OF_OTHER_MATERIAL", "draws[0].lot", "crystals"},
		[]string{string(found[0].Severity), found[0].Code, found[0].Field, found[0].About})
	assert.Equal(t, "name a lot of soda, or substitute hydrated for it in the recipe", found[0].Cure)
	more := map[string]float64{}
	for _, f := range found[0].Figures {
		more[f.Name] = f.Value
	}
	// Molar masses 105.99 and 286.14 g/mol, of which 45.98 g are sodium; 20.16 g of the hydrate are hydrogen.
	assert.InDelta(t, 45.98/286.14-45.98/105.99, more["more_Na"], 1e-4)
	assert.InDelta(t, 20.16/286.14, more["more_H"], 1e-4)
	assert.Len(t, more, 4)

	same := Lot{ID: "soda-1", Material: "soda", MassGrams: 1, MadeOn: "2027-03-01"}
	for name, draw := range map[string]Draw{
		"of the material":      {Material: "soda", Lot: same},
		"for its own material": {Lot: hydrated},
		"an intermediate":      {Material: "soda", Lot: Lot{ID: "made", MassGrams: 1, MadeOn: "2027-03-01", Phases: []Phase{{"Na2CO3", 1}}}},
		"of nothing known":     {Material: "soda", Lot: Lot{ID: "x", Material: "gold", MassGrams: 1, MadeOn: "2027-03-01"}},
	} {
		assert.Empty(t, OfOtherMaterials(materials, []Draw{draw}), name)
	}
}
