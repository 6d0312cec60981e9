package assess

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/chem/thermo"
)

// taken is what a charge takes between its cold and a temperature, read off its curve.
func taken(t *testing.T, c Charge, celsius float64) float64 {
	t.Helper()
	uptake := c.taken[0].uptake
	require.NotEmpty(t, uptake)
	for i := 1; i < len(uptake); i++ {
		if a, b := uptake[i-1], uptake[i]; celsius <= b.Celsius && b.Celsius > a.Celsius {
			return a.Kilojoules + (b.Kilojoules-a.Kilojoules)*(celsius-a.Celsius)/(b.Celsius-a.Celsius)
		}
	}
	return uptake[len(uptake)-1].Kilojoules
}

func TestChargeHeatIsThatOfPublishedExamples(t *testing.T) {
	for _, c := range []struct {
		name     string
		material string
		grams    float64
		celsius  float64
		kilowatt float64 // hours
		within   float64
	}{
		// Sensible heat of 1 kg from 25 C by the NASA CEA library: 0.1330 kWh for quartz to 500 C; from 20 C it is 0.5 % more.
		{"quartz to 500 C", "quartz", 1000, 500, 0.1340, 0.002},
		// 1 kg of calcite to lime and carbon dioxide at 900 C without recovery, 0.7346 kWh by the same library.
		{"calcite to 900 C", "calcite", 1000, 900, 0.7346, 0.05},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := taken(t, charge(t, fired(chem.Calcine, 1000, add(c.material, c.grams))), c.celsius)
			assert.InDelta(t, c.kilowatt, got/3600, c.within)
		})
	}
}

// A mole of copper takes 13.14 kJ to melt at 1358 K (CODATA key values, Cox 1989, by the NASA CEA library): what the charge
// takes from below to above is that and its sensible heat, some 2 kJ.
func TestAMeltTakesItsHeatOfFusion(t *testing.T) {
	c := charge(t, fired(chem.Melt, 1150, add("copper", 63.546)))
	assert.InDelta(t, 13.14+50*0.0328, taken(t, c, 1120)-taken(t, c, 1070), 0.2)
	assert.Contains(t, strings.Join(c.taken[0].assumptions, "\n"), "Cu goes from solid to liquid at 1084.9 C")
}

func TestAssumptionsOfHeatSayThatReactionsAreCounted(t *testing.T) {
	said := strings.Join(charge(t, fired(chem.Calcine, 900, add("calcite", 100))).taken[0].assumptions, "\n")
	assert.NotContains(t, said, thermo.WithoutReactions)
	assert.Contains(t, said, "heats of its reactions")
}

func TestChargeHeatCountsWaterAndWare(t *testing.T) {
	dry := fired(chem.Calcine, 900, add("quartz", 100))
	withWare := dry
	withWare.WareGrams = 10000
	// 10 kg of quartz to 900 C takes close to 10 MJ, since its heat capacity is about 1.1 J/g/K.
	assert.InDelta(t, 10000, taken(t, charge(t, withWare), 900)-taken(t, charge(t, dry), 900), 500)
	uptake := charge(t, dry).taken[0].uptake
	for i := 1; i < len(uptake); i++ {
		assert.GreaterOrEqual(t, uptake[i].Kilojoules, uptake[i-1].Kilojoules, "quartz only takes, at %g C", uptake[i].Celsius)
	}
}

func TestWhatBurnsIsNotCredited(t *testing.T) {
	stage := fired(chem.Oxidise, 900, add("charcoal", 100), add("quartz", 100))
	uptake := charge(t, stage).taken[0].uptake
	steps := 0
	for i := 1; i < len(uptake); i++ {
		if uptake[i].Kilojoules < uptake[i-1].Kilojoules {
			steps++
			assert.Equal(t, uptake[i-1].Celsius, uptake[i].Celsius, "what burns is a step, beside which nothing is taken")
		}
	}
	assert.Equal(t, 1, steps)
	treatment := treated(t, stage)
	require.Len(t, withCode(treatment.Findings, heat.CodeChargeExotherm), 1)
	assert.Equal(t, "stages[0]", withCode(treatment.Findings, heat.CodeChargeExotherm)[0].Field)
	stage.Atmosphere = heat.Reducing
	uptake = charge(t, stage).taken[0].uptake
	for i := 1; i < len(uptake); i++ {
		assert.GreaterOrEqual(t, uptake[i].Kilojoules, uptake[i-1].Kilojoules, "under reduction it burns outside")
	}
}

func TestHeavyWareSlowsAFiring(t *testing.T) {
	s := site(pot())
	light := fired(chem.Bisque, 800, add("kaolin", 10))
	light.Program.Segments[0].RateCelsiusPerHour = 0
	heavy := light
	heavy.WareGrams = 1000
	times := func(stage chem.Stage) Treatment {
		c, err := s.NewCharge(recipe(stage), materials(), chem.Scale{})
		require.NoError(t, err)
		treatment, err := s.Treat(c, 0, "pot")
		require.NoError(t, err)
		return treatment
	}
	a, b := times(light), times(heavy)
	assert.Greater(t, b.Heat.FireMinutes, a.Heat.FireMinutes)
	assert.Greater(t, b.Heat.ChargeKilowattHours, 0.2)
	assert.InEpsilon(t, b.Heat.EnergyKilowattHours,
		b.Heat.ChargeKilowattHours+b.Heat.WallLossKilowattHours+b.Heat.StoredKilowattHours, 1e-9)
}

func TestBenchWorkTakesNoHeat(t *testing.T) {
	assert.Empty(t, charge(t, worked(chem.Mix, add("quartz", 100))).taken[0].uptake)
}

// What a first stage leaves half broken down has the heat of what it is: about 80 g at some 0.8 J/g/K over 980 K, and the
// steam that still leaves, is 0.03 kWh at most.
func TestHalfBrokenDownResidueTakesItsOwnHeat(t *testing.T) {
	of := chem.Materials{"nickel-hydroxide": {ID: "nickel-hydroxide", Phases: []chem.Phase{{Formula: "Ni(OH)2", MassFraction: 1}}}}
	first, second := fired(chem.Calcine, 350, add("nickel-hydroxide", 100)), fired(chem.Calcine, 1000)
	first.ID = "first"
	uptake := chargeOf(t, of, first, second).taken[1].uptake
	at := slices.IndexFunc(uptake, func(u heat.HeatUptake) bool { return u.Celsius >= 1000 })
	assert.InDelta(t, 0.025, uptake[at].Kilojoules/3600, 0.01)
}

func TestNoMaterialOfTheLibraryMakesTheChecksPanic(t *testing.T) {
	for _, material := range chem.Library() {
		if material.IsMixture() {
			continue
		}
		for _, celsius := range []float64{110, 230, 480, 620, 720, 950} {
			stage := fired(chem.Calcine, celsius, add(material.ID, 100))
			assert.NotPanics(t, func() {
				c := chargeOf(t, chem.Materials{material.ID: material}, stage)
				_, err := site(pot()).Treat(c, 0, "pot")
				require.NoError(t, err)
			}, "%s at %g C", material.ID, celsius)
		}
	}
}

// What a firing leaves half broken down shows the hazards of its composition, not those of a misread text.
func TestHalfBrokenDownResidueBlocksNothing(t *testing.T) {
	for material, formula := range map[string]string{
		"nickel-hydroxide": "Ni(OH)2", "fluorspar": "CaF2", "soda-heptahydrate": "Na2CO3*7H2O", "atacamite": "Cu2(OH)3Cl",
	} {
		of := chem.Materials{material: {ID: material, Phases: []chem.Phase{{Formula: formula, MassFraction: 1}}}}
		for _, celsius := range []float64{150, 230, 350, 560, 640} {
			first, second := fired(chem.Calcine, celsius, add(material, 100)), fired(chem.Calcine, 1000)
			first.ID = "first"
			c := chargeOf(t, of, first, second)
			for _, f := range c.Findings {
				assert.False(t, f.Severity == finding.Block && strings.HasPrefix(f.Field, "stages[1]"), "%s at %g C: %s", formula, celsius, f.Message)
			}
			for _, p := range c.follow()[1].all.portions {
				assert.LessOrEqual(t, p.formula.Count("H"), 14.0, "%s at %g C: %s", formula, celsius, p.formula)
			}
		}
	}
}
