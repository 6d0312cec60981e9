package rpc

import (
	"slices"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// riskSuffix is behind a run's name in that of its risk assessment.
const riskSuffix = "/riskAssessment"

func riskAssessmentToProto(r domain.RiskAssessment) *saggarv1.RiskAssessment {
	m := &saggarv1.RiskAssessment{
		Name: convert.Name(r.StudioID, kindRuns, r.Run.ID) + riskSuffix, Title: r.Title, TimeZone: r.Zone.String(),
		AsOfTime: instant(r.AsOf), Revision: int32(r.Revision), Run: runToProto(r.StudioID, r.Run),
		Recipe:     convert.RecipeToProto(r.StudioID, r.Assessment.Charge.Recipe),
		Assessment: convert.AssessmentToProto(r.Assessment), Missing: r.Missing, Beside: r.Beside,
	}
	for _, f := range r.Furnaces {
		m.Furnaces = append(m.Furnaces, convert.FurnaceToProto(r.StudioID, f))
	}
	for _, room := range r.Rooms {
		m.Rooms = append(m.Rooms, convert.RoomToProto(r.StudioID, room.Room))
		m.Watches = append(m.Watches, dayRoomToProto(room))
	}
	for _, c := range r.Circuits {
		m.ExtractionCircuits = append(m.ExtractionCircuits, convert.CircuitToProto(r.StudioID, c))
	}
	addAcknowledgements(m, r)
	return m
}

// addAcknowledgements adds what was accepted, and what warns or refuses now without.
func addAcknowledgements(m *saggarv1.RiskAssessment, r domain.RiskAssessment) {
	var standing []string
	for _, f := range r.Assessment.Findings {
		if f.Severity != finding.Note {
			standing = append(standing, f.Code)
		}
	}
	slices.Sort(standing)
	for _, code := range slices.Compact(slices.Sorted(slices.Values(r.Run.Acknowledged))) {
		m.Acknowledgements = append(m.Acknowledgements, &saggarv1.Acknowledgement{
			Code: code, Caller: r.AcknowledgedBy, AcknowledgeTime: instant(r.AcknowledgedAt), Stands: slices.Contains(standing, code),
		})
	}
	for _, code := range slices.Compact(standing) {
		if !slices.Contains(r.Run.Acknowledged, code) {
			m.OpenFindingCodes = append(m.OpenFindingCodes, code)
		}
	}
}
