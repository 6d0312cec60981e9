package convert

import (
	"saggar/chem"
	"saggar/chem/heat"
	saggarv1 "saggar/proto/saggar/v1"
)

// ProgramFromProto converts a heat program; nil stays nil, an unset cooling means closed.
func ProgramFromProto(m *saggarv1.HeatProgram) *heat.Program {
	if m == nil {
		return nil
	}
	p := &heat.Program{Cooling: coolings.fromProto(m.GetCooling())}
	for _, s := range m.GetSegments() {
		p.Segments = append(p.Segments, heat.Segment{
			ToCelsius: s.GetToCelsius(), RateCelsiusPerHour: s.GetRateCelsiusPerHour(), HoldMinutes: s.GetHoldMinutes(),
		})
	}
	return p
}

// ProgramToProto converts a heat program; nil stays nil.
func ProgramToProto(p *heat.Program) *saggarv1.HeatProgram {
	if p == nil {
		return nil
	}
	m := &saggarv1.HeatProgram{Cooling: coolings.toProto(p.Cooling)}
	for _, s := range p.Segments {
		m.Segments = append(m.Segments, &saggarv1.Segment{
			ToCelsius: s.ToCelsius, RateCelsiusPerHour: s.RateCelsiusPerHour, HoldMinutes: s.HoldMinutes,
		})
	}
	return m
}

// RecipeFromProto converts a recipe.
func RecipeFromProto(m *saggarv1.Recipe) chem.Recipe {
	r := chem.Recipe{ID: ID(m.GetName()), Version: int(m.GetVersion()), Title: m.GetTitle()}
	for _, s := range m.GetStages() {
		r.Stages = append(r.Stages, stageFromProto(s))
	}
	for _, l := range m.GetLags() {
		r.Lags = append(r.Lags, chem.Lag{
			FromStage: l.GetFromStage(), ToStage: l.GetToStage(), MinMinutes: int(l.GetMinMinutes()), MaxMinutes: int(l.GetMaxMinutes()),
		})
	}
	return r
}

// RecipeToProto converts a recipe of a studio.
func RecipeToProto(studio string, r chem.Recipe) *saggarv1.Recipe {
	m := &saggarv1.Recipe{Name: Name(studio, "recipes", r.ID), Version: int32(r.Version), Title: r.Title}
	for _, s := range r.Stages {
		m.Stages = append(m.Stages, stageToProto(s))
	}
	for _, l := range r.Lags {
		m.Lags = append(m.Lags, &saggarv1.Lag{
			FromStage: l.FromStage, ToStage: l.ToStage, MinMinutes: int32(l.MinMinutes), MaxMinutes: int32(l.MaxMinutes),
		})
	}
	return m
}

// stageFromProto converts a stage. Only a heat treatment has an atmosphere and a lid, which unset mean oxidising and open.
func stageFromProto(m *saggarv1.Stage) chem.Stage {
	s := chem.Stage{
		ID: m.GetId(), Title: m.GetTitle(), Kind: stageKinds.fromProto(m.GetKind()), Program: ProgramFromProto(m.GetProgram()),
		BenchMinutes: int(m.GetBenchMinutes()), ChargeAtCelsius: m.GetChargeAtCelsius(),
		OpenBelowCelsius: m.GetOpenBelowCelsius(), BedDepthMillimeters: m.GetBedDepthMillimeters(),
		TampedDensityGramsPerMilliliter: m.GetTampedDensityGramsPerMilliliter(), ChargeMinutes: int(m.GetChargeMinutes()),
		DrawMinutes: int(m.GetDrawMinutes()), MaxWaitMinutes: int(m.GetMaxWaitMinutes()),
		FireWatch: watches.fromProto(m.GetFireWatch()), Product: m.GetProduct(), Furnaces: m.GetFurnaces(),
		MaxIntermediateAgeDays: int(m.GetMaxIntermediateAgeDays()),
		WareGrams:              m.GetWareGrams(), Atmosphere: atmospheres.fromProto(m.GetAtmosphere()), Lid: lids.fromProto(m.GetLid()),
		Vessel: chem.Vessel{Kind: vesselKinds.fromProto(m.GetVessel().GetKind()), TopCelsius: m.GetVessel().GetTopCelsius()},
	}
	for _, a := range m.GetAdditions() {
		s.Additions = append(s.Additions, chem.Addition{
			Material: a.GetMaterial(), MassGrams: a.GetMassGrams(), FractionOfIntermediate: a.GetFractionOfIntermediate(),
			FedHot: a.GetFedHot(),
		})
	}
	for _, r := range m.GetMeasuredReleases() {
		s.MeasuredReleases = append(s.MeasuredReleases, chem.MeasuredRelease{
			Species: r.GetSpecies(), MassGrams: r.GetMassGrams(), MeasuredBy: r.GetMeasuredBy(), MeasuredOn: r.GetMeasuredOn(),
		})
	}
	return s
}

func stageToProto(s chem.Stage) *saggarv1.Stage {
	m := &saggarv1.Stage{
		Id: s.ID, Title: s.Title, Kind: stageKinds.toProto(s.Kind), Program: ProgramToProto(s.Program),
		BenchMinutes: int32(s.BenchMinutes), ChargeAtCelsius: s.ChargeAtCelsius, OpenBelowCelsius: s.OpenBelowCelsius,
		BedDepthMillimeters: s.BedDepthMillimeters, TampedDensityGramsPerMilliliter: s.TampedDensityGramsPerMilliliter,
		ChargeMinutes: int32(s.ChargeMinutes), DrawMinutes: int32(s.DrawMinutes), MaxWaitMinutes: int32(s.MaxWaitMinutes),
		FireWatch: watches.toProto(s.FireWatch), Product: s.Product, Furnaces: s.Furnaces, WareGrams: s.WareGrams,
		MaxIntermediateAgeDays: int32(s.MaxIntermediateAgeDays),
		Atmosphere:             atmospheres.toProto(s.Atmosphere), Lid: lids.toProto(s.Lid),
	}
	if s.Vessel != (chem.Vessel{}) {
		m.Vessel = &saggarv1.Vessel{Kind: vesselKinds.toProto(s.Vessel.Kind), TopCelsius: s.Vessel.TopCelsius}
	}
	for _, a := range s.Additions {
		m.Additions = append(m.Additions, &saggarv1.Addition{
			Material: a.Material, MassGrams: a.MassGrams, FractionOfIntermediate: a.FractionOfIntermediate, FedHot: a.FedHot,
		})
	}
	for _, r := range s.MeasuredReleases {
		m.MeasuredReleases = append(m.MeasuredReleases, &saggarv1.MeasuredRelease{
			Species: r.Species, MassGrams: r.MassGrams, MeasuredBy: r.MeasuredBy, MeasuredOn: r.MeasuredOn,
		})
	}
	return m
}

// ScaleFromProto converts a scale; nil means the recipe's own masses.
func ScaleFromProto(m *saggarv1.Scale) chem.Scale {
	return chem.Scale{
		Factor: m.GetFactor(), ProductGrams: m.GetProductGrams(), CrucibleCount: int(m.GetCrucibleCount()),
		CrucibleMilliliters: m.GetCrucibleMilliliters(), CrucibleFillFraction: m.GetCrucibleFillFraction(),
		CrucibleStage: m.GetCrucibleStage(),
	}
}

// ScaleToProto converts a scale; the recipe's own masses are nil.
func ScaleToProto(s chem.Scale) *saggarv1.Scale {
	if s == (chem.Scale{}) {
		return nil
	}
	return &saggarv1.Scale{
		Factor: s.Factor, ProductGrams: s.ProductGrams, CrucibleCount: int32(s.CrucibleCount),
		CrucibleMilliliters: s.CrucibleMilliliters, CrucibleFillFraction: s.CrucibleFillFraction, CrucibleStage: s.CrucibleStage,
	}
}
