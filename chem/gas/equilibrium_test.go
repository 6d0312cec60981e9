package gas

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
	"saggar/chem/thermo"
)

func at(t rapid.TB, celsius, bar float64, feed ...Amount) Result {
	t.Helper()
	r, err := Equilibrium(Input{Celsius: celsius, PressureBar: bar, Feed: feed})
	require.NoError(t, err)
	return r
}

func one(t rapid.TB, r Result, species string) SpeciesAmount {
	t.Helper()
	k := slices.IndexFunc(r.Species, func(s SpeciesAmount) bool { return s.Species == species })
	require.GreaterOrEqual(t, k, 0, species)
	return r.Species[k]
}

// Carbon dioxide alone: with K = p(CO) sqrt(p(O2))/p(CO2) and p(CO) = 2 p(O2) there is a single unknown, also where only
// 1e-30 of it falls apart and the feed's carbon and oxygen are to each other as one to two.
func TestPureCarbonDioxideFallsApartByItsConstant(t *testing.T) {
	r, err := thermo.NewReaction(map[string]float64{"CO2": -1, "CO": 1, "O2": 0.5})
	require.NoError(t, err)
	for _, celsius := range []float64{25, 100, 400, 800, 1200, 1600, 2000} {
		for _, bar := range []float64{1e-3, 1, 50} {
			k, err := r.AtCelsius(celsius)
			require.NoError(t, err)
			low, high := -200.0, 0.0 // ln of the share that falls apart
			for range 100 {
				a := math.Exp((low + high) / 2)
				gas := 1 + a/2
				lnQ := math.Log(a/(1-a)) + 0.5*math.Log(a/2/gas*bar)
				if lnQ < k.LnK {
					low = (low + high) / 2
				} else {
					high = (low + high) / 2
				}
			}
			apart := math.Exp(low)
			got := at(t, celsius, bar, Amount{"CO2", 1})
			assert.InEpsilon(t, apart, one(t, got, "CO").Moles, 1e-9, "%g C %g bar", celsius, bar)
			assert.InEpsilon(t, apart/2, one(t, got, "O2").Moles, 1e-9, "%g C %g bar", celsius, bar)
			assert.InEpsilon(t, one(t, got, "O2").MoleFraction*bar, math.Pow(10, *got.Log10OxygenBar), 1e-9)
		}
	}
	assert.Less(t, one(t, at(t, 25, 1, Amount{"CO2", 1}), "O2").MoleFraction, 1e-30)
}

// Traces follow the constants of their formation down to where a number ends: O2 beside hydrogen and steam.
func TestOxygenBelowAnyNumberIsStillTold(t *testing.T) {
	r, err := thermo.NewReaction(map[string]float64{"H2": -1, "O2": -0.5, "H2O(g)": 1})
	require.NoError(t, err)
	k, err := r.AtCelsius(25)
	require.NoError(t, err)
	got := at(t, 25, 1, Amount{"H2", 1}, Amount{"H2O(g)", 1e-6})
	want := 2 * (math.Log10(1e-6) - k.LnK/math.Ln10)
	assert.InDelta(t, want, *got.Log10OxygenBar, 1e-6)
	assert.Less(t, want, -90.0)
	far := at(t, 25, 1, Amount{"H2", 1}, Amount{"H2O(g)", 1e-30}, Amount{"C", 1})
	assert.Less(t, *far.Log10OxygenBar, -138.0)
	tiny := at(t, 25, 1, Amount{"CS2", 1}, Amount{"C", 1}, Amount{"N2", 1}, Amount{"NO", 1e-30})
	assert.Less(t, *one(t, tiny, "SO3").Log10MoleFraction, -60.0)
	for _, s := range tiny.Species {
		assert.False(t, math.IsNaN(s.Moles) || math.IsNaN(s.MoleFraction), s.Species)
	}
}

func TestSolidsComeAndGo(t *testing.T) {
	saturated := at(t, 650, 1, Amount{"CO2", 1}, Amount{"C", 1})
	carbon := one(t, saturated, "C")
	assert.Equal(t, "graphite", carbon.Phase)
	assert.InDelta(t, carbon.Moles/saturated.GasMoles, carbon.MoleFraction, 1e-12)
	assert.Positive(t, carbon.Moles)
	assert.Equal(t, 1.0, *saturated.CarbonActivity)
	left := one(t, at(t, 1000, 1, Amount{"CO2", 1}, Amount{"C", 0.9}), "C")
	assert.Zero(t, left.Moles)
	assert.Zero(t, left.MoleFraction)
	assert.Less(t, *at(t, 1000, 1, Amount{"CO2", 1}, Amount{"C", 0.9}).CarbonActivity, 1.0)

	soot, err := Equilibrium(Input{
		Celsius: 600, PressureBar: 1, Feed: []Amount{{"CO", 1}}, Species: []string{"CO", "CO2", "O2"},
	})
	require.NoError(t, err)
	assert.Nil(t, soot.CarbonActivity, "CO2 needs oxygen that the feed does not have to spare")
	soot, err = Equilibrium(Input{
		Celsius: 600, PressureBar: 1, Feed: []Amount{{"CO", 1}, {"CO2", 0.1}}, Species: []string{"CO", "CO2", "O2"},
	})
	require.NoError(t, err)
	assert.Greater(t, *soot.CarbonActivity, 1.0)
	assert.Contains(t, soot.Assumptions, "carbon is above saturation: soot would form, but graphite is not considered")

	// the amount of solid runs to nothing without a jump
	for _, carbon := range []float64{1e-3, 1e-9, 1e-14} {
		r := at(t, 700, 1, Amount{"CO", 1}, Amount{"CO2", 1}, Amount{"C", carbon})
		assertBalances(t, r)
	}
}

func TestSulfurMeltsAndBoils(t *testing.T) {
	assert.Equal(t, "rhombic sulfur", one(t, at(t, 80, 1, Amount{"S", 1}, Amount{"N2", 1}), "S").Phase)
	assert.Equal(t, "monoclinic sulfur", one(t, at(t, 100, 1, Amount{"S", 1}, Amount{"N2", 1}), "S").Phase)
	assert.Equal(t, "liquid", one(t, at(t, 300, 1, Amount{"S", 1}, Amount{"N2", 1}), "S").Phase)
	cold := at(t, 400, 1, Amount{"S", 1})
	assert.Zero(t, cold.GasMoles)
	assert.Equal(t, 1.0, one(t, cold, "S").Moles)
	assert.Nil(t, one(t, cold, "S8").Log10MoleFraction)
	assert.Contains(t, cold.Assumptions, "no gas: the vapours do not reach the pressure, all is solid or liquid")
	hot := at(t, 700, 1, Amount{"S", 1})
	assert.Zero(t, one(t, hot, "S").Moles)
	assert.InDelta(t, 1, 2*one(t, hot, "S2").Moles+8*one(t, hot, "S8").Moles, 1e-12)
	both := at(t, 200, 1, Amount{"S", 1}, Amount{"C", 2})
	assert.Zero(t, both.GasMoles)
	assert.Equal(t, []float64{2, 1}, []float64{one(t, both, "C").Moles, one(t, both, "S").Moles})
	assertBalances(t, at(t, 900, 1, Amount{"S", 1}, Amount{"C", 2}))
}

func TestWhatTheFeedCannotMakeIsAbsent(t *testing.T) {
	acid := at(t, 500, 1, Amount{"HCl", 2}, Amount{"N2", 1})
	assert.Nil(t, one(t, acid, "H2").Log10MoleFraction, "there is no chlorine to let it free")
	assert.InDelta(t, 2.0/3, one(t, acid, "HCl").MoleFraction, 1e-12)
	assert.Nil(t, acid.Log10OxygenBar)
	assert.Nil(t, acid.CarbonMonoxidePerCarbonDioxide)
	nitrogen := at(t, 500, 1, Amount{"N2", 1}, Amount{"C", 1})
	assert.Equal(t, 1.0, *nitrogen.CarbonActivity)
	assert.Equal(t, 1.0, one(t, nitrogen, "N2").MoleFraction)
}

func TestMoreAnswersOfTheSameFeed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names := []string{"CO2", "C", "H2O(g)", "S2", "O2", "N2", "SO2", "H2", "HF", "HCl"}
		var feed []Amount
		for _, name := range rapid.SliceOfNDistinct(rapid.SampledFrom(names), 1, 6, rapid.ID[string]).Draw(t, "feed") {
			exponent := rapid.Float64Range(-12, 1).Draw(t, "exponent")
			feed = append(feed, Amount{name, math.Pow(10, exponent)})
		}
		in := Input{
			Celsius:     rapid.Float64Range(MinCelsius, MaxCelsius).Draw(t, "celsius"),
			PressureBar: math.Pow(10, rapid.Float64Range(-6, 3).Draw(t, "pressure")), Feed: feed,
		}
		r, err := Equilibrium(in)
		if finding.FaultsOf(err) != nil && len(feed) == 1 && feed[0].Formula == "C" {
			return
		}
		require.NoError(t, err)
		assertBalances(t, r)
		assertFinite(t, r)
		twice := slices.Clone(feed)
		for i := range twice {
			twice[i].Moles *= 2
		}
		slices.Reverse(twice)
		doubled, err := Equilibrium(Input{Celsius: in.Celsius, PressureBar: in.PressureBar, Feed: twice})
		require.NoError(t, err)
		require.Len(t, doubled.Species, len(r.Species))
		for _, s := range r.Species {
			if s.MoleFraction > 1e-11 && s.Moles > 1e-11 {
				assert.InEpsilon(t, 2*s.Moles, one(t, doubled, s.Species).Moles, 1e-4, s.Species)
			}
		}
		assert.InDelta(t, 2*r.HeatKilojoules, doubled.HeatKilojoules, 1e-7*math.Abs(r.ProductKilojoules)+1e-9)
	})
}

func assertFinite(t rapid.TB, r Result) {
	numbers := []float64{r.GasMoles, r.FeedKilojoules, r.ProductKilojoules, r.HeatKilojoules}
	for _, s := range r.Species {
		numbers = append(numbers, s.MoleFraction, s.Moles)
		if s.Log10MoleFraction != nil {
			numbers = append(numbers, *s.Log10MoleFraction)
		}
	}
	for _, p := range []*float64{r.Log10OxygenBar, r.CarbonActivity, r.CarbonMonoxidePerCarbonDioxide} {
		if p != nil {
			numbers = append(numbers, *p)
		}
	}
	for _, n := range numbers {
		require.False(t, math.IsNaN(n) || math.IsInf(n, 0), "%+v", r)
	}
}

func TestThePhaseAndTemperatureOfTheFeedCount(t *testing.T) {
	vapour := at(t, 500, 1, Amount{"H2O(g)", 1})
	open := at(t, 500, 1, Amount{"H2O", 1})
	assert.InDelta(t, 44.0, open.HeatKilojoules-vapour.HeatKilojoules, 0.1, "kJ/mol of evaporation at 25 C")
	assert.Contains(t, open.Assumptions, "H2O is fed as a liquid")
	warm := 500.0
	hot, err := Equilibrium(Input{Celsius: 500, PressureBar: 1, Feed: []Amount{{"H2O", 1}}, FeedCelsius: &warm})
	require.NoError(t, err)
	assert.InDelta(t, 0, hot.HeatKilojoules, 1e-6)
	const dew = "below its dew point: water would condense, but is held as a gas"
	assert.Contains(t, at(t, 50, 1, Amount{"H2O", 1}).Assumptions, dew)
	assert.Contains(t, at(t, 100, 1.02, Amount{"H2O", 1}).Assumptions, dew)
	assert.NotContains(t, at(t, 101, 1, Amount{"H2O", 1}).Assumptions, dew)
	assert.NotContains(t, at(t, 150, 1, Amount{"H2O", 1}).Assumptions, dew)
}

func TestInputThatCannotBeUsedIsNamed(t *testing.T) {
	fine := Input{Celsius: 800, PressureBar: 1, Feed: []Amount{{"CO2", 1}, {"C", 1}}}
	cold, odd := -200.0, math.NaN()
	for name, c := range map[string]struct {
		change func(in *Input)
		field  string
		cure   string
	}{
		"too cold":            {func(in *Input) { in.Celsius = 24.9 }, "celsius", "25 to 2000"},
		"too hot":             {func(in *Input) { in.Celsius = 2000.1 }, "celsius", "25 to 2000"},
		"no temperature":      {func(in *Input) { in.Celsius = math.NaN() }, "celsius", "25 to 2000"},
		"no pressure":         {func(in *Input) { in.PressureBar = 0 }, "pressure_bar", "1e-06 to 1000"},
		"pressure below zero": {func(in *Input) { in.PressureBar = -1 }, "pressure_bar", "1e-06 to 1000"},
		"endless pressure":    {func(in *Input) { in.PressureBar = math.Inf(1) }, "pressure_bar", "1e-06 to 1000"},
		"no feed":             {func(in *Input) { in.Feed = nil }, "feed", "CO2=1,C=1"},
		"nothing fed":         {func(in *Input) { in.Feed = []Amount{{"CO2", 0}} }, "feed[0].moles", "above zero"},
		"less than nothing":   {func(in *Input) { in.Feed = []Amount{{"O2", 1}, {"CO2", -1}} }, "feed[1].moles", "above zero"},
		"no number":           {func(in *Input) { in.Feed = []Amount{{"CO2", math.NaN()}} }, "feed[0].moles", "above zero"},
		"fed without end":     {func(in *Input) { in.Feed = []Amount{{"CO2", math.Inf(1)}} }, "feed[0].moles", "above zero"},
		"fed twice":           {func(in *Input) { in.Feed = []Amount{{"CO2", 1}, {"O2C", 1}} }, "feed[1].formula", "once"},
		"not tabled":          {func(in *Input) { in.Feed = []Amount{{"CH4", 1}} }, "feed[0].formula", "CO2"},
		"no gas of it":        {func(in *Input) { in.Feed = []Amount{{"CaCO3", 1}} }, "feed[0].formula", "CO2"},
		"no formula":          {func(in *Input) { in.Feed = []Amount{{"Xx", 1}} }, "feed[0].formula", "CO2"},
		"carbon alone":        {func(in *Input) { in.Feed = []Amount{{"C", 1}} }, "feed", "N2"},
		"feed too cold":       {func(in *Input) { in.FeedCelsius = &cold }, "feed_celsius", "give "},
		"feed no number":      {func(in *Input) { in.FeedCelsius = &odd }, "feed_celsius", "give "},
		"feed not steam":      {func(in *Input) { in.Feed = []Amount{{"CO2(l)", 1}} }, "feed[0].formula", "give one of"},
		"species not tabled":  {func(in *Input) { in.Species = []string{"CO", "CH4"} }, "species[1]", "CO2"},
		"species twice":       {func(in *Input) { in.Species = []string{"CO", "CO2", "CO(g)"} }, "species[2]", "once"},
		"element left over":   {func(in *Input) { in.Species = []string{"O2", "N2"} }, "species", "add species"},
		"proportions":         {func(in *Input) { in.Species = []string{"CO2", "O2"} }, "species", "add species"},
		"no gas considered":   {func(in *Input) { in.Feed, in.Species = []Amount{{"CS2", 1}}, []string{"C", "S"} }, "species", "add a gas"},
	} {
		in := fine
		c.change(&in)
		_, err := Equilibrium(in)
		faults := finding.FaultsOf(err)
		require.NotEmpty(t, faults, name)
		assert.Equal(t, c.field, faults[0].Field, name)
		assert.Contains(t, faults[0].Cure, c.cure, name)
	}
	for _, celsius := range []float64{MinCelsius, MaxCelsius} {
		for _, bar := range []float64{MinPressureBar, MaxPressureBar} {
			at(t, celsius, bar, Amount{"CO2", leastMoles}, Amount{"S8", mostMoles})
		}
	}
}

func TestTheTablesFitTheArrays(t *testing.T) {
	assert.LessOrEqual(t, len(species().elements), maxElements)
	assert.LessOrEqual(t, len(species().candidates), maxSpecies)
	for _, c := range species().candidates {
		for celsius := MinCelsius; celsius <= MaxCelsius; celsius += 25 {
			_, _, ok := c.form.Reduced(thermo.Kelvin(celsius))
			assert.True(t, ok, "%s at %g C", c.formula, celsius)
		}
	}
}

// twelve species: six gases of carbon, oxygen and hydrogen, nitrogen, and the sulfur gases that matter.
var twelve = Input{
	Celsius: 950, PressureBar: atmosphere,
	Feed:    []Amount{{"CO2", 1}, {"C", 0.8}, {"H2O(g)", 0.3}, {"SO2", 0.2}, {"N2", 2}},
	Species: []string{"CO", "CO2", "O2", "H2", "H2O", "N2", "SO2", "H2S", "COS", "CS2", "S2", "C"},
}

func TestAMixtureAllocatesLittle(t *testing.T) {
	assert.LessOrEqual(t, testing.AllocsPerRun(100, func() { _, _ = Equilibrium(twelve) }), 40.0)
}

func BenchmarkEquilibriumOfTwelveSpecies(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Equilibrium(twelve); err != nil {
			b.Fatal(err)
		}
	}
}
