package assess

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/hazard"
	"saggar/chem/heat"
)

// A thousandth of the charge is a trace, and more is not; what a material declares counts however little it is.
func TestTracesDoNotClash(t *testing.T) {
	for _, c := range []struct {
		name  string
		fuel  float64 // grams in 1000 g of charge
		want  finding.Severity
		means string
	}{
		{"below", 0.9, "", "sulfur"}, {"exactly", 1, "", "sulfur"}, {"above", 1.1, finding.Block, "sulfur"},
		{"far below, declared", 0.001, finding.Block, "brimstone"},
	} {
		t.Run(c.name, func(t *testing.T) {
			of := materials()
			of["brimstone"] = chem.Material{ID: "brimstone", Hazards: []chem.Hazard{chem.HazardSulfur},
				Phases: []chem.Phase{{Formula: "SiO2", MassFraction: 1}}}
			found := chargeOf(t, of, worked(chem.Mix, add("saltpetre", 999-c.fuel), add(c.means, c.fuel), add("quartz", 1))).Findings
			assert.Equal(t, c.want, severities(found)["OXIDISER_WITH_FUEL"])
		})
	}
}

// 29 CFR 1910.1024 leaves out what holds less than 0.1 % of beryllium, so 0.1 % itself counts.
func TestToxicSharesAtTheBoundary(t *testing.T) {
	beryllia, err := chem.ParseFormula("BeO")
	require.NoError(t, err)
	inOxide := beryllia.Elements()[0].MassFraction
	for _, c := range []struct {
		share        float64
		block, trace bool
	}{{0, false, false}, {1e-5, false, true}, {0.000999, false, true}, {0.001 + 1e-12, true, false}, {0.01, true, false}} {
		of := materials()
		clay := chem.Material{ID: "clay", MoistureFraction: 0.2, Phases: []chem.Phase{{Formula: "SiO2", MassFraction: 0.9}}}
		if c.share > 0 {
			clay.Phases = append(clay.Phases, chem.Phase{Formula: "BeO", MassFraction: c.share / inOxide})
		}
		of["clay"] = clay
		found := severities(chargeOf(t, of, worked(chem.Weigh, add("clay", 1))).Findings)
		assert.Equal(t, c.block, found["CONTENTS_TOXIC"] == finding.Block, "share %g", c.share)
		assert.Equal(t, c.trace, found["CONTENTS_TOXIC_TRACE"] == finding.Note, "share %g", c.share)
	}
}

func TestEveryToxicElementIsFound(t *testing.T) {
	for _, row := range data.ToxicElements() {
		formula := row.Element
		switch {
		case row.Only == string(hazard.Chromate):
			formula = "BaCrO4"
		case row.Element == "F":
			formula = "CaF2"
		case row.Element == "Ba":
			formula = "BaCO3"
		}
		t.Run(row.Element, func(t *testing.T) {
			of := materials()
			of["it"] = chem.Material{ID: "it", Phases: []chem.Phase{{Formula: formula, MassFraction: 1}}}
			found := withCode(chargeOf(t, of, worked(chem.Weigh, add("it", 1))).Findings, row.Code)
			require.NotEmpty(t, found)
			assert.Equal(t, finding.Severity(row.Severity), found[0].Severity)
			assert.Contains(t, found[0].Message, "it ("+row.What+")")
			assert.Contains(t, found[0].Source, row.Source)
			if row.LimitMilligramsPerCubicMeter > 0 {
				figure := finding.Figure{
					Name: "limit_" + strings.ToLower(row.Element), Value: row.LimitMilligramsPerCubicMeter, Unit: "mg/m3",
				}
				assert.Contains(t, found[0].Figures, figure)
			}
		})
	}
}

// Each row of the table refuses, warns or notes what it says of, and nothing when one of the two is missing.
func TestEveryChargeRuleIsHeld(t *testing.T) {
	example := map[hazard.Trait]string{
		hazard.Oxidiser: "KNO3", hazard.Sulfur: "S", hazard.Carbon: "C", hazard.Organic: "C6H10O5", hazard.Metal: "Cu",
		hazard.Sulfide: "ZnS", hazard.Phosphorus: "P", hazard.EnergeticMetal: "Al", hazard.MetalOxide: "Fe2O3",
		hazard.StrongReducer: "Mg", hazard.HardOxide: "SiO2", hazard.Sulfate: "BaSO4", hazard.Acid: "C6H8O7", hazard.Sulfite: "Na2SO3",
		hazard.Chlorate: "KClO3", hazard.Permanganate: "KMnO4", hazard.Ammonium: "NH4Cl", hazard.StrongAlkali: "NaOH",
		hazard.ChromiumThree: "Cr2O3", hazard.AlkaliSalt: "K2CO3", hazard.EarthAlkaliSalt: "CaCO3", hazard.Azide: "NaN3",
		hazard.Cyanide: "KCN", hazard.Perchlorate: "KClO4", hazard.WaterReactive: "CaC2",
		hazard.Halogen: "I2", hazard.ReducibleSalt: "CuCl2", hazard.Carbonate: "MgCO3", hazard.Silicide: "FeSi", hazard.Carbide: "SiC",
		hazard.SilverOxide: "Ag2O", hazard.Explosive: "C7H5N3O6", hazard.HydrogenPeroxide: "H2O2",
		hazard.AsbestosMineral: "Mg3Si2O5(OH)4",
	}
	for _, rule := range data.ChargeRules() {
		t.Run(rule.Code+" "+rule.One+" "+rule.Other, func(t *testing.T) {
			pair := []string{example[hazard.Trait(rule.One)]}
			if rule.Other != "" {
				pair = append(pair, example[hazard.Trait(rule.Other)])
			}
			require.NotContains(t, pair, "")
			assert.Contains(t, saidOf(t, rule, heat.Oxidising, pair...), rule.Consequence)
			if rule.Other != "" {
				assert.NotContains(t, saidOf(t, rule, heat.Oxidising, pair[0]), rule.Consequence)
				assert.NotContains(t, saidOf(t, rule, heat.Oxidising, pair[1]), rule.Consequence)
			}
			if rule.When == data.FiredOxidising {
				assert.NotContains(t, saidOf(t, rule, heat.Reducing, pair...), rule.Consequence)
			}
		})
	}
}

// saidOf joins what the findings of a rule's code and severity say of some compounds fired together.
func saidOf(t *testing.T, rule data.ChargeRule, atmosphere heat.Atmosphere, formulas ...string) string {
	of, stage := chem.Materials{}, fired(chem.Calcine, 900)
	stage.Atmosphere = atmosphere
	for i, formula := range formulas {
		id := fmt.Sprintf("m%d", i)
		of[id] = chem.Material{ID: id, Phases: []chem.Phase{{Formula: formula, MassFraction: 1}}}
		stage.Additions = append(stage.Additions, add(id, 50))
	}
	var text strings.Builder
	for _, f := range withCode(chargeOf(t, of, stage).Findings, rule.Code) {
		if f.Severity == finding.Severity(rule.Severity) {
			text.WriteString(f.Message)
		}
	}
	return text.String()
}

func TestOxidiserBlocksHoweverItIsWritten(t *testing.T) {
	oxidisers := []string{"KNO3", "Ca(NO3)2*4H2O", "NaClO3", "KClO4", "KMnO4", "K2Cr2O7", "NH4NO3", "BaO2", "NaNO2"}
	fuels := []string{"S", "C", "C6H12O6", "Al", "FeS2"}
	rapid.Check(t, func(t *rapid.T) {
		formula, err := chem.ParseFormula(rapid.SampledFrom(oxidisers).Draw(t, "oxidiser"))
		require.NoError(t, err)
		var parts []string
		for _, e := range rapid.Permutation(formula.Elements()).Draw(t, "order") {
			parts = append(parts, fmt.Sprintf("%g%s", e.Count, e.Symbol))
		}
		of := chem.Materials{
			"one":   {ID: "one", Phases: []chem.Phase{{Formula: strings.Join(parts, "*"), MassFraction: 1}}},
			"other": {ID: "other", Phases: []chem.Phase{{Formula: rapid.SampledFrom(fuels).Draw(t, "fuel"), MassFraction: 1}}},
		}
		share := rapid.Float64Range(1, 99).Draw(t, "share")
		c, err := site().NewCharge(recipe(worked(chem.Mix, add("one", share), add("other", 100-share))), of, chem.Scale{})
		require.NoError(t, err)
		assert.Equal(t, finding.Block, severities(c.Findings)["OXIDISER_WITH_FUEL"], parts)
	})
}

func TestOneMortarForOxidiserAndSulfur(t *testing.T) {
	const code = "STATION_OXIDISER_AND_SULFUR"
	on := func(stage chem.Stage, id string, stations ...string) chem.Stage {
		stage.ID, stage.Furnaces = id, stations
		return stage
	}
	calcine := fired(chem.Calcine, 1000, add("quartz", 50))
	nitre := func(station ...string) chem.Stage {
		return on(worked(chem.Grind, add("saltpetre", 10)), "nitre", station...)
	}
	sulfur := func(station ...string) chem.Stage {
		return on(worked(chem.Grind, add("sulfur", 1)), "sulfur", station...)
	}
	cases := []struct {
		name   string
		stages []chem.Stage
		want   finding.Severity
	}{
		{"the same one", []chem.Stage{nitre("mortar"), calcine, sulfur("mortar")}, finding.Block},
		{"the other way about", []chem.Stage{sulfur("mortar"), calcine, nitre("mortar")}, finding.Block},
		{"one of several", []chem.Stage{nitre("mortar", "mill"), calcine, sulfur("mill")}, finding.Block},
		{"two stations", []chem.Stage{nitre("mortar"), calcine, sulfur("mill")}, ""},
		{"not named", []chem.Stage{nitre(), calcine, sulfur()}, ""},
		{"only packed there", []chem.Stage{nitre("mortar"), calcine, on(worked(chem.Pack, add("sulfur", 1)), "sulfur", "mortar")}, ""},
		{"no oxidiser", []chem.Stage{on(worked(chem.Grind, add("quartz", 1)), "q", "mortar"), calcine, sulfur("mortar")}, ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			found := withCode(charge(t, c.stages...).Findings, code)
			if c.want == "" {
				assert.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			assert.Equal(t, c.want, found[0].Severity)
			assert.Equal(t, "stages[2].furnaces", found[0].Field)
			assert.NotEmpty(t, found[0].Cure)
		})
	}
}

func TestCarbonIsNeverDry(t *testing.T) {
	of := func(moisture, carbon float64) chem.Materials {
		list := materials()
		list["coal"] = chem.Material{ID: "coal", MoistureFraction: moisture, Phases: []chem.Phase{
			{Formula: "C", MassFraction: carbon}, {Formula: "SiO2", MassFraction: 1 - carbon}}}
		return list
	}
	said := func(list chem.Materials, chargeAt float64, addition chem.Addition) []finding.Finding {
		stage := fired(chem.Reduce, 800, add("quartz", 90), addition)
		stage.ChargeAtCelsius = chargeAt
		return withCode(chargeOf(t, list, stage).Findings, "CARBON_TAKEN_AS_MOIST")
	}
	hot := said(of(0, 0.95), 600, add("coal", 10))
	require.Len(t, hot, 1)
	assert.Equal(t, finding.Warn, hot[0].Severity)
	assert.Equal(t, "stages[0].additions[1].material", hot[0].Field)
	assert.InDelta(t, 0.5, hot[0].Figures[1].Value, 1e-9, "5 % of 10 g in 100 g")
	assert.Len(t, said(of(0, 0.95), 0, feed("coal", 10)), 1, "fed hot")
	assert.Empty(t, said(of(0, 0.95), heat.ColdChargeCelsius, add("coal", 10)), "the coldest that counts as hot")
	assert.Empty(t, said(of(0.001, 0.95), 600, add("coal", 10)), "its moisture is stated")
	assert.Empty(t, said(of(0, 0.49), 600, add("coal", 10)), "mostly something else")
	assert.Len(t, said(of(0, 0.5), 600, add("coal", 10)), 1, "half is carbon")
}

func TestDeclaredHazardsHoldUntilTheCompoundIsGone(t *testing.T) {
	of := materials()
	of["bomb"] = chem.Material{ID: "bomb", Hazards: []chem.Hazard{chem.HazardOxidiser},
		Phases: []chem.Phase{{Formula: "CaCO3", MassFraction: 1}}}
	clash := func(celsius float64) finding.Severity {
		found := chargeOf(t, of, fired(chem.Calcine, celsius, add("bomb", 10)), worked(chem.Grind, add("sulfur", 1))).Findings
		return severities(found)["OXIDISER_WITH_FUEL"]
	}
	assert.Equal(t, finding.Block, clash(200), "calcite stands 200 C")
	assert.Empty(t, clash(1000), "and is lime at 1000 C")
}

func TestARuleIsSaidOnceForTheSameContents(t *testing.T) {
	found := charge(t, worked(chem.Mix, add("saltpetre", 10), add("sulfur", 1)), worked(chem.Grind),
		worked(chem.Pack, add("charcoal", 1))).Findings
	var fields []string
	for _, f := range withCode(found, "OXIDISER_WITH_FUEL") {
		fields = append(fields, f.Field)
	}
	assert.Equal(t, []string{"stages[0].additions", "stages[2].additions"}, fields)
}

func TestSilicaIsNotedWhereItIsGroundAgain(t *testing.T) {
	found := withCode(charge(t, fired(chem.Calcine, 700, add("kaolin", 50), add("quartz", 50)), worked(chem.Grind)).Findings, "SILICA_DUST")
	require.Len(t, found, 2)
	assert.Equal(t, "stages[1].additions", found[1].Field)
	assert.Len(t, withCode(charge(t, worked(chem.Weigh, add("quartz", 5)), worked(chem.Label)).Findings, "SILICA_DUST"), 1)
}

// Glucose is 40 % carbon (6 of 12.011 in 180.156 g/mol), so 1.25 % of it is the share that ordinary clays and binders bring.
func TestBindersAreNoFuel(t *testing.T) {
	words := func(glucose float64) []string {
		of := materials()
		of["glucose"] = chem.Material{ID: "glucose", Phases: []chem.Phase{{Formula: "C6H12O6", MassFraction: 1}}}
		return chargeOf(t, of, fired(chem.Calcine, 700, add("glucose", glucose), add("quartz", 100-glucose))).contentWords(0)
	}
	assert.Empty(t, words(0.5))
	assert.Empty(t, words(1.2499))
	assert.Equal(t, []string{heat.Carbon}, words(1.2505))
}

func TestSourcesSayHowTheyWereRead(t *testing.T) {
	assert.Equal(t, "a book (memory)", sourced("a book", data.FromMemory))
	assert.Equal(t, "a book (second-hand)", sourced("a book", data.SecondHand))
	assert.Equal(t, "a book", sourced("a book", data.WasRead))
}
