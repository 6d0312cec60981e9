package chem

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

func share(value float64) *float64 { return &value }

// twoStages reduces a sodium, sulfur and clay batch, and oxidises what comes of it with more sulfur.
func twoStages() (Recipe, Materials) {
	materials := Materials{}
	for id, formula := range map[string]string{"clay": "Al2Si2O7", "soda": "Na2CO3", "sulfur": "S", "carbon": "C"} {
		materials[id] = Material{ID: id, Phases: []Phase{{formula, 0.97}}, MoistureFraction: 0.01}
	}
	recipe := oneStage(750, heat.Reducing, "Na8Al6Si6O24S4", Addition{Material: "clay", MassGrams: 60},
		Addition{Material: "soda", MassGrams: 52}, Addition{Material: "sulfur", MassGrams: 30}, Addition{Material: "carbon", MassGrams: 6})
	second := oneStage(500, heat.Oxidising, "", Addition{Material: "sulfur", FractionOfIntermediate: 0.1},
		Addition{Material: "soda", MassGrams: 2}).Stages[0]
	second.ID, second.MaxIntermediateAgeDays = "oxidise", 14
	recipe.Stages = append(recipe.Stages, second)
	recipe.Lags = []Lag{{FromStage: "fire", ToStage: "oxidise", MaxMinutes: 60}}
	return recipe, materials
}

func madeLot(t require.TestingT, recipe Recipe, materials Materials, factor float64) Lot {
	whole, err := Balance(recipe, materials, factor)
	require.NoError(t, err)
	lot, err := whole.Intermediate("fire", "reduced-3", "2027-03-01")
	require.NoError(t, err)
	return lot
}

func TestALotThatALoadMadeIsWhatTheBalanceLeaves(t *testing.T) {
	recipe, materials := twoStages()
	whole, err := Balance(recipe, materials, 2)
	require.NoError(t, err)
	lot := madeLot(t, recipe, materials, 2)
	assert.InDelta(t, whole.Stages[0].MassOutGrams, lot.MassGrams, 1e-9)
	assert.True(t, lot.IsIntermediate())
	assert.Equal(t, []Hazard{HazardSulfide}, lot.Hazards, "acid would set hydrogen sulfide free")
	assert.Equal(t, "fire", lot.FromStage)
	described, err := lot.Described(nil)
	require.NoError(t, err)
	parts, err := described.Breakdown(lot.MassGrams)
	require.NoError(t, err)
	assert.InDelta(t, whole.Stages[0].InertGrams, parts.InertGrams, 1e-9)
	_, err = whole.Intermediate("polish", "lot", "2027-03-01")
	assert.ErrorContains(t, err, `there is no stage "polish"`)
	_, err = whole.Intermediate("fire", "lot", "soon")
	assert.ErrorContains(t, err, "made_on")
}

func TestADampBatchMakesADampLot(t *testing.T) {
	recipe := oneStage(0, heat.Oxidising, "", Addition{Material: "m", MassGrams: 100})
	recipe.Stages[0] = Stage{ID: "mix", Kind: Mix, BenchMinutes: 10, Additions: recipe.Stages[0].Additions}
	wet := pure("SiO2")
	wet.MoistureFraction = 0.3
	whole, err := Balance(recipe, Materials{"m": wet}, 1)
	require.NoError(t, err)
	lot, err := whole.Intermediate("mix", "slip", "2027-03-01")
	require.NoError(t, err)
	assert.InDelta(t, 0.3, *lot.MoistureFraction, 1e-12)
}

func TestStartedFromItsOwnLotARecipeGoesOnAsIfItHadNotStopped(t *testing.T) {
	recipe, materials := twoStages()
	rapid.Check(t, func(t *rapid.T) {
		factor := rapid.Float64Range(0.01, 50).Draw(t, "factor")
		whole, err := Balance(recipe, materials, factor)
		require.NoError(t, err)
		lot := madeLot(t, recipe, materials, factor)
		started, err := DefaultPractice().StartFrom(recipe, materials, Start{Stage: "oxidise", Lot: lot})
		require.NoError(t, err)
		require.InEpsilon(t, factor, started.WholeLotFactor, 1e-9)
		scaled, err := ScaleFactor(started.Recipe, started.Materials, started.Scaled(Scale{}))
		require.NoError(t, err)
		after, err := Balance(started.Recipe, started.Materials, scaled)
		require.NoError(t, err)
		want, got := whole.Stages[1], after.Stages[0]
		require.InEpsilon(t, want.MassInGrams, got.MassInGrams, 1e-9)
		require.InEpsilon(t, want.MassOutGrams, got.MassOutGrams, 1e-9)
		for i, row := range want.Elements {
			require.Equal(t, row.Element, got.Elements[i].Element)
			require.InDelta(t, row.InMoles, got.Elements[i].InMoles, 1e-9*row.InMoles, row.Element)
		}
		for _, c := range []Case{Cautious, Likely} {
			require.InDelta(t, totalMoles(want, c, "SO2"), totalMoles(got, c, "SO2"), 1e-9*(1+totalMoles(want, c, "SO2")))
		}
	})
}

func TestAFractionIsOfTheMassWeighedThatDay(t *testing.T) {
	recipe, materials := twoStages()
	lot := madeLot(t, recipe, materials, 1)
	lot.MassGrams *= 0.8 // a fifth was spilt
	started, err := DefaultPractice().StartFrom(recipe, materials, Start{Stage: "oxidise", Lot: lot})
	require.NoError(t, err)
	weighed, err := WeighOut(started.Recipe, started.Materials, started.Scaled(Scale{}).Factor)
	require.NoError(t, err)
	require.Len(t, weighed, 3)
	assert.Equal(t, "lots/reduced-3", weighed[0].Material)
	assert.InEpsilon(t, lot.MassGrams, weighed[0].MassGrams, 1e-9, "the lot itself")
	assert.InEpsilon(t, 0.1*lot.MassGrams, weighed[1].MassGrams, 1e-9, "a tenth of it in sulfur")
	assert.InEpsilon(t, 0.8*2, weighed[2].MassGrams, 1e-9, "what the recipe gives as a mass follows the scale")
	assert.Empty(t, started.Recipe.Lags, "the stage before is left out, and so is the lag from it")
	assert.Equal(t, 1, started.Skipped)
}

// A tenth of the intermediate is a tenth of what is dry of it: 100 g at 4 % moisture ask for 9.6 g.
func TestAFractionIsOfTheDryIntermediate(t *testing.T) {
	_, materials := twoStages()
	recipe := oneStage(500, heat.Oxidising, "", Addition{Material: "sulfur", FractionOfIntermediate: 0.1})
	for moisture, want := range map[float64]float64{0: 10, 0.04: 9.6, 0.999: 0.01} {
		lot := Lot{ID: "bought", Material: "clay", MassGrams: 100, MadeOn: "2027-03-01", MoistureFraction: &moisture}
		started, err := DefaultPractice().StartFrom(recipe, materials, Start{Lot: lot})
		require.NoError(t, err)
		weighed, err := WeighOut(started.Recipe, started.Materials, 1)
		require.NoError(t, err)
		assert.InDelta(t, 100, weighed[0].MassGrams, 1e-9, "the lot is weighed as it is")
		assert.InDelta(t, want, weighed[1].MassGrams, 1e-9, "moisture %g", moisture)
	}
	unsaid := Lot{ID: "bought", Material: "clay", MassGrams: 100, MadeOn: "2027-03-01"}
	started, err := DefaultPractice().StartFrom(recipe, materials, Start{Lot: unsaid})
	require.NoError(t, err)
	assert.InDelta(t, 9.9, started.Recipe.Stages[0].Additions[1].MassGrams, 1e-9, "the material's own 1 % where the lot says nothing")
}

func TestAFractionIsOfTheDryChargeOfTheStageBefore(t *testing.T) {
	_, materials := twoStages() // each material holds 1 % moisture
	recipe := oneStage(0, heat.Oxidising, "", Addition{Material: "clay", MassGrams: 100})
	recipe.Stages[0].Kind, recipe.Stages[0].Program, recipe.Stages[0].BenchMinutes = Mix, nil, 10
	second := oneStage(500, heat.Oxidising, "", Addition{Material: "sulfur", FractionOfIntermediate: 0.1}).Stages[0]
	second.ID = "oxidise"
	recipe.Stages = append(recipe.Stages, second)
	balance, err := Balance(recipe, materials, 1)
	require.NoError(t, err)
	assert.InDelta(t, 9.9, balance.Stages[1].WeighOut[0].MassGrams, 1e-9)
	assert.Contains(t, balance.Assumptions, "An addition given as a fraction is one of the dry intermediate: free water in what is weighed does not count.")
}

func TestARecipeOfOneStageStartsFromALot(t *testing.T) {
	_, materials := twoStages()
	recipe := oneStage(500, heat.Oxidising, "", Addition{Material: "sulfur", FractionOfIntermediate: 0.1})
	lot := Lot{ID: "bought", Material: "clay", MassGrams: 40, MadeOn: "2027-03-01", MoistureFraction: share(0.05)}
	started, err := DefaultPractice().StartFrom(recipe, materials, Start{Lot: lot})
	require.NoError(t, err)
	assert.Equal(t, 1.0, started.WholeLotFactor)
	result, err := Balance(started.Recipe, started.Materials, 1)
	require.NoError(t, err)
	assert.InDelta(t, 40*0.05+4*0.95*0.01, result.Stages[0].FreeWaterGrams, 1e-9, "the lot's own moisture, the sulfur's as its material says")
}

func TestFindingsOfALot(t *testing.T) {
	recipe, materials := twoStages()
	lot := madeLot(t, recipe, materials, 1)
	started, err := DefaultPractice().StartFrom(recipe, materials, Start{Stage: "oxidise", Lot: lot})
	require.NoError(t, err)
	codes := func(factor float64, onDate string) []string {
		found, err := started.Findings(DefaultPractice(), factor, onDate)
		require.NoError(t, err)
		list := []string{}
		for _, f := range found {
			assert.NotEmpty(t, f.Cure)
			list = append(list, string(f.Severity)+" "+f.Code)
		}
		return list
	}
	assert.Empty(t, codes(1, "2027-03-15"), "14 days, the stage's most, exactly")
	assert.Equal(t, []string{string(finding.Warn) + " LOT_STALE"}, codes(1, "2027-03-16"))
	assert.Equal(t, []string{string(finding.Block) + " LOT_TOO_SMALL"}, codes(1.001, "2027-03-02"))
	_, err = started.Findings(DefaultPractice(), 1, "2027-02-28")
	assert.ErrorContains(t, err, "from_lot.made_on: 2027-03-01 is after 2027-02-28")
	// Without a most of its own the stage takes the practice's 30 days.
	started.Recipe.Stages[0].MaxIntermediateAgeDays = 0
	assert.Empty(t, codes(1, "2027-03-31"))
	assert.Len(t, codes(1, "2027-04-01"), 1)
	delivery := Lot{ID: "clay-7", Material: "clay", MassGrams: 1000, MadeOn: "2020-01-01"}
	started, err = DefaultPractice().StartFrom(recipe, materials, Start{Stage: "oxidise", Lot: delivery})
	require.NoError(t, err)
	assert.Empty(t, codes(1, "2027-03-15"), "a delivery in its bag does not go stale")
}

func TestLotsRefused(t *testing.T) {
	recipe, materials := twoStages()
	good := Lot{ID: "lot", Material: "clay", MassGrams: 10, MadeOn: "2027-03-01"}
	for name, c := range map[string]struct {
		field string
		spoil func(*Start)
	}{
		"no id":                  {"from_lot.id", func(s *Start) { s.Lot.ID = "" }},
		"no date":                {"from_lot.made_on", func(s *Start) { s.Lot.MadeOn = "1 March" }},
		"nothing at hand":        {"from_lot.mass_grams", func(s *Start) { s.Lot.MassGrams = 0 }},
		"mass below zero":        {"from_lot.mass_grams", func(s *Start) { s.Lot.MassGrams = -1 }},
		"unknown material":       {"from_lot.material", func(s *Start) { s.Lot.Material = "gold" }},
		"nothing said":           {"from_lot.phases", func(s *Start) { s.Lot.Material = "" }},
		"both analyses":          {"from_lot.oxides", func(s *Start) { s.Lot.Phases, s.Lot.Oxides = []Phase{{"SiO2", 1}}, []Oxide{{"SiO2", 1}} }},
		"all water":              {"from_lot.moisture_fraction", func(s *Start) { s.Lot.MoistureFraction = share(1) }},
		"purity of nothing":      {"from_lot.purity_fraction", func(s *Start) { s.Lot.PurityFraction = 0.9 }},
		"no hazard":              {"from_lot.hazards[0]", func(s *Start) { s.Lot.Hazards = []Hazard{"noise"} }},
		"no such stage":          {"start_stage", func(s *Start) { s.Stage = "polish" }},
		"owner in two lines":     {"from_lot.owner", func(s *Start) { s.Lot.Owner = "a\nb" }},
		"material that is no id": {"from_lot.material", func(s *Start) { s.Lot.Material = "Clay 7" }},
	} {
		start := Start{Stage: "oxidise", Lot: good}
		c.spoil(&start)
		_, err := DefaultPractice().StartFrom(recipe, materials, start)
		faults := finding.FaultsOf(err)
		require.NotEmpty(t, faults, name)
		assert.Equal(t, c.field, faults[0].Field, name)
		assert.NotEmpty(t, faults[0].Cure, name)
	}
	recipe.Stages[0].Additions[0].Material = "gold"
	_, err := DefaultPractice().StartFrom(recipe, materials, Start{Stage: "oxidise", Lot: good})
	assert.ErrorContains(t, err, "stages[0].additions[0].material")
}

func TestPlacesInAStartedRecipe(t *testing.T) {
	started := Started{Skipped: 2, lot: Lot{ID: "lot"}}
	for in, want := range map[string]string{
		"stages[0].additions[0]":                      "from_lot",
		"stages[0].additions[1].fed_hot":              "stages[2].additions[0].fed_hot",
		"stages[1].additions[1].fed_hot":              "stages[3].additions[1].fed_hot",
		"stages[0].lid":                               "stages[2].lid",
		"scale.factor":                                "scale.factor",
		"materials[lots/lot].phases[0].mass_fraction": "from_lot.phases[0].mass_fraction",
		"materials[clay].phases":                      "materials[clay].phases",
	} {
		assert.Equal(t, want, started.Place(in))
	}
}
