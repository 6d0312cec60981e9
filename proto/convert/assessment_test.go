package convert

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	saggarv1 "saggar/proto/saggar/v1"
)

func TestOffGasIsAddedUpOverItsOriginsAndKeptApartByCaseAndGas(t *testing.T) {
	gas := func(c chem.Case, species, origin string, moles float64) chem.OffGas {
		return chem.OffGas{Case: c, Species: species, Origin: origin, Moles: moles, MassGrams: 10 * moles}
	}
	m := AssessmentToProto(assess.Assessment{Charge: assess.Charge{Balance: chem.BalanceResult{Stages: []chem.StageBalance{
		{Stage: "reduce", OffGas: []chem.OffGas{
			gas(chem.Cautious, "SO2", "sulfur", 1), gas(chem.Likely, "SO2", "sulfur", 0.25), gas(chem.Cautious, "CO", "charcoal", 2),
			gas(chem.Cautious, "SO2", "pyrite", 0.5),
		}},
		{Stage: "oxidise", OffGas: []chem.OffGas{gas(chem.Cautious, "SO2", "sulfur", 4)}},
	}}}})
	var got [][]any
	for _, line := range m.GetOffGas() {
		assert.InDelta(t, 10*line.GetMoles(), line.GetMassGrams(), 1e-12)
		got = append(got, []any{line.GetStage(), OffGasCaseFromProto(line.GetCase()), line.GetSpecies(), line.GetMoles()})
	}
	assert.Equal(t, [][]any{
		{"reduce", chem.Cautious, "SO2", 1.5}, {"reduce", chem.Likely, "SO2", 0.25}, {"reduce", chem.Cautious, "CO", 2.0},
		{"oxidise", chem.Cautious, "SO2", 4.0},
	}, got)
}

func TestAStageThatNoFurnaceCanDoHasNoTimesAndNoAir(t *testing.T) {
	minute := 0.0
	m := AssessmentToProto(assess.Assessment{
		Findings: []finding.Finding{{Severity: finding.Block, Code: "STAGE_NO_FURNACE", Field: "stages[0]"}},
		Stages: []assess.StageAssessment{
			{Stage: "melt"},
			{
				Stage: "pack", Treatment: &assess.Treatment{
					Furnace: heat.Furnace{ID: "hood"}, Phases: []heat.Phase{{Kind: heat.Work, Minutes: 90, Watch: heat.InRoom}},
				},
				Air: &assess.RoomAir{Room: "bay", Assessment: air.Assessment{
					Species: []air.SpeciesAssessment{{Species: "SO2", ReentryMinute: &minute}},
				}},
			},
		},
	})
	require.Len(t, m.GetStages(), 2)
	assert.Empty(t, m.GetStages()[0].GetFurnace())
	assert.Empty(t, m.GetStages()[0].GetPhases())
	phase := m.GetStages()[1].GetPhases()[0]
	assert.Equal(t, saggarv1.PhaseKind_PHASE_KIND_WORK, phase.GetPhase())
	assert.Equal(t, int32(90), phase.GetDurationMinutes())
	assert.Equal(t, heat.InRoom, WatchFromProto(phase.GetWatch()))
	require.Len(t, m.GetAir(), 1)
	species := m.GetAir()[0].GetSpecies()[0]
	require.NotNil(t, species.ReentryMinute, "at once is a zero")
	assert.Nil(t, species.FlowNeededCubicMetersPerSecond, "no flow does is absent, not zero")
	assert.Equal(t, "STAGE_NO_FURNACE", FindingFromProto(m.GetFindings()[0]).Code)
}
