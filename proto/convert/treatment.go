package convert

import (
	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/reaction"
	saggarv1 "saggar/proto/saggar/v1"
)

// addTreatment adds what one stage does on its furnace; bench work does nothing of it.
func addTreatment(m *saggarv1.CheckRecipeResponse, stage string, t assess.Treatment) {
	if len(t.Heat.Profile) > 0 {
		m.Heat = append(m.Heat, stageHeatToProto(stage, t))
	}
	for _, c := range t.Conversions {
		m.Conversions = append(m.Conversions, conversionToProto(stage, c))
	}
	if t.Atmosphere != nil {
		m.Atmospheres = append(m.Atmospheres, atmosphereToProto(stage, *t.Atmosphere))
	}
	m.Releases = append(m.Releases, releasesToProto(stage, chem.Cautious, t.Cautious)...)
	m.Releases = append(m.Releases, releasesToProto(stage, chem.Likely, t.Likely)...)
}

func stageHeatToProto(stage string, t assess.Treatment) *saggarv1.StageHeat {
	m := &saggarv1.StageHeat{
		Stage: stage, Furnace: t.Furnace.ID, EnergyKilowattHours: t.Heat.EnergyKilowattHours,
		ChargeKilowattHours: t.Heat.ChargeKilowattHours, WallLossKilowattHours: t.Heat.WallLossKilowattHours,
		StoredKilowattHours: t.Heat.StoredKilowattHours, InputKilowattHours: t.Heat.InputKilowattHours,
		PeakKilowatts: t.Heat.PeakKilowatts,
	}
	for _, point := range t.Profile() {
		m.Profile = append(m.Profile, &saggarv1.TemperaturePoint{Minute: point.Minute, Celsius: point.Celsius})
	}
	return m
}

func conversionToProto(stage string, c reaction.Conversion) *saggarv1.StageConversion {
	m := &saggarv1.StageConversion{
		Stage: stage, Reaction: c.Reaction.Name, Equation: c.Reaction.Equation, Moles: c.Moles, Source: c.Reaction.Source,
	}
	if r := c.Result; r != nil {
		m.Conversion, m.CoreConversion, m.Source = &r.Conversion, r.CoreConversion, r.Source
		if r.CoreConversion != nil {
			m.MinutesTo_99Percent = r.MinutesTo99Percent
		}
	}
	return m
}

func atmosphereToProto(stage string, a assess.Atmosphere) *saggarv1.StageAtmosphere {
	m := &saggarv1.StageAtmosphere{
		Stage: stage, Celsius: a.Celsius, Log10OxygenBar: a.Judged.Log10OxygenBar, Reducing: a.Judged.Reducing,
		Verdict: a.Judged.Verdict, CarbonMonoxidePerCarbonDioxide: a.Mixture.CarbonMonoxidePerCarbonDioxide,
	}
	for _, s := range a.Mixture.Species {
		m.Species = append(m.Species, &saggarv1.EquilibriumSpecies{
			Species: s.Species, Phase: s.Phase, Moles: s.Moles, MoleFraction: s.MoleFraction,
		})
	}
	return m
}

func releasesToProto(stage string, of chem.Case, releases []air.Release) []*saggarv1.StageRelease {
	var messages []*saggarv1.StageRelease
	for _, r := range releases {
		messages = append(messages, &saggarv1.StageRelease{
			Stage: stage, Case: offGasCases.toProto(of), Species: r.Species, StartMinute: r.StartMinute, EndMinute: r.EndMinute,
			GramsPerMinute: r.GramsPerMinute,
		})
	}
	return messages
}

func nearAirToProto(stage assess.StageAssessment) *saggarv1.NearAir {
	m := &saggarv1.NearAir{Stage: stage.Stage, Furnace: stage.Treatment.Furnace.ID}
	m.Species = NearSpeciesToProto(stage.Air.Near.Species)
	return m
}

// NearSpeciesToProto converts what people breathe at an open furnace, with the protection that is asked for.
func NearSpeciesToProto(list []air.NearSpecies) (messages []*saggarv1.NearSpecies) {
	for _, s := range list {
		species := &saggarv1.NearSpecies{
			Species: s.Species, PeakPpm: s.PeakPPM, Max_15MinutePpm: s.Max15MinutePPM, Ratio: s.Ratio,
		}
		for _, c := range s.Protection {
			species.Protection = append(species.Protection, ProtectionClassToProto(c))
		}
		messages = append(messages, species)
	}
	return messages
}

func fanFailureToProto(stage assess.StageAssessment) *saggarv1.FanFailure {
	m := &saggarv1.FanFailure{Stage: stage.Stage, Room: stage.Air.Room, FailureMinute: stage.Air.Failure.AtMinute}
	m.Passed = PassedLimitsToProto(stage.Air.Failure.Limits)
	return m
}

// PassedLimitsToProto converts the limits that are passed after a fan has stopped.
func PassedLimitsToProto(list []air.PassedLimit) (messages []*saggarv1.PassedLimit) {
	for _, p := range list {
		messages = append(messages, &saggarv1.PassedLimit{
			Species: p.Species, Authority: p.Authority, Kind: string(p.Kind), LimitPpm: p.PPM, AfterMinutes: p.AfterMinutes,
			Refuses: p.Severity == finding.Block,
		})
	}
	return messages
}

// ProtectionClassToProto converts a class of respirator against one concentration.
func ProtectionClassToProto(c air.ProtectionClass) *saggarv1.ProtectionClass {
	return &saggarv1.ProtectionClass{
		Class: c.Class, AssignedProtectionFactor: c.AssignedProtectionFactor, MaximumUsePpm: c.MaximumUsePPM,
		NeedsGoggles: c.NeedsGoggles, Enough: c.Enough, Reason: c.Reason, Source: c.Source,
	}
}
