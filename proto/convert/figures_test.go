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
	"saggar/chem/reaction"
	saggarv1 "saggar/proto/saggar/v1"
)

// assessment has every part filled; its figures are made up.
func assessment() assess.Assessment {
	reentry := 95.0
	return assess.Assessment{
		Charge: assess.Charge{Balance: chem.BalanceResult{
			LimitingElement: "S", IdealProductGrams: 96,
			Stages: []chem.StageBalance{{
				Stage:    "reduce",
				WeighOut: []chem.WeighedMaterial{{Material: "sulfur", MassGrams: 30, Stage: "reduce"}},
				Elements: []chem.ElementBalance{{Element: "S", InMoles: 1, ProductMoles: 0.25, OffGasMoles: 0.5, LeftOverMoles: 0.25}},
			}},
		}},
		Stages: []assess.StageAssessment{
			{
				Stage: "reduce",
				Treatment: &assess.Treatment{
					Furnace: heat.Furnace{ID: "pot-furnace"}, Heat: heat.Result{EnergyKilowattHours: 7},
					Phases:      []heat.Phase{{Kind: heat.Fire, Minutes: 240, Watch: heat.InRoom}},
					Conversions: conversions(),
				},
				Air: &assess.RoomAir{Room: "annex", FlowCubicMetersPerSecond: 0.4, Assessment: air.Assessment{
					MixtureRatio: 0.75,
					Species: []air.SpeciesAssessment{{
						Species: "SO2", PeakPPM: 3, PeakMinute: 12, Max15MinutePPM: 2, Max8HourPPM: 1, ReentryMinute: &reentry,
						Limits: []air.LimitCheck{{
							Limit: air.Limit{Authority: "NIOSH", Kind: "STEL", AveragingMinutes: 15, PPM: 5, Severity: finding.Block, Source: "a table"},
							Ratio: 0.4,
						}},
					}},
				}},
			},
			{Stage: "oxidise"},
		},
		Findings:    []finding.Finding{{Severity: finding.Warn, Code: "HEAT_SLOW"}},
		Assumptions: []string{"all sulfur leaves"}, Caution: "a planning estimate",
	}
}

// conversions are of a reaction whose core is known, of one without a depth, and of one without a rate.
func conversions() []reaction.Conversion {
	core, minutes := 0.5, 90.0
	known := &reaction.Result{Conversion: 0.75, CoreConversion: &core, MinutesTo99Percent: &minutes, Source: "a rate's paper"}
	named := func(name string) reaction.Reaction {
		r, _ := reaction.Named(name)
		return r
	}
	return []reaction.Conversion{
		{Part: reaction.Part{Reaction: named("kaolinite"), Moles: 2}, Result: known},
		{Part: reaction.Part{Reaction: named("calcite"), Moles: 3}, Result: &reaction.Result{Conversion: 0.25, MinutesTo99Percent: &minutes}},
		{Part: reaction.Part{Reaction: named("malachite"), Moles: 4}},
	}
}

func TestConversionsTravel(t *testing.T) {
	list := AssessmentToProto(assessment()).GetConversions()
	require.Len(t, list, 3)
	assert.Equal(t, "reduce", list[0].GetStage())
	assert.Equal(t, "kaolinite", list[0].GetReaction())
	assert.Equal(t, "Al2Si2O5(OH)4 -> Al2Si2O7 + 2 H2O", list[0].GetEquation())
	assert.Equal(t, [4]float64{2, 0.75, 0.5, 90}, [4]float64{
		list[0].GetMoles(), list[0].GetConversion(), list[0].GetCoreConversion(), list[0].GetMinutesTo_99Percent(),
	})
	assert.Equal(t, "a rate's paper", list[0].GetSource())
	assert.Nil(t, list[1].CoreConversion, "without a depth there is no 'enough'")
	assert.Nil(t, list[1].MinutesTo_99Percent)
	assert.Nil(t, list[2].Conversion)
	assert.NotEmpty(t, list[2].GetSource())
}

func TestEveryFigureOfAnAssessmentTravelsWithItsCaution(t *testing.T) {
	m := AssessmentToProto(assessment())
	assert.Equal(t, "S", m.GetLimitingElement())
	assert.Equal(t, 96.0, m.GetIdealProductGrams())
	assert.Equal(t, []string{"all sulfur leaves"}, m.GetAssumptions())
	assert.Equal(t, "a planning estimate", m.GetCaution(), "figures on air and heat never travel without the caution")
	require.Len(t, m.GetFindings(), 1)
	assert.Equal(t, "HEAT_SLOW", m.GetFindings()[0].GetCode())
	require.Len(t, m.GetWeighOut(), 1)
	assert.Equal(t, 30.0, m.GetWeighOut()[0].GetMassGrams())
	require.Len(t, m.GetBalance(), 1)
	b := m.GetBalance()[0]
	assert.Equal(t, b.GetInMoles(), b.GetProductMoles()+b.GetOffGasMoles()+b.GetLeftOverMoles())

	require.Len(t, m.GetStages(), 2)
	assert.Equal(t, "pot-furnace", m.GetStages()[0].GetFurnace())
	assert.Equal(t, 7.0, m.GetStages()[0].GetEnergyKilowattHours())
	assert.Equal(t, saggarv1.Watch_WATCH_IN_ROOM, m.GetStages()[0].GetPhases()[0].GetWatch())
	assert.Equal(t, int32(240), m.GetStages()[0].GetPhases()[0].GetDurationMinutes())
	assert.Empty(t, m.GetStages()[1].GetFurnace(), "a stage that no furnace can do is shown without one")
}

func TestAirOfAStage(t *testing.T) {
	rooms := AssessmentToProto(assessment()).GetAir()
	require.Len(t, rooms, 1, "a stage without off-gas has no air")
	assert.Equal(t, "annex", rooms[0].GetRoom())
	assert.Equal(t, "reduce", rooms[0].GetStage())
	assert.Equal(t, 0.4, rooms[0].GetFlowCubicMetersPerSecond())
	assert.Equal(t, 0.75, rooms[0].GetMixtureRatio())
	gas := rooms[0].GetSpecies()[0]
	assert.Equal(t, []float64{3, 12, 2, 1}, []float64{
		gas.GetPeakPpm(), gas.GetPeakMinute(), gas.GetMax_15MinutePpm(), gas.GetMax_8HourPpm(),
	})
	require.NotNil(t, gas.ReentryMinute)
	assert.Equal(t, 95.0, gas.GetReentryMinute())
	limit := gas.GetLimits()[0]
	assert.Equal(t, saggarv1.Severity_SEVERITY_BLOCK, limit.GetSeverity())
	assert.Equal(t, []any{"NIOSH", "STEL", 15.0, 5.0, 0.4, "a table"}, []any{
		limit.GetAuthority(), limit.GetKind(), limit.GetAveragingMinutes(), limit.GetLimitPpm(), limit.GetRatio(), limit.GetSource(),
	})
}
