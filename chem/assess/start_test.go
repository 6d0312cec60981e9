package assess

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
)

// calcined is a recipe that calcines clay and oxidises it with a tenth of its mass in sulfur.
func calcined() chem.Recipe {
	oxidise := fired(chem.Oxidise, 400, chem.Addition{Material: "sulfur", FractionOfIntermediate: 0.01})
	return recipe(fired(chem.Calcine, 650, add("kaolin", 1000)), oxidise)
}

func lotOf(grams float64) chem.Lot {
	return chem.Lot{
		ID: "clay-3", MassGrams: grams, MadeOn: "2027-02-20", FromStage: "s-calcine",
		Phases: []chem.Phase{{Formula: "Al2Si2O7", MassFraction: 1}},
	}
}

func TestRecipeFromALotLeavesOutWhatWasDone(t *testing.T) {
	a, err := site(pot()).RecipeFrom(calcined(), materials(), chem.Scale{}, chem.Start{Stage: "s-oxidise", Lot: lotOf(430)})
	require.NoError(t, err)
	require.Len(t, a.Stages, 1)
	assert.Equal(t, "s-oxidise", a.Stages[0].Stage)
	weighed := a.Charge.Balance.WeighOut()
	require.Len(t, weighed, 2)
	assert.InDelta(t, 430, weighed[0].MassGrams, 1e-9)
	assert.InDelta(t, 4.3, weighed[1].MassGrams, 1e-9, "a hundredth of what was weighed")
	assert.False(t, finding.Blocks(a.Findings), "%v", a.Findings)
	assert.Contains(t, a.Assumptions[len(a.Assumptions)-1], "Started from lot clay-3")
	whole, err := site(pot()).Recipe(calcined(), materials(), chem.Scale{Factor: 0.5})
	require.NoError(t, err)
	assert.Len(t, whole.Stages, 2)
}

func TestRecipeFromALotNamesFieldsOfTheWholeRecipe(t *testing.T) {
	stages := calcined()
	stages.Stages[1].Additions[0].FedHot = true
	lot := lotOf(5000)
	lot.MadeOn = "2026-12-01"
	a, err := site(pot()).RecipeFrom(stages, materials(), chem.Scale{Factor: 7}, chem.Start{Stage: "s-oxidise", Lot: lot})
	require.NoError(t, err)
	fields := map[string]string{}
	for _, f := range a.Findings {
		fields[f.Code] = f.Field
	}
	assert.Equal(t, "stages[1].additions[0].fed_hot", fields["SULFUR_FED_HOT"])
	assert.Equal(t, "from_lot.made_on", fields["LOT_STALE"])
	assert.Equal(t, "from_lot.mass_grams", fields["LOT_TOO_SMALL"])
	assert.Equal(t, finding.Block, a.Findings[0].Severity, "worst first")
}

func TestALotBringsItsDangersAlong(t *testing.T) {
	lot := lotOf(100)
	lot.Phases = []chem.Phase{{Formula: "KNO3", MassFraction: 1}}
	a, err := site(pot()).RecipeFrom(calcined(), materials(), chem.Scale{}, chem.Start{Stage: "s-oxidise", Lot: lot})
	require.NoError(t, err)
	assert.True(t, finding.Blocks(a.Findings), "an oxidiser meets sulfur")
}

func TestRecipeFromALotFaults(t *testing.T) {
	cases := map[string]struct {
		spoil func(*chem.Recipe, *chem.Start, *chem.Scale)
		field string
	}{
		"stage":      {func(_ *chem.Recipe, s *chem.Start, _ *chem.Scale) { s.Stage = "polish" }, "start_stage"},
		"date ahead": {func(_ *chem.Recipe, s *chem.Start, _ *chem.Scale) { s.Lot.MadeOn = "2027-03-02" }, "from_lot.made_on"},
		"scale":      {func(_ *chem.Recipe, _ *chem.Start, s *chem.Scale) { s.ProductGrams = 5 }, "scale.product_grams"},
		"recipe":     {func(r *chem.Recipe, _ *chem.Start, _ *chem.Scale) { r.Stages[1].Product = "Xx" }, "stages[1].product"},
		"first stage": {func(r *chem.Recipe, s *chem.Start, _ *chem.Scale) {
			s.Stage, r.Stages[0].Additions[0].Material = "", "gold"
		}, "stages[0].additions[0].material"},
	}
	for name, c := range cases {
		r, start, scale := calcined(), chem.Start{Stage: "s-oxidise", Lot: lotOf(100)}, chem.Scale{}
		c.spoil(&r, &start, &scale)
		_, err := site(pot()).RecipeFrom(r, materials(), scale, start)
		faults := finding.FaultsOf(err)
		require.NotEmpty(t, faults, name)
		assert.Equal(t, c.field, faults[0].Field, name)
	}
}

func TestAMixtureIsJudgedByItsParts(t *testing.T) {
	of := materials()
	of["powder"] = chem.Material{ID: "powder", Parts: []chem.MixturePart{
		{Material: "saltpetre", MassFraction: 0.5}, {Material: "sulfur", MassFraction: 0.5},
	}}
	c := chargeOf(t, of, fired(chem.Oxidise, 300, add("powder", 10)))
	assert.True(t, finding.Blocks(c.Findings), "an oxidiser with sulfur, both in one mixture")
	of["dusty"] = chem.Material{ID: "dusty", Parts: []chem.MixturePart{{Material: "flint", MassFraction: 1}}}
	c = chargeOf(t, of, fired(chem.Oxidise, 300, add("dusty", 10)))
	assert.Contains(t, severities(c.Findings), "SILICA_DUST")
}
