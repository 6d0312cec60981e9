package rpc

import (
	"context"

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
