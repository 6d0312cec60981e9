package rpc

import (
	"context"
	"strings"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
)

type reportService struct {
	saggarv1.UnimplementedReportServiceServer
	app *app.App
}

// GetDaySheet puts together what there is to do on one day.
func (s *reportService) GetDaySheet(ctx context.Context, req *saggarv1.GetDaySheetRequest) (*saggarv1.DaySheet, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	sheet, err := s.app.GetDaySheet(ctx, app.DaySheetQuery{StudioID: name.studio, Date: name.id, Room: req.GetRoom()})
	if err != nil {
		return nil, err
	}
	return daySheetToProto(&sheet), nil
}

// GetRiskAssessment works out what a run that stands can do to people.
func (s *reportService) GetRiskAssessment(ctx context.Context, req *saggarv1.GetRiskAssessmentRequest) (*saggarv1.RiskAssessment, error) {
	name, err := parseName("name", strings.TrimSuffix(req.GetName(), riskSuffix))
	if err != nil {
		return nil, err
	}
	assessment, err := s.app.GetRiskAssessment(ctx, name.studio, name.id)
	if err != nil {
		return nil, err
	}
	return riskAssessmentToProto(assessment), nil
}
