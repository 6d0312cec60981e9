package gas

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
)

func markOf(t *testing.T, a Atmosphere, name string) Mark {
	t.Helper()
	for _, m := range a.Marks {
		if m.Name == name {
			return m
		}
	}
	t.Fatalf("no mark %s", name)
	return Mark{}
}

// Both marks of carbon come out of closed relations; the mixture is found by another way.
func TestTheMarksOfCarbonAreThoseOfMixtures(t *testing.T) {
	for _, celsius := range []float64{25, 400, 700, 1000, 1300, 1600, 2000} {
		for _, bar := range []float64{0.01, 1, 20} {
			a, err := Judge(celsius, bar, -10)
			require.NoError(t, err)
			neutral := at(t, celsius, bar, Amount{"CO2", 1})
			assert.InDelta(t, *neutral.Log10OxygenBar, markOf(t, a, "CO2 and CO, neutral point").Log10OxygenBar, 1e-8)
			saturated := at(t, celsius, bar, Amount{"CO2", 1}, Amount{"C", 5})
			assert.InDelta(t, *saturated.Log10OxygenBar, markOf(t, a, "CO and C").Log10OxygenBar, 1e-8)
		}
	}
}

// testdata of chem/thermo, row eq-35: CuO gives way to Cu2O in air at 1024 C, within 25 C.
func TestPublishedCopperOxideInAir(t *testing.T) {
	air := math.Log10(0.2095 * atmosphere)
	for celsius, stable := range map[float64]string{1024.3 - 25: "CuO", 1024.3 + 25: "Cu2O"} {
		t.Run(stable, func(t *testing.T) {
			a, err := Judge(celsius, atmosphere, air)
			require.NoError(t, err)
			assert.Equal(t, stable, markOf(t, a, "CuO and Cu2O").Stable)
			assert.False(t, a.Reducing)
		})
	}
}

// Within 1e-9 decades of a mark only rounding tells the sides apart, so the atmosphere lies on it.
func TestAMarkIsAboveBelowOrMet(t *testing.T) {
	a, err := Judge(900, 1, -10)
	require.NoError(t, err)
	judged := func(log10OxygenBar float64) Atmosphere {
		a, err := Judge(900, 1, log10OxygenBar)
		require.NoError(t, err)
		return a
	}
	for i, m := range a.Marks {
		above, below := judged(m.Log10OxygenBar+1.1e-9), judged(m.Log10OxygenBar-1.1e-9)
		for _, off := range []float64{-0.9e-9, 0, 3.5e-15, 0.9e-9} {
			on := judged(m.Log10OxygenBar + off)
			assert.Zero(t, on.Marks[i].DecadesAbove, m.Name)
			assert.Equal(t, BothStable, on.Marks[i].Stable, m.Name)
			if i >= carbonMarks {
				assert.Contains(t, on.Verdict, "is at equilibrium with "+m.Name)
			}
		}
		assert.InDelta(t, 1.1e-9, above.Marks[i].DecadesAbove, 1e-13)
		assert.InDelta(t, -1.1e-9, below.Marks[i].DecadesAbove, 1e-13)
		assert.NotEqual(t, above.Marks[i].Stable, below.Marks[i].Stable, m.Name)
		assert.NotContains(t, []string{above.Marks[i].Stable, below.Marks[i].Stable}, BothStable, m.Name)
	}
	neutral, carbon := a.Marks[0].Log10OxygenBar, a.Marks[1].Log10OxygenBar
	assert.Equal(t, []bool{false, false, true},
		[]bool{judged(neutral + 2e-9).Reducing, judged(neutral).Reducing, judged(neutral - 2e-9).Reducing})
	assert.Equal(t, []bool{false, true, true},
		[]bool{judged(carbon + 2e-9).CarbonStable, judged(carbon).CarbonStable, judged(carbon - 2e-9).CarbonStable})
	assert.InDelta(t, 8.314e-3*1173.15*-10*math.Ln10, a.OxygenPotentialKilojoulesPerMole, 0.1)
}

// Over graphite a gas without nitrogen or hydrogen lies on the mark of carbon, whatever rounding says.
func TestOverGraphiteBothAreStable(t *testing.T) {
	for _, celsius := range []float64{600, 750, 900, 1100, 1400} {
		a, err := at(t, celsius, 1, Amount{"CO2", 1}, Amount{"C", 3}).Atmosphere()
		require.NoError(t, err)
		assert.Equal(t, BothStable, markOf(t, a, "CO and C").Stable, "%g C", celsius)
	}
}

// A feed that comes to what it is takes no heat; what takes little takes it still.
func TestRoundingIsNoHeat(t *testing.T) {
	celsius := 900.0
	in := Input{Celsius: celsius, PressureBar: 1, FeedCelsius: &celsius, Feed: []Amount{{"N2", 1}, {"CO", 1e-3}, {"CO2", 1}}}
	mixed, err := Equilibrium(in)
	require.NoError(t, err)
	in.Feed = nil
	for _, s := range mixed.Species {
		if s.Moles > 0 {
			in.Feed = append(in.Feed, Amount{s.Species, s.Moles})
		}
	}
	settled, err := Equilibrium(in)
	require.NoError(t, err)
	assert.Equal(t, 0.0, settled.HeatKilojoules)
	in.Celsius = celsius + 0.01
	warmer, err := Equilibrium(in)
	require.NoError(t, err)
	assert.Positive(t, warmer.HeatKilojoules)
}

func TestAMixtureIsReducingWhenItWantsOxygen(t *testing.T) {
	for name, c := range map[string]struct {
		feed             []Amount
		reducing, carbon bool
		copper           string
	}{
		"flue with air left":     {[]Amount{{"CO2", 1}, {"O2", 0.5}, {"N2", 8}}, false, false, "CuO"},
		"flue without":           {[]Amount{{"CO2", 1}, {"N2", 8}}, false, false, "Cu2O"},
		"flue with CO":           {[]Amount{{"CO2", 1}, {"CO", 0.05}, {"N2", 8}}, true, false, "Cu2O"},
		"over carbon":            {[]Amount{{"CO2", 1}, {"C", 3}}, true, true, "Cu2O"},
		"steam and hydrogen":     {[]Amount{{"H2O", 1}, {"H2", 0.1}}, true, false, "Cu2O"},
		"sulfur in little air":   {[]Amount{{"S", 1}, {"O2", 0.9}, {"N2", 4}}, true, false, "Cu2O"},
		"sulfur in ample air":    {[]Amount{{"S", 1}, {"O2", 1.2}, {"N2", 5}}, false, false, "CuO"},
		"acid with air":          {[]Amount{{"HF", 0.1}, {"O2", 0.2}, {"N2", 1}}, false, false, "CuO"},
		"more nitric oxide":      {[]Amount{{"NO", 1}, {"N2", 1}}, false, false, "CuO"},
		"carbon monoxide in air": {[]Amount{{"CO", 1}, {"O2", 0.5}, {"N2", 2}}, false, false, "Cu2O"},
	} {
		r := at(t, 900, 1, c.feed...)
		a, err := r.Atmosphere()
		require.NoError(t, err, name)
		assert.Equal(t, c.reducing, a.Reducing, name)
		assert.Equal(t, c.carbon, a.CarbonStable, name)
		assert.Equal(t, c.copper, markOf(t, a, "CuO and Cu2O").Stable, name)
		assert.NotEmpty(t, a.Caution)
	}
	a, err := at(t, 900, 1, Amount{"CO2", 1}, Amount{"C", 3}).Atmosphere()
	require.NoError(t, err)
	assert.Equal(t, "holds more to burn than its oxygen can burn, takes oxygen from CuO and Cu2O and Fe2O3, "+
		"does not burn carbon away", a.Verdict)
	a, err = Judge(900, 1, -1)
	require.NoError(t, err)
	assert.Equal(t, "more oxygen than pure carbon dioxide keeps up by falling apart, "+
		"leaves CuO and Cu2O and Fe2O3 as they are", a.Verdict)
	_, err = at(t, 900, 1, Amount{"N2", 1}).Atmosphere()
	assert.Equal(t, "feed", finding.FaultsOf(err)[0].Field)
}

func TestBuffersWithoutFiguresAreLeftOutAndNamed(t *testing.T) {
	a, err := Judge(1620, 1, -5)
	require.NoError(t, err)
	assert.Contains(t, a.Assumptions, "CuO and Cu2O: left out, no figures at this temperature")
	assert.Contains(t, a.Assumptions, "Fe2O3 and Fe3O4: left out, no figures at this temperature")
	assert.Len(t, a.Marks, 3)
}

func TestAnAtmosphereThatCannotBeJudgedIsNamed(t *testing.T) {
	for field, c := range map[string][3]float64{
		"celsius":          {2001, 1, -5},
		"pressure_bar":     {900, 0, -5},
		"log10_oxygen_bar": {900, 1, math.NaN()},
	} {
		_, err := Judge(c[0], c[1], c[2])
		require.Len(t, finding.FaultsOf(err), 1, field)
		assert.Equal(t, field, finding.FaultsOf(err)[0].Field)
		assert.NotEmpty(t, finding.FaultsOf(err)[0].Cure)
	}
}
