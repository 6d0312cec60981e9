package thermo

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
)

// all are the substances of every table, one of each kind.
func all() []*Substance {
	var list []*Substance
	for _, c := range tables().order {
		for _, s := range append([]*Substance{c.gas, c.condensed, c.reference}, c.minerals...) {
			if s != nil {
				list = append(list, s)
			}
		}
	}
	return list
}

// integral of f by Simpson's rule.
func integral(low, high float64, f func(float64) float64) float64 {
	const steps = 2000
	width := (high - low) / steps
	sum := f(low) + f(high)
	for i := 1; i < steps; i++ {
		sum += f(low+float64(i)*width) * float64(2+2*(i%2))
	}
	return sum * width / 3
}

// Within one piece enthalpy and entropy differ by the integrals of Cp and Cp/T.
func TestEnthalpyAndEntropyAreTheIntegralsOfTheHeatCapacity(t *testing.T) {
	for _, s := range all() {
		for i := range s.pieces {
			p := &s.pieces[i]
			low, high := p.low, min(p.high, 2500)
			if low >= high {
				continue
			}
			from, to := p.state(low), p.state(high)
			heat := integral(low, high, func(k float64) float64 { return p.state(k).HeatCapacityJoulesPerMoleKelvin })
			entropy := integral(low, high, func(k float64) float64 { return p.state(k).HeatCapacityJoulesPerMoleKelvin / k })
			assert.InDelta(t, heat/1000, to.EnthalpyKilojoulesPerMole-from.EnthalpyKilojoulesPerMole, 1e-4, "%s from %g K", s.name, low)
			assert.InDelta(t, entropy, to.EntropyJoulesPerMoleKelvin-from.EntropyJoulesPerMoleKelvin, 1e-4, "%s from %g K", s.name, low)
			assert.InDelta(t, to.EnthalpyKilojoulesPerMole-high*to.EntropyJoulesPerMoleKelvin/1000, to.GibbsKilojoulesPerMole, 1e-9)
		}
	}
}

// Where two pieces of a substance meet, their Gibbs energies do too: it is the equilibrium of the two forms.
func TestFormsMeetWithTheSameGibbsEnergy(t *testing.T) {
	for _, s := range all() {
		for i := 1; i < len(s.pieces); i++ {
			before, after := s.pieces[i-1].state(s.pieces[i].low), s.pieces[i].state(s.pieces[i].low)
			assert.InDelta(t, before.GibbsKilojoulesPerMole, after.GibbsKilojoulesPerMole, 2e-3, "%s at %g K", s.name, s.pieces[i].low)
		}
	}
}

func TestFindTellsPhasesAndPolymorphsApart(t *testing.T) {
	for _, c := range []struct {
		formula   string
		phase     Phase
		low, high float64
		forms     string
	}{
		{"SiO2", Solid, 298.15, 1996, "alpha quartz, beta quartz, beta cristobalite"},
		{"O2Si", Solid, 298.15, 1996, "alpha quartz, beta quartz, beta cristobalite"},
		{"S", Solid, 298.15, 388.36, "rhombic sulfur, monoclinic sulfur"},
		{"S", Liquid, 388.36, 6000, "liquid"},
		{"H2O", Liquid, 273.15, 600, "liquid"},
		{"H2O", Gas, 200, 6000, "gas"},
		{"Al2O3*2SiO2*2H2O", Solid, 298.15, 1000, "kaolinite"},
		{"FeO(OH)", Solid, 298.15, 298.15, "goethite"},
	} {
		s, err := Find(c.formula, c.phase)
		require.NoError(t, err, c.formula)
		low, high := s.RangeKelvin()
		assert.Equal(t, []float64{c.low, c.high}, []float64{low, high}, "%s %s", c.formula, c.phase)
		assert.Equal(t, c.forms, strings.Join(s.Polymorphs(), ", "))
		assert.NotEmpty(t, s.Source())
	}
	s, err := FindCondensed("SiO2")
	require.NoError(t, err)
	state, err := s.AtCelsius(600)
	require.NoError(t, err)
	assert.Equal(t, "beta quartz", state.Polymorph)
	assert.Equal(t, Solid, s.PhaseAtKelvin(900))
	assert.Equal(t, "beta quartz", s.FormAtKelvin(900))
	assert.Equal(t, Phase(""), s.PhaseAtKelvin(200))
	assert.Empty(t, s.FormAtKelvin(200))
}

func TestWhatIsNotTabledIsNamedWithWhatIs(t *testing.T) {
	for name, c := range map[string]struct {
		find  func() error
		field string
		cure  string
	}{
		"no formula":       {func() error { _, err := Find("Xx", Gas); return err }, "formula", "CaCO3"},
		"not tabled":       {func() error { _, err := Find("ZnO", Solid); return err }, "formula", "CO2"},
		"no such phase":    {func() error { _, err := Find("CO2", Liquid); return err }, "phase", "gas"},
		"no solid water":   {func() error { _, err := Find("H2O", Solid); return err }, "phase", "liquid or gas"},
		"no condensed gas": {func() error { _, err := FindCondensed("O2"); return err }, "phase", "gas"},
	} {
		faults := finding.FaultsOf(c.find())
		require.Len(t, faults, 1, name)
		assert.Equal(t, c.field, faults[0].Field, name)
		assert.Contains(t, faults[0].Cure, c.cure, name)
	}
}

func TestTheRangeHoldsToItsEndsAndNotBeyond(t *testing.T) {
	for _, s := range all() {
		low, high := s.RangeKelvin()
		for kelvin, inside := range map[float64]bool{
			low: true, high: true, math.Nextafter(low, 0): false, math.Nextafter(high, 1e9): false,
			math.NaN(): false, math.Inf(1): false, -1: false,
		} {
			state, err := s.AtKelvin(kelvin)
			_, _, ok := s.Reduced(kelvin)
			assert.Equal(t, inside, ok, "%s at %g K", s.name, kelvin)
			if inside {
				require.NoError(t, err, "%s at %g K", s.name, kelvin)
				assert.Positive(t, state.HeatCapacityJoulesPerMoleKelvin, s.name)
				continue
			}
			require.Len(t, finding.FaultsOf(err), 1, "%s at %g K", s.name, kelvin)
			assert.Equal(t, "kelvin", finding.FaultsOf(err)[0].Field)
			assert.Contains(t, finding.FaultsOf(err)[0].Cure, "give ")
		}
	}
	s, err := Find("CO2", Gas)
	require.NoError(t, err)
	_, err = s.AtCelsius(-100)
	assert.EqualError(t, err, "celsius: -100 is outside the range of CO2 (give -73.15 to 19726.85)")
}

func TestReducedIsTheStateWithoutItsUnits(t *testing.T) {
	substances := all()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(substances).Draw(t, "substance")
		low, high := s.RangeKelvin()
		kelvin := rapid.Float64Range(low, high).Draw(t, "kelvin")
		state, err := s.AtKelvin(kelvin)
		require.NoError(t, err)
		gibbs, enthalpy, ok := s.Reduced(kelvin)
		require.True(t, ok)
		rt := GasConstant() * kelvin / 1000
		assert.InDelta(t, state.GibbsKilojoulesPerMole, gibbs*rt, 1e-9*math.Abs(state.GibbsKilojoulesPerMole)+1e-9)
		assert.InDelta(t, state.EnthalpyKilojoulesPerMole, enthalpy*rt, 1e-9*math.Abs(state.EnthalpyKilojoulesPerMole)+1e-9)
	})
}
