package thermo

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Melting points and enthalpies of fusion of handbooks, beside those that the two sets of the tables that meet there give.
// Salt is read on a public data page; the others are from memory of the CRC Handbook's table of enthalpies of fusion.
func TestPublishedEnthalpiesOfFusion(t *testing.T) {
	for _, c := range []struct {
		formula                     string
		celsius, kilojoules, within float64
		source                      string
	}{
		{"NaCl", 801, 27.95, 0.5, "public data page of sodium chloride, 27.95 kJ/mol at 1074 K"},
		{"Cu", 1084.6, 13.26, 0.3, "memory"},
		{"Al", 660.3, 10.71, 0.1, "memory"},
		{"Ag", 961.8, 11.28, 0.4, "memory"},
		{"S", 115.2, 1.72, 0.1, "memory"},
		{"Na2CO3", 858, 29.7, 2, "memory"},
		{"K2CO3", 899, 27.6, 3, "memory"},
		{"Na2SO4", 884, 23.85, 1, "memory"},
		{"K2SO4", 1069, 36.6, 1, "memory"},
		{"NaNO3", 307, 15.5, 0.6, "memory"},
		{"KNO3", 334, 9.6, 0.4, "memory"},
		{"B2O3", 450, 24.56, 0.1, "memory"},
		{"PbO", 887, 25.6, 0.2, "memory"},
		{"Cu2O", 1244, 65.6, 2, "memory"},
	} {
		t.Run(c.formula, func(t *testing.T) {
			s, err := FindCondensed(c.formula)
			require.NoError(t, err)
			for i := 1; i < len(s.pieces); i++ {
				solid, liquid := &s.pieces[i-1], &s.pieces[i]
				if solid.phase != Solid || liquid.phase != Liquid {
					continue
				}
				assert.InDelta(t, c.celsius, Celsius(liquid.low), 2, c.source)
				assert.InDelta(t, c.kilojoules, liquid.kilojoules(liquid.low)-solid.kilojoules(liquid.low), c.within, c.source)
				return
			}
			t.Fatal("no liquid follows a solid")
		})
	}
}

// Where two forms of a substance meet in the tables they have one Gibbs energy.
func TestFormsThatMeetAreInEquilibrium(t *testing.T) {
	for _, c := range tables().order {
		if c.condensed == nil {
			continue
		}
		for i := 1; i < len(c.condensed.pieces); i++ {
			before, after := &c.condensed.pieces[i-1], &c.condensed.pieces[i]
			if before.phase == after.phase {
				continue
			}
			below, above := before.state(after.low), after.state(after.low)
			assert.InDelta(t, below.GibbsKilojoulesPerMole, above.GibbsKilojoulesPerMole, 0.01, c.formula)
		}
	}
}

func TestABoundOxideDoesNotMeltByItself(t *testing.T) {
	borax := heatOf(t, "Na2B4O7", 25, 1000)
	assert.Equal(t, ByMass, borax.Portions[0].Basis, "Na2O is not tabled")
	calcium := heatOf(t, "CaB2O4", 25, 1000)
	assert.Equal(t, SumOfOxides, calcium.Portions[0].Basis)
	for _, assumption := range calcium.Assumptions {
		assert.NotContains(t, assumption, "to liquid")
	}
	assert.True(t, HasLiquid(formula(t, "NaCl")))
	assert.True(t, HasLiquid(formula(t, "H2O")))
	assert.False(t, HasLiquid(formula(t, "CaB2O4")))
	assert.False(t, HasLiquid(formula(t, "SiO2")))
}
