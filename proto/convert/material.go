package convert

import (
	"cmp"

	"saggar/chem"
	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
)

// MaterialFromProto converts a material.
func MaterialFromProto(m *saggarv1.Material) chem.Material {
	material := chem.Material{
		ID: ID(m.GetName()), Version: int(m.GetVersion()), Title: m.GetTitle(), Phases: phasesFromProto(m.GetPhases()),
		Oxides: oxidesFromProto(m.GetOxides()), LossOnIgnitionFraction: m.GetLossOnIgnitionFraction(),
		LossOnIgnitionWaterFraction:         m.GetLossOnIgnitionWaterFraction(),
		LossOnIgnitionCarbonDioxideFraction: m.GetLossOnIgnitionCarbonDioxideFraction(),
		LossOnIgnitionOrganicFraction:       m.GetLossOnIgnitionOrganicFraction(),
		MoistureFraction:                    m.GetMoistureFraction(), PurityFraction: m.GetPurityFraction(), Source: m.GetSource(),
		Hazards: hazardsFromProto(m.GetHazards()),
	}
	for _, p := range m.GetParts() {
		material.Parts = append(material.Parts, chem.MixturePart{Material: p.GetMaterial(), MassFraction: p.GetMassFraction()})
	}
	return material
}

// MaterialToProto converts a material of a studio.
func MaterialToProto(studio string, m chem.Material) *saggarv1.Material {
	message := &saggarv1.Material{
		Name: Name(studio, "materials", m.ID), Version: int32(m.Version), Title: m.Title, Phases: phasesToProto(m.Phases),
		Oxides: oxidesToProto(m.Oxides), LossOnIgnitionFraction: m.LossOnIgnitionFraction,
		LossOnIgnitionWaterFraction:         m.LossOnIgnitionWaterFraction,
		LossOnIgnitionCarbonDioxideFraction: m.LossOnIgnitionCarbonDioxideFraction,
		LossOnIgnitionOrganicFraction:       m.LossOnIgnitionOrganicFraction, MoistureFraction: m.MoistureFraction,
		PurityFraction: m.PurityFraction, Source: m.Source, Hazards: hazardsToProto(m.Hazards),
	}
	for _, p := range m.Parts {
		message.Parts = append(message.Parts, &saggarv1.MixturePart{Material: p.Material, MassFraction: p.MassFraction})
	}
	return message
}

// StartFromProto converts where a request's recipe starts; nil when it gives no lot.
func StartFromProto(m *saggarv1.CheckRecipeRequest) *chem.Start {
	if m.GetFromLot() == nil {
		return nil
	}
	return &chem.Start{Stage: m.GetStartStage(), Lot: LotFromProto(m.GetFromLot())}
}

// LotFromProto converts what a lot is: what is said of one that is kept besides is left out.
func LotFromProto(m *saggarv1.Lot) chem.Lot {
	return chem.Lot{
		ID: cmp.Or(m.GetId(), ID(m.GetName())), Material: m.GetMaterial(), MassGrams: m.GetMassGrams(), MadeOn: m.GetMadeOn(), Owner: m.GetOwner(),
		FromRun: m.GetFromRun(), FromStage: m.GetFromStage(), Phases: phasesFromProto(m.GetPhases()),
		Oxides: oxidesFromProto(m.GetOxides()), LossOnIgnitionFraction: m.GetLossOnIgnitionFraction(),
		LossOnIgnitionWaterFraction:         m.GetLossOnIgnitionWaterFraction(),
		LossOnIgnitionCarbonDioxideFraction: m.GetLossOnIgnitionCarbonDioxideFraction(),
		LossOnIgnitionOrganicFraction:       m.GetLossOnIgnitionOrganicFraction(), MoistureFraction: m.MoistureFraction,
		PurityFraction: m.GetPurityFraction(), Hazards: hazardsFromProto(m.GetHazards()),
	}
}

// LotToProto converts what a lot is.
func LotToProto(l chem.Lot) *saggarv1.Lot {
	return &saggarv1.Lot{
		Id: l.ID, Material: l.Material, MassGrams: l.MassGrams, MadeOn: l.MadeOn, Owner: l.Owner, FromRun: l.FromRun,
		FromStage: l.FromStage, Phases: phasesToProto(l.Phases), Oxides: oxidesToProto(l.Oxides),
		LossOnIgnitionFraction: l.LossOnIgnitionFraction, LossOnIgnitionWaterFraction: l.LossOnIgnitionWaterFraction,
		LossOnIgnitionCarbonDioxideFraction: l.LossOnIgnitionCarbonDioxideFraction,
		LossOnIgnitionOrganicFraction:       l.LossOnIgnitionOrganicFraction, MoistureFraction: l.MoistureFraction,
		PurityFraction: l.PurityFraction, Hazards: hazardsToProto(l.Hazards),
	}
}

func phasesFromProto(messages []*saggarv1.Phase) (phases []chem.Phase) {
	for _, p := range messages {
		phases = append(phases, chem.Phase{Formula: p.GetFormula(), MassFraction: p.GetMassFraction()})
	}
	return phases
}

func phasesToProto(phases []chem.Phase) (messages []*saggarv1.Phase) {
	for _, p := range phases {
		messages = append(messages, &saggarv1.Phase{Formula: p.Formula, MassFraction: p.MassFraction})
	}
	return messages
}

func oxidesFromProto(messages []*saggarv1.Oxide) (oxides []chem.Oxide) {
	for _, o := range messages {
		oxides = append(oxides, chem.Oxide{Formula: o.GetFormula(), MassFraction: o.GetMassFraction()})
	}
	return oxides
}

func oxidesToProto(oxides []chem.Oxide) (messages []*saggarv1.Oxide) {
	for _, o := range oxides {
		messages = append(messages, &saggarv1.Oxide{Formula: o.Formula, MassFraction: o.MassFraction})
	}
	return messages
}

func hazardsFromProto(messages []saggarv1.Hazard) (list []chem.Hazard) {
	for _, h := range messages {
		list = append(list, hazards.fromProto(h))
	}
	return list
}

func hazardsToProto(list []chem.Hazard) (messages []saggarv1.Hazard) {
	for _, h := range list {
		messages = append(messages, hazards.toProto(h))
	}
	return messages
}

// FindingToProto converts a finding.
func FindingToProto(f finding.Finding) *saggarv1.Finding {
	m := &saggarv1.Finding{
		Severity: severities.toProto(f.Severity), Code: f.Code, Field: f.Field, About: f.About, Message: f.Message,
		Cure: f.Cure, Source: f.Source,
	}
	for _, g := range f.Figures {
		m.Figures = append(m.Figures, &saggarv1.Figure{Name: g.Name, Value: g.Value, Unit: g.Unit})
	}
	return m
}

// FindingsToProto converts findings in their order.
func FindingsToProto(findings []finding.Finding) []*saggarv1.Finding {
	messages := make([]*saggarv1.Finding, 0, len(findings))
	for _, f := range findings {
		messages = append(messages, FindingToProto(f))
	}
	return messages
}

// FindingFromProto converts a finding.
func FindingFromProto(m *saggarv1.Finding) finding.Finding {
	f := finding.Finding{
		Severity: severities.fromProto(m.GetSeverity()), Code: m.GetCode(), Field: m.GetField(), About: m.GetAbout(),
		Message: m.GetMessage(), Cure: m.GetCure(), Source: m.GetSource(),
	}
	for _, g := range m.GetFigures() {
		f.Figures = append(f.Figures, finding.Figure{Name: g.GetName(), Value: g.GetValue(), Unit: g.GetUnit()})
	}
	return f
}
