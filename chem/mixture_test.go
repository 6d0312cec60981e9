package chem

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// body is a wet clay body of a moist clay, an analysed feldspar and a grog that is a mixture itself.
func body() Materials {
	return Materials{
		"clay": {ID: "clay", Phases: []Phase{{"Al2Si2O5(OH)4", 0.9}, {"SiO2", 0.05}}, MoistureFraction: 0.02, PurityFraction: 0.95,
			Hazards: []Hazard{HazardSilicaDust}},
		"spar": {ID: "spar", Oxides: []Oxide{{"K2O", 0.16}, {"Al2O3", 0.19}, {"SiO2", 0.64}}, LossOnIgnitionFraction: 0.01},
		"sand": {ID: "sand", Phases: []Phase{{"SiO2", 1}}},
		"grog": {ID: "grog", Parts: []MixturePart{{"sand", 0.4}, {"clay", 0.6}}},
		"body": {ID: "body", Title: "Body", Version: 3, Parts: []MixturePart{{"clay", 0.5}, {"spar", 0.3}, {"grog", 0.2}},
			MoistureFraction: 0.2},
	}
}

// weighedApart is the elements of the same masses weighed out one by one, free water included.
func weighedApart(t require.TestingT, materials Materials, masses map[string]float64) (Moles, float64) {
	total, inert := Moles{}, 0.0
	for id, grams := range masses {
		parts, err := materials[id].Breakdown(grams)
		require.NoError(t, err)
		for _, phase := range parts.Phases {
			total.Add(phase.Formula.counts, phase.Moles)
		}
		total.Add(tabled("H2O").counts, parts.FreeWaterGrams/tabled("H2O").MolarMass())
		inert += parts.InertGrams
	}
	return total, inert
}

func allMoles(parts Breakdown) Moles {
	c := &charge{}
	c.putAll(parts)
	return c.moles()
}

func TestAMixtureIsItsPartsEachAtItsOwnMoistureAndPurity(t *testing.T) {
	materials := body()
	parts, err := materials.Breakdown("body", 1000)
	require.NoError(t, err)
	// Of 1000 g, 200 are the body's own water; of the other 800, half clay, three tenths spar, and a fifth grog: 64 g of sand
	// and 96 g of clay.
	want, inert := weighedApart(t, materials, map[string]float64{"clay": 400 + 96, "spar": 240, "sand": 64})
	want.Add(tabled("H2O").counts, 200/tabled("H2O").MolarMass())
	got := allMoles(parts)
	for _, symbol := range want.Symbols() {
		assert.InEpsilon(t, want[symbol], got[symbol], 1e-9, symbol)
	}
	assert.InDelta(t, inert, parts.InertGrams, 1e-9)
	assert.InDelta(t, 200+496*0.02, parts.FreeWaterGrams, 1e-9)
	resolved, err := materials.Resolved("body")
	require.NoError(t, err)
	assert.Equal(t, []Hazard{HazardSilicaDust}, resolved.Hazards, "what a part declares, the mixture is")
	assert.Equal(t, []any{"body", "Body", 3}, []any{resolved.ID, resolved.Title, resolved.Version})
	assert.Empty(t, resolved.Validate())
}

func TestAMixtureFiresAsItsPartsWeighedApart(t *testing.T) {
	materials := body()
	mixed, err := Balance(oneStage(1000, heat.Oxidising, "", Addition{Material: "grog", MassGrams: 100}), materials, 1)
	require.NoError(t, err)
	apart, err := Balance(oneStage(1000, heat.Oxidising, "", Addition{Material: "sand", MassGrams: 40},
		Addition{Material: "clay", MassGrams: 60}), materials, 1)
	require.NoError(t, err)
	assert.InDelta(t, apart.Stages[0].MassOutGrams, mixed.Stages[0].MassOutGrams, 1e-9)
	for i, row := range apart.Stages[0].Elements {
		assert.Equal(t, row.Element, mixed.Stages[0].Elements[i].Element)
		assert.InEpsilon(t, row.InMoles, mixed.Stages[0].Elements[i].InMoles, 1e-9, row.Element)
	}
}

func TestMixturesThatCannotBe(t *testing.T) {
	part := func(id string) []MixturePart { return []MixturePart{{id, 1}} }
	deep := Materials{"m0": {ID: "m0", Phases: []Phase{{"SiO2", 1}}}}
	for i := 1; i <= MaxMixtureDepth+1; i++ {
		id := fmt.Sprintf("m%d", i)
		deep[id] = Material{ID: id, Parts: part(fmt.Sprintf("m%d", i-1))}
	}
	many := Materials{"all": {ID: "all"}}
	for i := range maxAnalysisLines + 1 {
		id := fmt.Sprintf("p%d", i)
		many[id] = Material{ID: id, Phases: []Phase{{fmt.Sprintf("CaCO%d", i+3), 1}}}
		if i < 2 {
			many["all"] = Material{ID: "all", Parts: append(many["all"].Parts, MixturePart{fmt.Sprintf("half%d", i), 0.5})}
		}
		half := many[fmt.Sprintf("half%d", i%2)]
		half.ID, half.Parts = fmt.Sprintf("half%d", i%2), append(half.Parts, MixturePart{id, 1 / 30.5})
		many[half.ID] = half
	}
	_, err := deep.Resolved(fmt.Sprintf("m%d", MaxMixtureDepth))
	require.NoError(t, err, "as deep as is allowed")
	cases := map[string]struct {
		of       Materials
		id, says string
	}{
		"unknown part":       {Materials{"a": {ID: "a", Parts: part("b")}}, "a", `materials[a].parts[0].material: there is no material "b"`},
		"itself":             {Materials{"a": {ID: "a", Parts: part("a")}}, "a", "materials[a].parts[0].material: a is mixed of a"},
		"round":              {Materials{"a": {ID: "a", Parts: part("b")}, "b": {ID: "b", Parts: part("a")}}, "a", "materials[b].parts[0].material"},
		"too deep":           {deep, fmt.Sprintf("m%d", MaxMixtureDepth+1), "more than 4 deep"},
		"a part with faults": {Materials{"a": {ID: "a", Parts: part("b")}, "b": {ID: "b"}}, "a", "materials[b].phases: none of"},
		"too many compounds": {many, "all", "consists of 61 compounds"},
	}
	for name, c := range cases {
		_, err := c.of.Breakdown(c.id, 1)
		assert.ErrorContains(t, err, c.says, name)
		for _, fault := range finding.FaultsOf(err) {
			assert.NotEmpty(t, fault.Cure, name)
		}
	}
	_, err = Materials{"a": {ID: "a", Parts: part("b")}}["a"].Breakdown(1)
	assert.ErrorContains(t, err, "parts: a mixture is divided with the materials of its parts")
}

func TestElementsAreKeptThroughMixtures(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		formulas := []string{"CaCO3", "SiO2", "Al2Si2O5(OH)4", "Fe0.95O", "Na2CO3*10H2O", "C6H10O5"}
		materials := Materials{}
		var ids []string
		for i := range rapid.IntRange(1, 4).Draw(t, "plain") {
			id := fmt.Sprintf("p%d", i)
			materials[id] = Material{ID: id, Phases: []Phase{{rapid.SampledFrom(formulas).Draw(t, "formula"), 0.9}},
				MoistureFraction: rapid.Float64Range(0, 0.5).Draw(t, "moisture"),
				PurityFraction:   rapid.Float64Range(0.1, 1).Draw(t, "purity")}
			ids = append(ids, id)
		}
		apart := map[string]map[string]float64{} // grams of the plain materials in a gram of each
		for _, id := range ids {
			apart[id] = map[string]float64{id: 1}
		}
		for i := range rapid.IntRange(1, 3).Draw(t, "mixtures") {
			id := fmt.Sprintf("m%d", i)
			share := rapid.Float64Range(0.01, 0.99).Draw(t, "share")
			one, other := rapid.SampledFrom(ids).Draw(t, "one"), rapid.SampledFrom(ids).Draw(t, "other")
			materials[id] = Material{ID: id, Parts: []MixturePart{{one, share}, {other, 1 - share}}}
			apart[id] = map[string]float64{}
			for plain, grams := range apart[one] {
				apart[id][plain] += grams * share
			}
			for plain, grams := range apart[other] {
				apart[id][plain] += grams * (1 - share)
			}
			ids = append(ids, id)
		}
		id := ids[len(ids)-1]
		parts, err := materials.Breakdown(id, 1)
		require.NoError(t, err)
		want, inert := weighedApart(t, materials, apart[id])
		got := allMoles(parts)
		for _, symbol := range want.Symbols() {
			require.InDelta(t, want[symbol], got[symbol], 1e-9*want[symbol], symbol)
		}
		require.InDelta(t, inert, parts.InertGrams, 1e-9)
		require.InDelta(t, 1, got.Grams()+parts.InertGrams, 1e-9)
	})
}

func TestLossOnIgnitionIsSplitAsStated(t *testing.T) {
	chalky := Material{ID: "m", Oxides: []Oxide{{"CaO", 0.5}, {"SiO2", 0.08}}, LossOnIgnitionFraction: 0.42,
		LossOnIgnitionCarbonDioxideFraction: 0.39, LossOnIgnitionOrganicFraction: 0.01}
	parts, err := chalky.Breakdown(100)
	require.NoError(t, err)
	grams := map[string]float64{}
	for _, phase := range parts.Phases {
		grams[phase.Formula.String()] = phase.Grams()
	}
	for formula, want := range map[string]float64{"CaO": 50, "SiO2": 8, "CO2": 39, "CH2": 1, "H2O": 2} {
		assert.InDelta(t, want, grams[formula], 1e-9, formula)
	}
	stage := fired(t, chalky, 100, 1100)
	assert.InDelta(t, 58, stage.MassOutGrams, 1e-9)
	carbon := 39/tabled("CO2").MolarMass() + 1/tabled("CH2").MolarMass()
	assert.InDelta(t, carbon, totalMoles(stage, Likely, "CO2"), 1e-9)
	result, err := Balance(oneStage(1100, heat.Oxidising, "", Addition{Material: "m", MassGrams: 1}), Materials{"m": chalky}, 1)
	require.NoError(t, err)
	assert.True(t, slices.ContainsFunc(result.Assumptions, func(s string) bool { return s[:7] == "Organic" }))
}

func TestSodaAshThatTookUpWaterIsWeighedInHeavier(t *testing.T) {
	damp := Material{ID: "m", Phases: []Phase{{"Na2CO3", 0.8}, {"Na2CO3*H2O", 0.2}}}
	moles, err := damp.Moles(100)
	require.NoError(t, err)
	assert.InDelta(t, 2*(80/105.988+20/124.003), moles["Na"], 1e-5)
	assert.InDelta(t, 100*0.2*18.015/124.003, 100-fired(t, damp, 100, 300).MassOutGrams, 1e-3, "the hydrate's water leaves")
}

func TestAnalysesMustAddUp(t *testing.T) {
	analysis := func(silica, loss, purity float64) Material {
		return Material{ID: "m", Oxides: []Oxide{{"SiO2", silica}}, LossOnIgnitionFraction: loss, PurityFraction: purity}
	}
	for name, c := range map[string]struct {
		material Material
		fault    string
	}{
		"98 %":                         {analysis(0.9, 0.08, 0), ""},
		"just below":                   {analysis(0.9, 0.0799, 0), "oxides"},
		"102 %":                        {analysis(0.9, 0.12, 0), ""},
		"just above":                   {analysis(0.9, 0.1201, 0), "oxides"},
		"the rest named by purity":     {analysis(0.8, 0.1, 0.9), ""},
		"purity that does not fit":     {analysis(0.8, 0.1, 0.95), "oxides"},
		"parts of the loss above it":   {Material{ID: "m", Oxides: []Oxide{{"SiO2", 0.9}}, LossOnIgnitionFraction: 0.1, LossOnIgnitionWaterFraction: 0.06, LossOnIgnitionOrganicFraction: 0.05}, "loss_on_ignition_fraction"},
		"loss below zero":              {Material{ID: "m", Oxides: []Oxide{{"SiO2", 1}}, LossOnIgnitionWaterFraction: -0.1}, "loss_on_ignition_water_fraction"},
		"loss without an analysis":     {Material{ID: "m", Phases: []Phase{{"SiO2", 1}}, LossOnIgnitionFraction: 0.1}, "loss_on_ignition_fraction"},
		"phase below zero":             {Material{ID: "m", Phases: []Phase{{"SiO2", -0.1}}}, "phases[0].mass_fraction"},
		"unknown element":              {Material{ID: "m", Phases: []Phase{{"Xy2O3", 1}}}, "phases[0].formula"},
		"parts of 98 %":                {Material{ID: "m", Parts: []MixturePart{{"a", 0.5}, {"b", 0.48}}}, ""},
		"parts that do not add up":     {Material{ID: "m", Parts: []MixturePart{{"a", 0.5}, {"b", 0.4}}}, "parts"},
		"part below zero":              {Material{ID: "m", Parts: []MixturePart{{"a", 1}, {"b", -0.01}}}, "parts[1].mass_fraction"},
		"part without a name":          {Material{ID: "m", Parts: []MixturePart{{"", 1}}}, "parts[0].material"},
		"a mixture's own purity":       {Material{ID: "m", PurityFraction: 0.9, Parts: []MixturePart{{"a", 1}}}, "purity_fraction"},
		"phases and parts":             {Material{ID: "m", Phases: []Phase{{"SiO2", 1}}, Parts: []MixturePart{{"a", 1}}}, "oxides"},
		"analysis listed as of purity": {analysis(0.5, 0, 0.5), ""},
	} {
		faults := c.material.Validate()
		if c.fault == "" {
			assert.Empty(t, faults, name)
			continue
		}
		require.Len(t, faults, 1, name)
		assert.Equal(t, c.fault, faults[0].Field, name)
		assert.NotEmpty(t, faults[0].Cure, name)
	}
	half, err := analysis(0.5, 0, 0.5).Breakdown(100)
	require.NoError(t, err)
	assert.InDelta(t, 50, half.InertGrams, 1e-9, "what is listed is half of it, not a quarter")
}
