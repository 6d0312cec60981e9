package convert

import (
	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/heat"
	saggarv1 "saggar/proto/saggar/v1"
)

// Caution goes with every answer that holds figures.
const Caution = chem.Caution

// AssessmentToProto converts what a recipe does. Off-gas is added up by stage, case and gas.
func AssessmentToProto(a assess.Assessment) *saggarv1.CheckRecipeResponse {
	balance := a.Charge.Balance
	m := &saggarv1.CheckRecipeResponse{
		Findings: FindingsToProto(a.Findings), LimitingElement: balance.LimitingElement,
		IdealProductGrams: balance.IdealProductGrams, Assumptions: a.Assumptions, Caution: a.Caution,
	}
	for _, stage := range balance.Stages {
		m.WeighOut = append(m.WeighOut, WeighedToProto(stage.WeighOut)...)
		m.Balance = append(m.Balance, balanceLines(stage)...)
		m.OffGas = append(m.OffGas, offGasLines(stage)...)
	}
	for i, stage := range a.Stages {
		times := stageTimesToProto(stage)
		if i < len(balance.Stages) {
			times.MassInGrams, times.MassOutGrams = balance.Stages[i].MassInGrams, balance.Stages[i].MassOutGrams
		}
		m.Stages = append(m.Stages, times)
		if stage.Treatment != nil {
			addTreatment(m, stage.Stage, *stage.Treatment)
		}
		if stage.Air != nil {
			m.Air = append(m.Air, roomAirToProto(stage.Stage, *stage.Air))
		}
		if stage.Air != nil && len(stage.Air.Near.Species) > 0 {
			m.Near = append(m.Near, nearAirToProto(stage))
		}
		if stage.Air != nil && stage.Air.Failure.Caution != "" {
			m.FanFailures = append(m.FanFailures, fanFailureToProto(stage))
		}
	}
	return m
}

// WeighedToProto converts what is to be weighed out.
func WeighedToProto(list []chem.WeighedMaterial) (messages []*saggarv1.WeighedMaterial) {
	for _, w := range list {
		messages = append(messages, &saggarv1.WeighedMaterial{Material: w.Material, MassGrams: w.MassGrams, Stage: w.Stage})
	}
	return messages
}

// balanceLines are a stage's elements, with the atom ratios where it forms a product.
func balanceLines(stage chem.StageBalance) []*saggarv1.BalanceLine {
	lines := make([]*saggarv1.BalanceLine, 0, len(stage.Elements))
	for _, e := range stage.Elements {
		lines = append(lines, &saggarv1.BalanceLine{
			Stage: stage.Stage, Element: e.Element, InMoles: e.InMoles, ProductMoles: e.ProductMoles,
			OffGasMoles: e.OffGasMoles, LeftOverMoles: e.LeftOverMoles,
		})
	}
	for i, ratio := range stage.AtomRatios() {
		lines[i].AtomRatio, lines[i].IdealAtomRatio = &ratio.Charged, &ratio.Ideal
	}
	return lines
}

// offGasLines adds up what leaves a stage by case and gas: it comes from several materials over several ranges.
func offGasLines(stage chem.StageBalance) []*saggarv1.OffGasLine {
	type key struct {
		when    chem.Case
		species string
	}
	var lines []*saggarv1.OffGasLine
	place := map[key]*saggarv1.OffGasLine{}
	for _, gas := range stage.OffGas {
		at := key{gas.Case, gas.Species}
		if place[at] == nil {
			place[at] = &saggarv1.OffGasLine{Stage: stage.Stage, Case: offGasCases.toProto(gas.Case), Species: gas.Species}
			lines = append(lines, place[at])
		}
		place[at].Moles += gas.Moles
		place[at].MassGrams += gas.MassGrams
	}
	return lines
}

func stageTimesToProto(stage assess.StageAssessment) *saggarv1.StageTimes {
	m := &saggarv1.StageTimes{Stage: stage.Stage}
	if stage.Treatment == nil {
		return m
	}
	m.Furnace, m.EnergyKilowattHours = stage.Treatment.Furnace.ID, stage.Treatment.Heat.EnergyKilowattHours
	for _, phase := range stage.Treatment.Phases {
		m.Phases = append(m.Phases, phaseTimeToProto(phase))
	}
	return m
}

func phaseTimeToProto(p heat.Phase) *saggarv1.PhaseTime {
	return &saggarv1.PhaseTime{Phase: PhaseKindToProto(p.Kind), DurationMinutes: int32(p.Minutes), Watch: WatchToProto(p.Watch)}
}

func roomAirToProto(stage string, r assess.RoomAir) *saggarv1.RoomAir {
	m := &saggarv1.RoomAir{
		Stage: stage, Room: r.Room, FlowCubicMetersPerSecond: r.FlowCubicMetersPerSecond, MixtureRatio: r.MixtureRatio,
	}
	for _, s := range r.Species {
		species := speciesAirToProto(s)
		for _, point := range r.Series {
			if point.Species == s.Species {
				species.Series = append(species.Series, &saggarv1.ConcentrationPoint{Minute: point.Minute, Ppm: point.PPM})
			}
		}
		m.Species = append(m.Species, species)
	}
	return m
}

func speciesAirToProto(s air.SpeciesAssessment) *saggarv1.SpeciesAir {
	m := &saggarv1.SpeciesAir{
		Species: s.Species, PeakPpm: s.PeakPPM, PeakMinute: s.PeakMinute, Max_15MinutePpm: s.Max15MinutePPM,
		Max_8HourPpm: s.Max8HourPPM, ReentryMinute: s.ReentryMinute,
		FlowNeededCubicMetersPerSecond: s.FlowNeeded,
	}
	for _, l := range s.Limits {
		m.Limits = append(m.Limits, &saggarv1.LimitRatio{
			Authority: l.Authority, Kind: string(l.Kind), AveragingMinutes: l.AveragingMinutes, LimitPpm: l.PPM,
			Ratio: l.Ratio, Severity: SeverityToProto(l.Severity), Source: l.Source,
		})
	}
	return m
}
