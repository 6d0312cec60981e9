package thermo

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem"
	"saggar/chem/finding"
)

func heatOf(t *testing.T, text string, fromCelsius, toCelsius float64) HeatSum {
	t.Helper()
	sum, err := heatContent([]Portion{{formula(t, text), 1}}, fromCelsius, toCelsius)
	require.NoError(t, err)
	return sum
}

// heatContent is the heat of a charge that is asked about once.
func heatContent(portions []Portion, fromCelsius, toCelsius float64) (HeatSum, error) {
	c, err := NewCharge(portions)
	if err != nil {
		return HeatSum{}, err
	}
	return c.Heat(fromCelsius, toCelsius)
}

// Between two temperatures within one form the heat is the integral of the heat capacity; across the inversion of quartz
// the step is in it besides.
func TestHeatContentIsTheIntegralAndTheSteps(t *testing.T) {
	quartz, err := FindCondensed("SiO2")
	require.NoError(t, err)
	capacity := func(celsius float64) float64 {
		state, err := quartz.AtCelsius(celsius)
		require.NoError(t, err)
		return state.HeatCapacityJoulesPerMoleKelvin / 1000
	}
	inversion := Celsius(848)
	alpha := integral(25, inversion, capacity)
	assert.InDelta(t, alpha, heatOf(t, "SiO2", 25, inversion).Kilojoules, 1e-3)
	step := heatOf(t, "SiO2", inversion, inversion+1e-6).Kilojoules
	assert.InDelta(t, 0.41, step, 0.001, "the source's heat of inversion is 0.41 kJ/mol")
	beta := integral(inversion+1e-9, 800, capacity)
	assert.InDelta(t, alpha+step+beta, heatOf(t, "SiO2", 25, 800).Kilojoules, 2e-3)
	assert.Contains(t, heatOf(t, "SiO2", 25, 800).Assumptions, "SiO2 goes from alpha quartz to beta quartz at 574.9 C")
}

func TestHeatContentAddsUpAndRunsBothWays(t *testing.T) {
	compounds := []string{"SiO2", "Al2Si2O5(OH)4", "CaCO3", "H2O", "CuO", "KAlSi3O8", "CaMgSi2O6", "S", "C", "Na2CO3", "NaHCO3"}
	rapid.Check(t, func(t *rapid.T) {
		var portions []Portion
		for _, text := range rapid.SliceOfN(rapid.SampledFrom(compounds), 1, 5).Draw(t, "compounds") {
			f, err := chem.ParseFormula(text)
			require.NoError(t, err)
			portions = append(portions, Portion{f, rapid.Float64Range(0, 10).Draw(t, "moles")})
		}
		draw := func(name string) float64 { return rapid.Float64Range(minCelsius, 1400).Draw(t, name) }
		a, b, c := draw("a"), draw("b"), draw("c")
		charge, err := NewCharge(portions)
		require.NoError(t, err)
		heat := func(from, to float64) float64 {
			kilojoules, err := charge.Kilojoules(from, to)
			require.NoError(t, err)
			require.False(t, math.IsNaN(kilojoules) || math.IsInf(kilojoules, 0))
			return kilojoules
		}
		assert.InDelta(t, heat(a, c), heat(a, b)+heat(b, c), 1e-6)
		assert.InDelta(t, heat(a, b), -heat(b, a), 1e-9)
		if a < b {
			assert.GreaterOrEqual(t, heat(a, b), -1e-9)
		}
		sum, err := charge.Heat(a, b)
		require.NoError(t, err)
		total := 0.0
		for _, p := range sum.Portions {
			total += p.Kilojoules
		}
		assert.InDelta(t, sum.Kilojoules, total, 1e-9)
	})
}

func TestTheBasisIsSaid(t *testing.T) {
	for _, c := range []struct {
		formula string
		basis   Basis
		says    string
	}{
		{"Al2Si2O5(OH)4", Tabled, "Al2Si2O5(OH)4 above 726.85 C: heat capacity held"},
		{"CaMgSi2O6", SumOfOxides, "CaMgSi2O6 is not tabled: taken as the sum"},
		{"Mg3Si4O10(OH)2", SumOfOxides, "bound water as steam"},
		{"NaAlSi3O8", ByMass, "NaAlSi3O8 and its oxides are not tabled: 1.1 J/g/K (common practice, no source)"},
		{"FeS2", ByMass, "FeS2 and its oxides are not tabled"},
		{"NaHCO3", Tabled, "NaHCO3 above 25 C: heat capacity held"},
		{"Cu", Tabled, "Cu goes from solid to liquid at 1084.9 C"},
		{"CuO", Tabled, "CuO above 1126.85 C: heat capacity held at its value there, no melting"},
		{"H2O", Tabled, "H2O goes from liquid to gas at 100.4 C"},
	} {
		sum := heatOf(t, c.formula, 25, 1400)
		assert.Equal(t, c.basis, sum.Portions[0].Basis, c.formula)
		assert.Contains(t, strings.Join(sum.Assumptions, "\n"), c.says, c.formula)
		assert.NotEmpty(t, sum.Caution)
	}
	assert.Contains(t, strings.Join(heatOf(t, "CaO", 10, 500).Assumptions, "\n"), "CaO below 25 C: heat capacity held")
	assert.NotContains(t, strings.Join(heatOf(t, "CaO", 25, 500).Assumptions, "\n"), "held")
}

// Diopside: the heat capacity of CaMgSi2O6 at 25 C is near that of CaO, MgO and twice SiO2 together. And by mass exactly.
func TestFallbacksGiveTheSumsThatTheyStand(t *testing.T) {
	parts := heatOf(t, "CaO", 25, 700).Kilojoules + heatOf(t, "MgO", 25, 700).Kilojoules + 2*heatOf(t, "SiO2", 25, 700).Kilojoules
	assert.InDelta(t, parts, heatOf(t, "CaMgSi2O6", 25, 700).Kilojoules, 1e-9)
	assert.InDelta(t, 1.1e-3*formula(t, "NaAlSi3O8").MolarMass()*975, heatOf(t, "NaAlSi3O8", 25, 1000).Kilojoules, 1e-9)
}

// The sum of oxides against minerals that are tabled: it is what Neumann and Kopp's rule is good for.
func TestTheSumOfOxidesIsNearTheMineral(t *testing.T) {
	for _, text := range []string{"CaSiO3", "Al2Si2O5(OH)4", "CaMg(CO3)2", "Al2Si4O10(OH)2"} {
		curve := heatCurve{basis: SumOfOxides, parts: oxideParts(formula(t, text))}
		require.NotEmpty(t, curve.parts, text)
		assert.InEpsilon(t, heatOf(t, text, 25, 500).Kilojoules, curve.between(Kelvin(25), Kelvin(500)), 0.13, text)
	}
}

func TestAChargeThatCannotBeUsedIsNamed(t *testing.T) {
	ok := Portion{formula(t, "SiO2"), 1}
	for name, c := range map[string]struct {
		portions []Portion
		from, to float64
		field    string
	}{
		"no formula":     {[]Portion{ok, {}}, 20, 900, "portions[1].formula"},
		"moles below":    {[]Portion{{ok.Formula, -1}}, 20, 900, "portions[0].moles"},
		"moles NaN":      {[]Portion{{ok.Formula, math.NaN()}}, 20, 900, "portions[0].moles"},
		"moles endless":  {[]Portion{{ok.Formula, math.Inf(1)}}, 20, 900, "portions[0].moles"},
		"from too cold":  {[]Portion{ok}, -41, 900, "from_celsius"},
		"to too hot":     {[]Portion{ok}, 20, 2001, "to_celsius"},
		"to is a no one": {[]Portion{ok}, 20, math.NaN(), "to_celsius"},
	} {
		_, err := heatContent(c.portions, c.from, c.to)
		faults := finding.FaultsOf(err)
		require.Len(t, faults, 1, name)
		assert.Equal(t, c.field, faults[0].Field, name)
		assert.NotEmpty(t, faults[0].Cure)
	}
	sum, err := heatContent(nil, -40, 2000)
	require.NoError(t, err)
	assert.Zero(t, sum.Kilojoules)
}

func TestAskingAChargeAllocatesNothing(t *testing.T) {
	charge, err := NewCharge([]Portion{{formula(t, "SiO2"), 3}, {formula(t, "Al2Si2O5(OH)4"), 1}, {formula(t, "CaMgSi2O6"), 1}})
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(100, func() { _, _ = charge.Kilojoules(20, 1250) }))
}

func BenchmarkChargeKilojoules(b *testing.B) {
	f, err := chem.ParseFormula("Al2Si2O5(OH)4")
	require.NoError(b, err)
	charge, err := NewCharge([]Portion{{f, 1}, {f, 2}, {f, 3}, {f, 4}, {f, 5}})
	require.NoError(b, err)
	for b.Loop() {
		_, _ = charge.Kilojoules(20, 1250)
	}
}
