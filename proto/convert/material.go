package convert

import (
	"saggar/chem"
	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
)

// MaterialFromProto converts a material.
func MaterialFromProto(m *saggarv1.Material) chem.Material {
	material := chem.Material{
		ID: ID(m.GetName()), Version: int(m.GetVersion()), Title: m.GetTitle(),
		LossOnIgnitionFraction: m.GetLossOnIgnitionFraction(), MoistureFraction: m.GetMoistureFraction(),
		PurityFraction: m.GetPurityFraction(), Source: m.GetSource(),
	}
	for _, p := range m.GetPhases() {
		material.Phases = append(material.Phases, chem.Phase{Formula: p.GetFormula(), MassFraction: p.GetMassFraction()})
	}
	for _, o := range m.GetOxides() {
		material.Oxides = append(material.Oxides, chem.Oxide{Formula: o.GetFormula(), MassFraction: o.GetMassFraction()})
	}
	for _, h := range m.GetHazards() {
		material.Hazards = append(material.Hazards, hazards.fromProto(h))
	}
	return material
}

// MaterialToProto converts a material of a studio.
func MaterialToProto(studio string, m chem.Material) *saggarv1.Material {
	message := &saggarv1.Material{
		Name: Name(studio, "materials", m.ID), Version: int32(m.Version), Title: m.Title,
		LossOnIgnitionFraction: m.LossOnIgnitionFraction, MoistureFraction: m.MoistureFraction,
		PurityFraction: m.PurityFraction, Source: m.Source,
	}
	for _, p := range m.Phases {
		message.Phases = append(message.Phases, &saggarv1.Phase{Formula: p.Formula, MassFraction: p.MassFraction})
	}
	for _, o := range m.Oxides {
		message.Oxides = append(message.Oxides, &saggarv1.Oxide{Formula: o.Formula, MassFraction: o.MassFraction})
	}
	for _, h := range m.Hazards {
		message.Hazards = append(message.Hazards, hazards.toProto(h))
	}
	return message
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
