package chem

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

func shelf() Materials {
	materials := Materials{}
	for id, formula := range map[string]string{
		"kaolin": "Al2Si2O5(OH)4", "metakaolin": "Al2Si2O7", "quartz": "SiO2", "soda": "Na2CO3", "bicarbonate": "NaHCO3",
		"sulfate": "Na2SO4", "potash-spar": "KAlSi3O8", "charcoal": "C", "starch": "C6H10O5", "alumina": "Al2O3", "pearl-ash": "K2CO3",
	} {
		materials[id] = Material{ID: id, Phases: []Phase{{formula, 1}}}
	}
	materials["damp-kaolin"] = Material{ID: "damp-kaolin", Phases: []Phase{{"Al2Si2O5(OH)4", 1}}, MoistureFraction: 0.1, PurityFraction: 0.9}
	return materials
}

func glaze(additions ...Addition) Recipe { return oneStage(1100, heat.Oxidising, "", additions...) }

// Each is worked by hand from the molar masses.
func TestSubstituteByHand(t *testing.T) {
	materials := shelf()
	mass := func(formula string) float64 { return tabled(formula).MolarMass() }
	for name, c := range map[string]struct {
		recipe Recipe
		q      SubstituteQuestion
		want   []float64
	}{
		"calcined for raw clay": {glaze(Addition{Material: "kaolin", MassGrams: 100}), SubstituteQuestion{Replace: "kaolin", With: []string{"metakaolin"}},
			[]float64{100 / mass("Al2Si2O5(OH)4") * mass("Al2Si2O7")}},
		"bicarbonate for soda": {glaze(Addition{Material: "soda", MassGrams: 50}), SubstituteQuestion{Replace: "soda", With: []string{"bicarbonate"}},
			[]float64{2 * 50 / mass("Na2CO3") * mass("NaHCO3")}},
		"moist and impure": {glaze(Addition{Material: "kaolin", MassGrams: 81}), SubstituteQuestion{Replace: "kaolin", With: []string{"damp-kaolin"}},
			[]float64{100}},
		"feldspar from three": {glaze(Addition{Material: "potash-spar", MassGrams: mass("KAlSi3O8")}),
			SubstituteQuestion{Replace: "potash-spar", With: []string{"kaolin", "quartz", "pearl-ash"}},
			[]float64{mass("Al2Si2O5(OH)4") / 2, 2 * mass("SiO2"), mass("K2CO3") / 2}},
		"what is there already is reckoned anew": {glaze(Addition{Material: "kaolin", MassGrams: mass("Al2Si2O5(OH)4")}, Addition{Material: "quartz", MassGrams: 3 * mass("SiO2")}),
			SubstituteQuestion{Replace: "kaolin", With: []string{"alumina", "quartz"}}, []float64{mass("Al2O3"), 5 * mass("SiO2")}},
		"carbon when it is named": {glaze(Addition{Material: "charcoal", MassGrams: 6 * mass("C")}),
			SubstituteQuestion{Replace: "charcoal", With: []string{"starch"}, Count: []string{"C"}}, []float64{mass("C6H10O5")}},
		"sulfur that does not count": {glaze(Addition{Material: "soda", MassGrams: mass("Na2CO3")}),
			SubstituteQuestion{Replace: "soda", With: []string{"sulfate"}, Ignore: []string{"S"}}, []float64{mass("Na2SO4")}},
	} {
		answer, err := Substitute(c.recipe, materials, c.q)
		require.NoError(t, err, name)
		assert.True(t, answer.Met, name)
		require.Len(t, answer.Amounts, len(c.want), name)
		for i, want := range c.want {
			assert.InEpsilon(t, want, answer.Amounts[i].MassGrams, 1e-9, "%s: %s", name, answer.Amounts[i].Material)
		}
		for _, row := range answer.Residual {
			assert.InDelta(t, row.TargetMoles, row.GotMoles, 1e-9, "%s: %s", name, row.Element)
		}
		assert.Equal(t, Caution, answer.Caution)
	}
}

func TestSubstituteThatCannotBeMet(t *testing.T) {
	materials := shelf()
	recipe := glaze(Addition{Material: "kaolin", MassGrams: 100})
	answer, err := Substitute(recipe, materials, SubstituteQuestion{Replace: "kaolin", With: []string{"quartz"}})
	require.NoError(t, err)
	assert.False(t, answer.Met)
	require.True(t, finding.Blocks(answer.Findings))
	assert.Contains(t, answer.Findings[0].Message, "Al -100.0 %")
	assert.Equal(t, -1.0, answer.Residual[0].Relative)

	// A trace of sulfur in the substitute counts against all moles: 2 % of them is the most.
	recipe = glaze(Addition{Material: "soda", MassGrams: 100})
	dirty := func(sulfate float64) bool {
		materials["dirty"] = Material{ID: "dirty", Phases: []Phase{{"Na2CO3", 1 - sulfate}, {"Na2SO4", sulfate}}}
		answer, err := Substitute(recipe, materials, SubstituteQuestion{Replace: "soda", With: []string{"dirty"}})
		require.NoError(t, err)
		return answer.Met
	}
	assert.True(t, dirty(0.04))
	assert.False(t, dirty(0.08))
	answer, err = Substitute(recipe, materials, SubstituteQuestion{Replace: "soda", With: []string{"dirty"}, Tolerance: 0.05})
	require.NoError(t, err)
	assert.True(t, answer.Met, "allowing more")
}

func TestSubstituteRefuses(t *testing.T) {
	recipe := glaze(Addition{Material: "kaolin", MassGrams: 100}, Addition{Material: "charcoal", MassGrams: 1})
	for name, c := range map[string]struct {
		q     SubstituteQuestion
		field string
	}{
		"nothing to use":     {SubstituteQuestion{Replace: "kaolin"}, "with"},
		"not in the recipe":  {SubstituteQuestion{Replace: "quartz", With: []string{"kaolin"}}, "replace"},
		"not known":          {SubstituteQuestion{Replace: "kaolin", With: []string{"gold"}}, "with[0]"},
		"twice":              {SubstituteQuestion{Replace: "kaolin", With: []string{"quartz", "quartz"}}, "with[1]"},
		"no element":         {SubstituteQuestion{Replace: "kaolin", With: []string{"quartz"}, Count: []string{"Xx"}}, "count[0]"},
		"no element to skip": {SubstituteQuestion{Replace: "kaolin", With: []string{"quartz"}, Ignore: []string{"Xx"}}, "ignore[0]"},
		"too much allowed":   {SubstituteQuestion{Replace: "kaolin", With: []string{"quartz"}, Tolerance: 1.1}, "tolerance"},
		"nothing counts":     {SubstituteQuestion{Replace: "charcoal", With: []string{"starch"}}, "replace"},
	} {
		_, err := Substitute(recipe, shelf(), c.q)
		faults := finding.FaultsOf(err)
		require.NotEmpty(t, faults, name)
		assert.Equal(t, c.field, faults[0].Field, name)
		assert.NotEmpty(t, faults[0].Cure, name)
	}
}

func TestSubstituteWarnsOfNewHazards(t *testing.T) {
	materials := shelf()
	quartz := materials["quartz"]
	quartz.Hazards = []Hazard{HazardSilicaDust}
	materials["quartz"] = quartz
	materials["mix"] = Material{ID: "mix", Parts: []MixturePart{{"quartz", 0.5}, {"alumina", 0.5}}}
	answer, err := Substitute(glaze(Addition{Material: "kaolin", MassGrams: 100}), materials,
		SubstituteQuestion{Replace: "kaolin", With: []string{"mix", "alumina", "metakaolin"}})
	require.NoError(t, err)
	require.Len(t, answer.Findings, 1)
	assert.Equal(t, "SUBSTITUTE_NEW_HAZARD", answer.Findings[0].Code)
	assert.Equal(t, "mix", answer.Findings[0].About)
}

func TestAThingStandsInForItself(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, materials := anyRecipe(t)
		id := rapid.SampledFrom([]string{"ma", "analysed"}).Draw(t, "material")
		grams := rapid.Float64Range(1e-3, 1e6).Draw(t, "grams")
		answer, err := Substitute(glaze(Addition{Material: id, MassGrams: grams}), materials,
			SubstituteQuestion{Replace: id, With: []string{id}, Count: []string{"C", "H", "O"}})
		require.NoError(t, err)
		require.True(t, answer.Met)
		require.InEpsilon(t, grams, answer.Amounts[0].MassGrams, 1e-9)
	})
}

func TestSubstituteAtEachStageThatAddsIt(t *testing.T) {
	recipe, materials := twoStages()
	materials["bicarbonate"] = Material{ID: "bicarbonate", Phases: []Phase{{"NaHCO3", 1}}}
	answer, err := Substitute(recipe, materials, SubstituteQuestion{Replace: "soda", With: []string{"bicarbonate"}})
	require.NoError(t, err)
	require.Len(t, answer.Amounts, 2)
	assert.Equal(t, "fire", answer.Amounts[0].Stage)
	assert.InEpsilon(t, 52.0/2, answer.Amounts[0].MassGrams/answer.Amounts[1].MassGrams, 1e-9)
}
