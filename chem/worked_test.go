package chem

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"saggar/chem/heat"
)

// workedRecipes are the batches of testdata/worked-balances.csv by their amounts.
func workedRecipes() (map[string]Recipe, Materials) {
	materials := Materials{}
	for id, formula := range map[string]string{
		"metakaolin": "Al2Si2O7", "soda-ash": "Na2CO3", "sulfur": "S", "carbon": "C", "malachite": "Cu2CO3(OH)2",
		"chalk": "CaCO3", "quartz": "SiO2", "kaolin": "Al2Si2O5(OH)4", "feldspar": "KAlSi3O8",
	} {
		materials[id] = Material{ID: id, Phases: []Phase{{formula, 1}}}
	}
	// A fifth of water on the dry mass is a sixth of the wet mass.
	for _, id := range []string{"kaolin", "chalk", "feldspar", "quartz"} {
		wet := materials[id]
		wet.ID, wet.MoistureFraction = "wet-"+id, 1.0/6
		materials[wet.ID] = wet
	}
	add := func(material string, grams float64) Addition { return Addition{Material: material, MassGrams: grams} }
	return map[string]Recipe{
		"P1": oneStage(750, heat.Reducing, "Na8Al6Si6O24S4", add("metakaolin", 60), add("soda-ash", 52),
			add("sulfur", 30), add("carbon", 6)),
		"P2": oneStage(950, heat.Oxidising, "CaCuSi4O10", add("malachite", 55.3), add("chalk", 50), add("quartz", 120.2)),
		"P3": oneStage(1000, heat.Oxidising, "", add("wet-kaolin", 540), add("wet-chalk", 24), add("wet-feldspar", 300),
			add("wet-quartz", 336)),
	}, materials
}

// workedStage is a batch's balance as worked, and the same batch fired in air.
type workedStage struct{ asWorked, inAir StageBalance }

// testdata/worked-balances.csv: three made-up batches worked by hand with the abridged atomic weights.
func TestPublishedWorkedBalances(t *testing.T) {
	recipes, materials := workedRecipes()
	practice := DefaultPractice()
	practice.AcidMistFraction = 0 // the worked figures state all sulfur as SO2
	for _, row := range readCSV(t, "worked-balances.csv") {
		t.Run(row["recipe"]+" "+row["quantity"]+" "+row["unit"], func(t *testing.T) {
			recipe := recipes[row["recipe"]]
			result, err := practice.Balance(recipe, materials, 1)
			require.NoError(t, err)
			recipe.Stages = slices.Clone(recipe.Stages)
			recipe.Stages[0].Atmosphere = heat.Oxidising
			air, err := practice.Balance(recipe, materials, 1)
			require.NoError(t, err)
			got := workedValue(t, workedStage{result.Stages[0], air.Stages[0]}, row)
			assert.InDelta(t, number(t, row["value"]), got, number(t, row["tolerance"]))
		})
	}
}

// workedValue reads one of the worked figures out of the balances.
func workedValue(t *testing.T, stage workedStage, row map[string]string) float64 {
	t.Helper()
	quantity := row["quantity"]
	if grams, mineral := workedMinerals[row["recipe"]+" "+quantity]; mineral {
		return grams.put / mustFormula(t, grams.formula).MolarMass()
	}
	if inside, closed := strings.CutSuffix(strings.TrimSuffix(quantity, " total"), ")"); closed &&
		strings.HasPrefix(inside, "n(") {
		return elementRow(stage.asWorked, inside[2:]).InMoles
	}
	require.Contains(t, workedQuantities, quantity)
	value := workedQuantities[quantity](stage)
	switch row["unit"] {
	case "L":
		return value.moles * litersPerMole
	case "g":
		return value.grams
	case "%":
		return value.percent
	}
	return value.moles
}

// workedMinerals are the amounts of the batches' minerals that the table states in moles.
var workedMinerals = map[string]struct {
	formula string
	put     float64 // grams
}{
	"P1 n(metakaolin)": {"Al2Si2O7", 60},
	"P1 n(Na2CO3)":     {"Na2CO3", 52},
	"P2 n(malachite)":  {"Cu2CO3(OH)2", 55.3},
	"P2 n(CaCO3)":      {"CaCO3", 50},
	"P2 n(SiO2)":       {"SiO2", 120.2},
	"P3 n(kaolinite)":  {"Al2Si2O5(OH)4", 450},
	"P3 n(CaCO3)":      {"CaCO3", 20},
	"P3 n(KAlSi3O8)":   {"KAlSi3O8", 250},
	"P3 n(SiO2 free)":  {"SiO2", 280},
}

// figure is one quantity in the units in which the table may ask for it.
type figure struct{ moles, grams, percent float64 }

// gas sums a species over its origins in one stage, free water left out.
func gas(stage StageBalance, c Case, species string, origins ...string) figure {
	var total figure
	for _, g := range stage.OffGasOf(c) {
		named := len(origins) == 0 || g.Origin == origins[0]
		if g.Species == species && g.Origin != "free water" && named {
			total.moles += g.Moles
			total.grams += g.MassGrams
		}
	}
	return total
}

func likely(species string, origins ...string) func(workedStage) figure {
	return func(s workedStage) figure { return gas(s.asWorked, Likely, species, origins...) }
}

func likelyInAir(species string, origins ...string) func(workedStage) figure {
	return func(s workedStage) figure { return gas(s.inAir, Likely, species, origins...) }
}

func cautious(species string) func(workedStage) figure {
	return func(s workedStage) figure { return gas(s.asWorked, Cautious, species) }
}

func left(formula, element string) func(workedStage) figure {
	return func(s workedStage) figure {
		for _, phase := range s.asWorked.Remaining {
			if phase.Formula == formula {
				return figure{moles: phase.Moles * tabled(formula).Count(element), grams: phase.MassGrams}
			}
		}
		return figure{}
	}
}

func product(s workedStage) figure {
	return figure{moles: s.asWorked.ProductMoles, grams: s.asWorked.ProductGrams}
}

func loss(s workedStage) figure {
	grams := s.asWorked.MassInGrams - s.asWorked.MassOutGrams
	return figure{grams: grams, percent: 100 * grams / s.asWorked.MassInGrams}
}

func massOut(s workedStage) figure { return figure{grams: s.asWorked.MassOutGrams} }

func elementRow(stage StageBalance, symbol string) ElementBalance {
	for _, row := range stage.Elements {
		if row.Element == symbol {
			return row
		}
	}
	return ElementBalance{}
}

const soda = "sodium carbonate"

var workedQuantities = map[string]func(workedStage) figure{
	"batch mass": func(s workedStage) figure { return figure{grams: s.asWorked.MassInGrams} },
	"dry mass": func(s workedStage) figure {
		return figure{grams: s.asWorked.MassInGrams - s.asWorked.FreeWaterGrams}
	},
	"free water":                             func(s workedStage) figure { return figure{grams: s.asWorked.FreeWaterGrams} },
	"fired mass":                             massOut,
	"mass loss":                              loss,
	"LOI":                                    loss,
	"total loss from wet mass":               loss,
	"LOI, complete (C and unbound S gone)":   loss,
	"loss closure: CO2 + C + unbound S + O":  loss,
	"fired mass (product + leftover oxides)": massOut,
	"LOI on dry mass": func(s workedStage) figure {
		dry := s.asWorked.MassInGrams - s.asWorked.FreeWaterGrams
		return figure{percent: 100 * (dry - s.asWorked.MassOutGrams) / dry}
	},
	"LOI, carbonate CO2 only": func(s workedStage) figure {
		return figure{percent: 100 * gas(s.inAir, Likely, "CO2", soda).grams / s.inAir.MassInGrams}
	},
	"n(C) elemental":                     likely("CO", "carbon"),
	"n(C) carbonate":                     likelyInAir("CO2", soda),
	"CO2 from carbonate":                 likelyInAir("CO2", soda),
	"CO2 if elemental C burns fully":     likelyInAir("CO2", "carbon"),
	"CO if elemental C burns to CO only": likely("CO", "carbon"),
	"CO if carbonate CO2 is reduced by C (2 CO per CO2)": func(s workedStage) figure {
		return figure{moles: 2 * gas(s.asWorked, Likely, "CO", soda).moles}
	},
	"C left after that reduction": func(s workedStage) figure {
		reduced := gas(s.asWorked, Likely, "CO", soda).moles
		return figure{moles: gas(s.asWorked, Likely, "CO", "carbon").moles - reduced}
	},
	"O released when product forms from oxides and S": func(s workedStage) figure {
		carbonate := gas(s.inAir, Likely, "CO2", soda).moles
		return figure{moles: elementRow(s.asWorked, "O").OffGasMoles - 2*carbonate}
	},
	"ideal product Na8Al6Si6O24S4": product,
	"ideal product CaCuSi4O10":     product,
	"S bound in ideal product": func(s workedStage) figure {
		return figure{moles: elementRow(s.asWorked, "S").ProductMoles}
	},
	"S not bound": func(s workedStage) figure {
		return figure{moles: elementRow(s.asWorked, "S").OffGasMoles}
	},
	"worst-case SO2 (S not bound, all burnt)": likely("SO2"),
	"worst-case SO2":                   cautious("SO2"),
	"SO2 if all S burns":               cautious("SO2"),
	"CO2 evolved":                      likely("CO2"),
	"CO2":                              likely("CO2"),
	"H2O evolved":                      likely("H2O"),
	"H2O":                              likely("H2O"),
	"structural H2O":                   likely("H2O"),
	"Na beyond ideal product":          left("Na2O", "Na"),
	"Na beyond ideal product, as Na2O": left("Na2O", "Na"),
	"CuO left":                         left("CuO", "Cu"),
	"CaO left":                         left("CaO", "Ca"),
	"SiO2 left":                        left("SiO2", "Si"),
}
