package data

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCoefficientSetsFollowOneAnother(t *testing.T) {
	sets, err := readTable("nasa9-coefficients.csv", toCoefficientSet)
	require.NoError(t, err)
	require.Len(t, sets, 130)
	for i, s := range sets {
		assert.Contains(t, []string{"gas", "liquid", "solid"}, s.Phase, s.Species)
		assert.Equal(t, WasRead, s.Read, s.Species)
		assert.Less(t, s.LowKelvin, s.HighKelvin, s.Species)
		condensed := s.Phase != "gas"
		if i > 0 && sets[i-1].Formula == s.Formula && (sets[i-1].Phase != "gas") == condensed {
			assert.Equal(t, sets[i-1].HighKelvin, s.LowKelvin, "%s leaves no gap", s.Species)
		}
	}
}

func TestMineralsAndReferenceValuesAreStated(t *testing.T) {
	minerals, err := readTable("mineral-cp-maier-kelley.csv", toMineralHeatCapacity)
	require.NoError(t, err)
	require.Len(t, minerals, 17)
	for _, m := range minerals {
		assert.Contains(t, known, m.Read, m.Mineral)
		assert.Positive(t, m.A+m.B*m.LowKelvin+m.C/m.LowKelvin/m.LowKelvin, m.Mineral)
	}
	values, err := readTable("thermo-298.csv", toReferenceValue)
	require.NoError(t, err)
	require.Len(t, values, 98)
	for _, v := range values {
		assert.Contains(t, known, v.Read, v.Formula)
		assert.Contains(t, []string{"g", "l", "cr"}, v.Phase, v.Formula)
	}
}

func TestThermoConstantsAreFoundByName(t *testing.T) {
	assert.Equal(t, 298.15, ThermoConstant("reference temperature"))
	assert.Panics(t, func() { ThermoConstant("speed of light") })
	for _, c := range constants() {
		assert.Contains(t, known, c.Read, c.Name)
	}
}
