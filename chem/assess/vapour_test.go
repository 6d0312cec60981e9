package assess

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
)

// heated is one compound beside quartz, fired to a temperature under a lid.
func heated(t *testing.T, formula string, celsius float64, lid chem.Lid) map[string]finding.Severity {
	t.Helper()
	of := materials()
	of["it"] = chem.Material{ID: "it", Phases: []chem.Phase{{Formula: formula, MassFraction: 1}}}
	stage := fired(chem.Calcine, celsius, add("it", 50), add("quartz", 50))
	stage.Lid = lid
	return severities(chargeOf(t, of, stage).Findings)
}

// Zinc boils at 907 C and has a vapour pressure of 1 mmHg at 487 C; copper(II) oxide falls apart from 1026 C on.
func TestVapourAtTheBoundary(t *testing.T) {
	for _, c := range []struct {
		formula string
		celsius float64
		sealed  finding.Severity
		fume    finding.Severity
		oxygen  finding.Severity
	}{
		{"Zn", 486, "", "", ""}, {"Zn", 487, "", finding.Note, ""}, {"Zn", 806, "", finding.Note, ""},
		{"Zn", 807, "", finding.Warn, ""}, {"Zn", 906, "", finding.Warn, ""}, {"Zn", 907, finding.Block, finding.Warn, ""},
		{"CuO", 1025, "", "", ""}, {"CuO", 1026, finding.Block, "", finding.Note},
		{"SrO2", 214, "", "", ""}, {"SrO2", 215, finding.Warn, "", finding.Note},
	} {
		t.Run(fmt.Sprintf("%s at %g C", c.formula, c.celsius), func(t *testing.T) {
			found := heated(t, c.formula, c.celsius, chem.SealedLid)
			assert.Equal(t, c.sealed, found["SEALED_OVER_GAS"])
			assert.Equal(t, c.fume, found["FUME_NOT_MODELLED"])
			assert.Equal(t, c.oxygen, found["OXYGEN_SET_FREE"])
			assert.Empty(t, heated(t, c.formula, c.celsius, chem.OpenLid)["SEALED_OVER_GAS"])
		})
	}
}

// 100 g of copper(II) oxide, 79.545 g/mol, have a quarter mole of oxygen, 31.998 g/mol, for each mole: 10.06 g.
func TestOxygenIsWeighed(t *testing.T) {
	of := materials()
	of["it"] = chem.Material{ID: "it", Phases: []chem.Phase{{Formula: "CuO", MassFraction: 1}}}
	stage := fired(chem.Calcine, 1090, add("it", 100))
	stage.Lid = chem.SealedLid
	found := chargeOf(t, of, stage).Findings
	for code, name := range map[string]string{"OXYGEN_SET_FREE": "oxygen", "SEALED_OVER_GAS": "off_gas"} {
		with := withCode(found, code)
		require.Len(t, with, 1)
		require.NotEmpty(t, with[0].Source)
		assert.Equal(t, name, with[0].Figures[0].Name)
		assert.InDelta(t, 10.056, with[0].Figures[0].Value, 0.002)
	}
}
