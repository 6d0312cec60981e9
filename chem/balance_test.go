package chem

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/heat"
)

func mustBalance(t require.TestingT, recipe Recipe, materials Materials) BalanceResult {
	result, err := Balance(recipe, materials, 1)
	require.NoError(t, err)
	return result
}

func TestThreeStagePigment(t *testing.T) {
	result := mustBalance(t, blue(), blueMaterials())
	calcine, mix, reduce, oxidise := result.Stages[0], result.Stages[1], result.Stages[2], result.Stages[3]

	// Each stage goes on with what the one before retains, and fractions follow the intermediate.
	dry := 99.0
	assert.InDelta(t, dry-dry*0.92*0.139566, calcine.MassOutGrams, 1e-3)
	assert.InDelta(t, calcine.MassOutGrams*(1+0.8+0.5)+8, mix.MassInGrams, 1e-9)
	assert.Equal(t, mix.MassInGrams, mix.MassOutGrams)
	assert.InDelta(t, 1.1*reduce.MassOutGrams, oxidise.MassInGrams, 1e-9)
	weighed := result.WeighOut()
	require.Len(t, weighed, 5)
	assert.InDelta(t, 0.1*reduce.MassOutGrams, weighed[4].MassGrams, 1e-9)
	assert.Equal(t, 0.1, weighed[4].FractionOfIntermediate)

	assert.Equal(t, "Na8Al6Si6O24S4", result.IdealProduct)
	assert.Equal(t, "Al", result.LimitingElement)
	assert.InDelta(t, oxidise.ProductGrams, result.IdealProductGrams, 1e-12)
	aluminium := dry * 0.92 / 258.157 * 2
	assert.InDelta(t, aluminium/6, reduce.ProductMoles, 1e-6)
	assert.InDelta(t, aluminium/6, oxidise.ProductMoles, 1e-6)

	// The cautious case of the last stage burns the product's sulfur too.
	sulfur := elementRow(oxidise, "S")
	assert.InDelta(t, sulfur.InMoles, totalMoles(oxidise, Cautious, "SO2")+totalMoles(oxidise, Cautious, "H2SO4"), 1e-9)
	assert.InDelta(t, sulfur.OffGasMoles, totalMoles(oxidise, Likely, "SO2")+totalMoles(oxidise, Likely, "H2SO4"), 1e-9)
	assert.Less(t, sulfur.OffGasMoles, sulfur.InMoles)
	assert.Equal(t, Caution, result.Caution)
	assert.NotEmpty(t, result.Assumptions)
	assert.Empty(t, result.Findings)
}

func TestWaterInTheChargeIsReported(t *testing.T) {
	stage := mustBalance(t, blue(), blueMaterials()).Stages[0]
	assert.InDelta(t, 1, stage.FreeWaterGrams, 1e-9)
	assert.InDelta(t, 99*0.92*0.139566, stage.BoundWaterGrams, 1e-3)
	assert.InDelta(t, 99*0.03, stage.InertGrams, 1e-9)
}

func TestAcidMistIsAShareOfTheSulfur(t *testing.T) {
	stage := fired(t, pure("S"), 32.06, 500)
	for _, c := range []Case{Cautious, Likely} {
		assert.InDelta(t, 0.97, totalMoles(stage, c, "SO2"), 1e-9) // 3 %: common practice, no source
		assert.InDelta(t, 0.03, totalMoles(stage, c, "H2SO4"), 1e-9)
	}
}

func TestRangeDecidesTheShare(t *testing.T) {
	cases := []struct {
		name, formula, species string
		celsius                float64
		cautious, likely       float64 // share of what could leave
	}{
		{"just below", "KAl3Si3O10(OH)2", "H2O", 399, 0, 0},
		{"at the low end", "KAl3Si3O10(OH)2", "H2O", 400, 1, 0},
		{"between", "KAl3Si3O10(OH)2", "H2O", 500, 1, 0.2},
		{"at the high end", "KAl3Si3O10(OH)2", "H2O", 900, 1, 1},
		{"sulfate below its range", "CaSO4", "SO2", 1000, 0, 0},
		{"sulfate above its range", "CaSO4", "SO2", 1400, 0.97, 0.97},
		{"written by halves", "Ca0.5Mg0.5CO3", "CO2", 900, 1, 1},
		{"chain to the oxide", "CaCO3*MgCO3", "CO2", 900, 2, 2},
		{"sulfide keeps its sulfur if it can", "FeS", "SO2", 800, 0.97, 0},
		{"tremolite has no row of its own", "Ca2Mg5Si8O22(OH)2", "H2O", 800, 1, 1},
		{"mica has one", "KAl3Si3O10(OH)2", "H2O", 650, 1, 0.5},
		{"fluorspar", "CaF2", "HF", 1000, 2, 2},
		{"salt", "NaCl", "HCl", 750, 1, 0.5},
		{"nitre", "KNO3", "NO2", 800, 1, 1},
		{"wood ash's starch", "C6H10O5", "CO2", 950, 5.4, 6},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			stage := fired(t, pure(c.formula), mustFormula(t, c.formula).MolarMass(), c.celsius)
			assert.InDelta(t, c.cautious, totalMoles(stage, Cautious, c.species), 1e-9)
			assert.InDelta(t, c.likely, totalMoles(stage, Likely, c.species), 1e-9)
		})
	}
}

func TestCarbonByAtmosphere(t *testing.T) {
	materials := Materials{"soot": {ID: "soot", Phases: []Phase{{"C", 1}}}, "chalk": {ID: "chalk", Phases: []Phase{{"CaCO3", 1}}}}
	run := func(atmosphere heat.Atmosphere, carbon, carbonate float64) StageBalance {
		additions := []Addition{{Material: "soot", MassGrams: carbon * 12.011}}
		if carbonate > 0 {
			additions = append(additions, Addition{Material: "chalk", MassGrams: carbonate * 100.086})
		}
		return mustBalance(t, oneStage(950, atmosphere, "", additions...), materials).Stages[0]
	}
	cases := []struct {
		name              string
		atmosphere        heat.Atmosphere
		carbon, carbonate float64
		which             Case
		monoxide, dioxide float64
	}{
		{"reduction, carbon short", heat.Reducing, 1, 3, Likely, 2, 2},
		{"reduction, carbonate short", heat.Reducing, 3, 1, Likely, 4, 0},
		{"reduction, no carbonate", heat.Reducing, 1, 0, Cautious, 1, 0},
		{"oxidation, likely", heat.Oxidising, 1, 3, Likely, 0, 4},
		{"oxidation, cautious: a tenth as CO", heat.Oxidising, 1, 3, Cautious, 0.1, 3.9},
		{"neutral, cautious: as reduction", heat.Neutral, 1, 3, Cautious, 2, 2},
		{"neutral, likely: as oxidation", heat.Neutral, 1, 3, Likely, 0, 4},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			stage := run(c.atmosphere, c.carbon, c.carbonate)
			assert.InDelta(t, c.monoxide, totalMoles(stage, c.which, "CO"), 1e-9)
			assert.InDelta(t, c.dioxide, totalMoles(stage, c.which, "CO2"), 1e-9)
		})
	}
}

func TestCarbonTakesSulfatesApartInReduction(t *testing.T) {
	materials := Materials{"soot": {ID: "soot", Phases: []Phase{{"C", 1}}}, "salt-cake": {ID: "salt-cake", Phases: []Phase{{"Na2SO4", 1}}}}
	cake := Addition{Material: "salt-cake", MassGrams: 142.036}
	sulfur := func(atmosphere heat.Atmosphere, additions ...Addition) float64 {
		return totalMoles(mustBalance(t, oneStage(800, atmosphere, "", additions...), materials).Stages[0], Cautious, "SO2")
	}
	soot := Addition{Material: "soot", MassGrams: 24}
	assert.InDelta(t, 0.97, sulfur(heat.Reducing, cake, soot), 1e-9)
	assert.Zero(t, sulfur(heat.Reducing, cake))
	assert.Zero(t, sulfur(heat.Oxidising, cake, soot))
}

// 0.1 % sulfur, 0.5 % carbon and 0.05 % fluorine: common practice, no source.
func TestOrdinaryWareIsNotClean(t *testing.T) {
	recipe := oneStage(1100, heat.Oxidising, "")
	recipe.Stages[0].Kind, recipe.Stages[0].WareGrams = Bisque, 20000
	stage := mustBalance(t, recipe, nil).Stages[0]
	assert.InDelta(t, 20/32.06, totalMoles(stage, Cautious, "SO2")+totalMoles(stage, Cautious, "H2SO4"), 1e-9)
	assert.InDelta(t, 100/12.011, totalMoles(stage, Cautious, "CO")+totalMoles(stage, Cautious, "CO2"), 1e-9)
	assert.InDelta(t, 10/18.998, totalMoles(stage, Cautious, "HF"), 1e-9)
	assert.Zero(t, stage.MassInGrams, "ware is no part of the charge")
}

func TestDryingOnTheBenchTakesFreeWaterOnly(t *testing.T) {
	recipe := Recipe{ID: "dry", Stages: []Stage{{ID: "dry", Kind: Dry, BenchMinutes: 60,
		Additions: []Addition{{Material: "kaolin", MassGrams: 100}}}}}
	stage := mustBalance(t, recipe, blueMaterials()).Stages[0]
	assert.InDelta(t, 99, stage.MassOutGrams, 1e-9)
	assert.InDelta(t, 1, stage.OffGasOf(Likely)[0].MassGrams, 1e-9)
}

func TestFedHotGasIsToldApart(t *testing.T) {
	materials := Materials{"chalk": {ID: "chalk", Phases: []Phase{{"CaCO3", 1}}}}
	recipe := oneStage(950, heat.Oxidising, "", Addition{Material: "chalk", MassGrams: 100},
		Addition{Material: "chalk", MassGrams: 300, FedHot: true})
	stage := mustBalance(t, recipe, materials).Stages[0]
	moles := map[bool]float64{}
	for _, gas := range stage.OffGasOf(Cautious) {
		moles[gas.FedHot] += gas.Moles
	}
	assert.InDelta(t, 1/1.00086, moles[false], 1e-9)
	assert.InDelta(t, 3/1.00086, moles[true], 1e-9)
}

func TestProductThatCannotForm(t *testing.T) {
	materials := Materials{"quartz": {ID: "quartz", Phases: []Phase{{"SiO2", 1}}}, "chalk": {ID: "chalk", Phases: []Phase{{"CaCO3", 1}}}}
	additions := []Addition{{Material: "quartz", MassGrams: 60.083}, {Material: "chalk", MassGrams: 100.086}}
	cases := []struct {
		name, product, limiting string
		celsius, moles          float64
	}{
		{"element missing", "CaCuSi4O10", "Cu", 950, 0},
		{"carbonate not yet broken down", "CaSiO3", "Ca", 600, 0},
		{"carbonate breaking down", "CaSiO3", "Si", 700, 1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			result := mustBalance(t, oneStage(c.celsius, heat.Oxidising, c.product, additions...), materials)
			stage := result.Stages[0]
			assert.InDelta(t, c.moles, stage.ProductMoles, 1e-4)
			if c.moles > 0 {
				assert.Empty(t, result.Findings)
				return
			}
			assert.Equal(t, c.limiting, stage.LimitingElement)
			require.Len(t, result.Findings, 1)
			assert.Equal(t, "CHARGE_PRODUCT_NOT_FORMED", result.Findings[0].Code)
			assert.NotEmpty(t, result.Findings[0].Cure)
			assert.InDelta(t, 1, elementRow(stage, "Ca").LeftOverMoles, 1e-9)
		})
	}
}

// A metal takes oxygen from the air of an oxidising stage, and is short of it elsewhere.
func TestOxygenComesFromTheAirInOxidationOnly(t *testing.T) {
	materials := Materials{"copper": {ID: "copper", Phases: []Phase{{"Cu", 1}}}}
	run := func(atmosphere heat.Atmosphere) StageBalance {
		return mustBalance(t, oneStage(800, atmosphere, "CuO", Addition{Material: "copper", MassGrams: 63.546}), materials).Stages[0]
	}
	oxygen := elementRow(run(heat.Oxidising), "O")
	assert.InDelta(t, 1, oxygen.FromAirMoles, 1e-9)
	assert.InDelta(t, 1, oxygen.InMoles, 1e-9)
	assert.Zero(t, oxygen.OffGasMoles)
	neutral := run(heat.Neutral)
	assert.Zero(t, neutral.ProductMoles)
	assert.Equal(t, "O", neutral.LimitingElement)
}

func TestOxygenOfTheGasIsNotThereForTheProduct(t *testing.T) {
	// CaCO3 leaves one oxygen when its CO2 goes; CaO2 asks for two and there is no air.
	chalk := Materials{"chalk": {ID: "chalk", Phases: []Phase{{"CaCO3", 1}}}}
	stage := mustBalance(t, oneStage(950, heat.Neutral, "CaO2", Addition{Material: "chalk", MassGrams: 100.086}), chalk).Stages[0]
	assert.Equal(t, "O", stage.LimitingElement)
	assert.InDelta(t, 0.5, stage.ProductMoles, 1e-9)
}

func TestCarbonBeyondTheProductStaysCarbon(t *testing.T) {
	materials := Materials{"sand": {ID: "sand", Phases: []Phase{{"SiO2", 1}}}, "soot": {ID: "soot", Phases: []Phase{{"C", 1}}}}
	stage := mustBalance(t, oneStage(1500, heat.Neutral, "SiC", Addition{Material: "sand", MassGrams: 60.083},
		Addition{Material: "soot", MassGrams: 36.033}), materials).Stages[0]
	assert.InDelta(t, 1, stage.ProductMoles, 1e-9)
	assert.InDelta(t, 2, gas(stage, Likely, "CO2", "carbon").moles, 1e-9)
}

func TestHalidesLeaveOxides(t *testing.T) {
	assert.InDelta(t, 56.077, fired(t, pure("CaF2"), 78.074, 1000).MassOutGrams, 1e-9)
	assert.InDelta(t, 61.979/2, fired(t, pure("NaCl"), 58.44, 1000).MassOutGrams, 1e-9)
}

// A product named below the range of what it is made from still gives its gas at a temperature that the stage reaches.
func TestGasStartsWithinTheStage(t *testing.T) {
	silver := Materials{"m": pure("Ag2CO3")}
	stage := mustBalance(t, oneStage(250, heat.Oxidising, "Ag2O", Addition{Material: "m", MassGrams: 100}), silver).Stages[0]
	require.NotEmpty(t, stage.OffGas)
	for _, gas := range stage.OffGas {
		assert.LessOrEqual(t, gas.LowCelsius, 250.0)
	}
}

func TestBalanceRefuses(t *testing.T) {
	for _, factor := range []float64{0, -1, math.NaN(), math.Inf(1), 10001} {
		_, err := Balance(blue(), blueMaterials(), factor)
		assert.ErrorContains(t, err, "factor: ")
	}
	materials := blueMaterials()
	materials["sulfur"] = Material{ID: "sulfur"}
	_, err := Balance(blue(), materials, 1)
	assert.ErrorContains(t, err, "materials[sulfur].phases: none of phases, oxides and parts")
	practice := DefaultPractice()
	practice.AcidMistFraction = 2
	_, err = practice.Balance(blue(), blueMaterials(), 1)
	assert.ErrorContains(t, err, "practice.acid_mist_fraction: 2 is not between 0 and 1")
}

// anyRecipe draws a recipe of up to four stages from materials of every kind.
func anyRecipe(t *rapid.T) (Recipe, Materials) {
	materials := Materials{}
	var ids []string
	formulas := []string{"Al2Si2O5(OH)4", "CaCO3", "S", "C", "Na2CO3", "SiO2", "CaSO4.2H2O", "Cu2CO3(OH)2", "KNO3",
		"CaF2", "NaCl", "FeS", "Cu", "Sn", "KAl3Si3O10(OH)2", "C6H10O5", "CaMg(CO3)2", "KAl(SO4)2.12H2O", "Na2SO4"}
	for i, formula := range formulas {
		id := "m" + string(rune('a'+i))
		ids = append(ids, id)
		materials[id] = Material{ID: id, Phases: []Phase{{formula, 0.9}, {"Fe2O3", 0.05}}, MoistureFraction: 0.04, PurityFraction: 0.97}
	}
	materials["analysed"] = Material{ID: "analysed", LossOnIgnitionFraction: 0.1,
		Oxides: []Oxide{{"SiO2", 0.5}, {"Al2O3", 0.3}, {"SO3", 0.04}, {"CO2", 0.05}}}
	materials["mixed"] = Material{ID: "mixed", Parts: []MixturePart{{"mb", 0.4}, {"analysed", 0.6}}, MoistureFraction: 0.1}
	ids = append(ids, "analysed", "mixed")
	products := []string{"", "Na8Al6Si6O24S4", "CaCuSi4O10", "CaSiO3", "Al2Si2O7", "Na8Al6Si6O24Cl2", "CuO", "Na2CO3", "CaSO4"}
	recipe := Recipe{ID: "any"}
	for i := range rapid.IntRange(1, 4).Draw(t, "stages") {
		stage := oneStage(rapid.Float64Range(50, 1500).Draw(t, "celsius"),
			rapid.SampledFrom(atmospheres).Draw(t, "atmosphere"), rapid.SampledFrom(products).Draw(t, "product")).Stages[0]
		stage.ID = "s" + string(rune('a'+i))
		for range rapid.IntRange(0, 4).Draw(t, "additions") {
			addition := Addition{Material: rapid.SampledFrom(ids).Draw(t, "material"), FedHot: rapid.Bool().Draw(t, "fed")}
			addition.MassGrams = rapid.Float64Range(0.01, 1e4).Draw(t, "grams")
			if len(recipe.Stages) > 0 && len(recipe.Stages[0].Additions) > 0 && rapid.Bool().Draw(t, "fraction") {
				addition.MassGrams, addition.FractionOfIntermediate = 0, rapid.Float64Range(0.01, 2).Draw(t, "of")
			}
			stage.Additions = append(stage.Additions, addition)
		}
		recipe.Stages = append(recipe.Stages, stage)
	}
	return recipe, materials
}

func TestEveryElementIsConserved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		recipe, materials := anyRecipe(t)
		result := mustBalance(t, recipe, materials)
		for i, stage := range result.Stages {
			for _, row := range stage.Elements {
				out := row.ProductMoles + row.OffGasMoles + row.LeftOverMoles
				require.InDelta(t, row.InMoles, out, 1e-9*row.InMoles, "%s in stage %d", row.Element, i)
				for _, moles := range []float64{row.InMoles, row.ProductMoles, row.OffGasMoles, row.LeftOverMoles, row.FromAirMoles} {
					require.GreaterOrEqual(t, moles, 0.0)
				}
			}
			requireGasMatchesElements(t, stage)
			require.InDelta(t, stage.MassOutGrams, stage.InertGrams+remainingGrams(stage)+freeWaterLeft(stage),
				1e-9*stage.MassInGrams+1e-9)
			if i > 0 {
				require.GreaterOrEqual(t, stage.MassInGrams, result.Stages[i-1].MassOutGrams*(1-1e-12))
			}
		}
		encoded, err := json.Marshal(result) // refuses NaN and infinities
		require.NoError(t, err)
		require.NotContains(t, string(encoded), "null")
	})
}

// requireGasMatchesElements checks the likely gas, atom by atom, against the elements that left, oxygen aside.
func requireGasMatchesElements(t *rapid.T, stage StageBalance) {
	atoms := Moles{}
	for _, gas := range stage.OffGasOf(Likely) {
		atoms.Add(tabled(gas.Species).counts, gas.Moles)
		require.InDelta(t, gas.Moles*tabled(gas.Species).MolarMass(), gas.MassGrams, 1e-9*gas.MassGrams)
	}
	for _, symbol := range []string{"C", "S", "N", "F", "Cl"} {
		require.InDelta(t, elementRow(stage, symbol).OffGasMoles, atoms[symbol], 1e-9*atoms[symbol]+1e-15, symbol)
	}
	water := 2 * totalMoles(stage, Likely, "H2O")
	require.InDelta(t, elementRow(stage, "H").OffGasMoles, water, 1e-9*water+1e-15)
}

func remainingGrams(stage StageBalance) float64 {
	total := 0.0
	for _, phase := range stage.Remaining {
		total += phase.MassGrams
	}
	return total
}

// freeWaterLeft is the moisture that a stage leaves, from what it gives off as such.
func freeWaterLeft(stage StageBalance) float64 {
	left := stage.FreeWaterGrams
	for _, gas := range stage.OffGasOf(Likely) {
		if gas.Origin == rules().freeWater.Name {
			left -= gas.MassGrams
		}
	}
	return left
}

func TestCautiousIsNeverBelowLikely(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		recipe, materials := anyRecipe(t)
		for _, stage := range mustBalance(t, recipe, materials).Stages {
			sulfur := func(c Case) float64 { return totalMoles(stage, c, "SO2") + totalMoles(stage, c, "H2SO4") }
			require.GreaterOrEqual(t, sulfur(Cautious), sulfur(Likely)*(1-1e-9))
			for _, species := range []string{"CO", "HF", "HCl", "NO2", "H2O"} {
				require.GreaterOrEqual(t, totalMoles(stage, Cautious, species), totalMoles(stage, Likely, species)*(1-1e-9), species)
			}
		}
	})
}

func TestBalanceScalesLinearly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		recipe, materials := anyRecipe(t)
		factor := rapid.Float64Range(0.01, 100).Draw(t, "factor")
		one := mustBalance(t, recipe, materials)
		many, err := Balance(recipe, materials, factor)
		require.NoError(t, err)
		same := func(a, b float64) { require.InDelta(t, a*factor, b, 1e-6*a*factor+1e-12) }
		for i := range one.Stages {
			a, b := one.Stages[i], many.Stages[i]
			same(a.MassInGrams, b.MassInGrams)
			same(a.MassOutGrams, b.MassOutGrams)
			same(a.ProductGrams, b.ProductGrams)
			for _, c := range []Case{Cautious, Likely} {
				for _, species := range []string{"SO2", "CO", "CO2", "H2O", "HF", "HCl", "NO2", "H2SO4"} {
					same(totalMoles(a, c, species), totalMoles(b, c, species))
				}
			}
		}
	})
}

func TestBalanceDoesNotChangeItsInput(t *testing.T) {
	recipe, materials := blue(), blueMaterials()
	mustBalance(t, recipe, materials)
	assert.Equal(t, blue(), recipe)
	assert.Equal(t, blueMaterials(), materials)
	assert.True(t, slices.IsSortedFunc(mustBalance(t, recipe, materials).Stages[2].Elements, func(a, b ElementBalance) int {
		return elements()[a.Element].AtomicNumber - elements()[b.Element].AtomicNumber
	}))
}

func BenchmarkBalance(b *testing.B) {
	recipe, materials := blue(), blueMaterials()
	for b.Loop() {
		if _, err := Balance(recipe, materials, 1); err != nil {
			b.Fatal(err)
		}
	}
}

// Of what has no rate a long hold drives the water out, by its range alone: common practice, no source.
func TestAHoldDrivesTheWaterOut(t *testing.T) {
	for name, c := range map[string]struct{ celsius, hold, lost float64 }{
		"two hours at the middle":      {650, 120, 1},
		"less than two hours":          {650, 119, 0.5},
		"eight hours below the middle": {649, 480, 249.0 / 500},
		"below the range":              {390, 480, 0},
	} {
		t.Run(name, func(t *testing.T) {
			assert.InDelta(t, c.lost, totalMoles(calcined(t, "KAl3Si3O10(OH)2", heat.Segment{ToCelsius: c.celsius, HoldMinutes: c.hold}), Likely, "H2O"), 1e-9)
		})
	}
}

// Sulfates are left to the linear rule: what a hold may leave of them is still counted at the next stage.
func TestAHoldLeavesSulfatesToTheirRange(t *testing.T) {
	recipe := Recipe{ID: "gypsum", Stages: []Stage{{ID: "fire", Kind: Calcine, Atmosphere: heat.Oxidising,
		Additions: []Addition{{Material: "anhydrite", MassGrams: 100}},
		Program:   &heat.Program{Segments: []heat.Segment{{ToCelsius: 1250, HoldMinutes: 480}}}}}}
	result, err := Balance(recipe, Materials{"anhydrite": {ID: "anhydrite", Phases: []Phase{{"CaSO4", 1}}}}, 1)
	require.NoError(t, err)
	var sulfate float64
	for _, phase := range result.Stages[0].Remaining {
		if phase.Formula == "CaSO4" {
			sulfate = phase.MassGrams
		}
	}
	assert.InDelta(t, 50, sulfate, 1e-9)
}
