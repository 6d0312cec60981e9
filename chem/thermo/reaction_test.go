package thermo

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
)

// van 't Hoff: d ln K/dT = dH/RT^2, by a central difference.
func TestTheConstantFollowsTheReactionEnthalpy(t *testing.T) {
	for _, text := range []string{"C+CO2=2CO", "CO+1/2O2=CO2", "H2S=H2+1/2S2", "SO2+1/2O2=SO3", "2CuO=Cu2O+1/2O2"} {
		r := reaction(t, text)
		const kelvin, step = 1100.0, 0.5
		below, err := r.AtKelvin(kelvin - step)
		require.NoError(t, err)
		at, err := r.AtKelvin(kelvin)
		require.NoError(t, err)
		above, err := r.AtKelvin(kelvin + step)
		require.NoError(t, err)
		slope := (above.LnK - below.LnK) / (2 * step)
		assert.InEpsilon(t, at.EnthalpyKilojoules*1000/(GasConstant()*kelvin*kelvin), slope, 1e-5, text)
		assert.InDelta(t, at.EnthalpyKilojoules-kelvin*at.EntropyJoulesPerKelvin/1000, at.GibbsKilojoules, 1e-9)
		assert.InDelta(t, math.Log10(at.EquilibriumConstant()), at.Log10K(), 1e-9)
	}
}

func TestAFormulaWithoutAPhaseIsTakenAsItIsStable(t *testing.T) {
	open := reaction(t, "H2+1/2O2=H2O")
	for celsius, mark := range map[float64]string{25: "(l)", 90: "(l)", 110: "(g)", 900: "(g)"} {
		marked, err := NewReaction(map[string]float64{"H2": -1, "O2": -0.5, "H2O" + mark: 1})
		require.NoError(t, err)
		want, err := marked.AtCelsius(celsius)
		require.NoError(t, err)
		got, err := open.AtCelsius(celsius)
		require.NoError(t, err)
		assert.Equal(t, want, got, "at %g C", celsius)
	}
}

func TestTheConstantStaysANumber(t *testing.T) {
	r, err := NewReaction(map[string]float64{"C": -100, "O2": -100, "CO2": 100})
	require.NoError(t, err)
	state, err := r.AtKelvin(298.15)
	require.NoError(t, err)
	assert.Equal(t, math.MaxFloat64, state.EquilibriumConstant())
	assert.InDelta(t, 100*394.4/(8.314e-3*298.15)/math.Ln10, state.Log10K(), 10)
}

func TestReactionsThatCannotBeUsedAreNamed(t *testing.T) {
	for name, c := range map[string]struct {
		coefficients map[string]float64
		field        string
	}{
		"nothing":       {nil, "coefficients"},
		"no number":     {map[string]float64{"CO": math.NaN(), "CO2": 1}, "coefficients[CO]"},
		"zero":          {map[string]float64{"CO": 0, "CO2": 1}, "coefficients[CO]"},
		"not tabled":    {map[string]float64{"CH4": -1}, "coefficients[CH4].formula"},
		"no such phase": {map[string]float64{"CO(l)": -1, "CO(g)": 1}, "coefficients[CO(l)].phase"},
		"unbalanced":    {map[string]float64{"CO": -1, "O2": -1, "CO2": 1}, "coefficients"},
	} {
		_, err := NewReaction(c.coefficients)
		faults := finding.FaultsOf(err)
		require.NotEmpty(t, faults, name)
		assert.Equal(t, c.field, faults[0].Field, name)
		assert.NotEmpty(t, faults[0].Cure, name)
	}
	_, err := reaction(t, "2CuO=Cu2O+1/2O2").AtCelsius(1200)
	assert.EqualError(t, err, "celsius: 1200 is outside the range of CuO (give 25 to 1126.85)")
	_, err = reaction(t, "2CuO=Cu2O+1/2O2").AtKelvin(200)
	assert.EqualError(t, err, "kelvin: 200 is outside the range of Cu2O (give 298.15 to 6000)")
}
