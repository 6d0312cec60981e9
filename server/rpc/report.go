package rpc

import (
	"context"
	"strings"

	"google.golang.org/protobuf/proto"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
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

// GetReport adds up how furnaces were used over a window.
func (s *reportService) GetReport(ctx context.Context, req *saggarv1.GetReportRequest) (*saggarv1.Report, error) {
	window, err := windowFrom(req.GetStartTime(), req.GetEndTime())
	if err != nil {
		return nil, err
	}
	var faults finding.Faults
	wholeMinute(&faults, "start_time", window.Start)
	wholeMinute(&faults, "end_time", window.End)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	q := app.ReportQuery{StudioID: studioIn(req.GetName()), Window: window}
	for _, d := range req.GetGroupBy() {
		q.GroupBy = append(q.GroupBy, reportDimensions[d])
	}
	report, err := s.app.GetReport(ctx, q)
	if err != nil {
		return nil, err
	}
	m := &saggarv1.Report{
		Name: req.GetName(), TimeZone: report.Zone.String(), StartTime: req.GetStartTime(), EndTime: req.GetEndTime(),
		GroupBy: req.GetGroupBy(), Total: reportRowToProto(report.Total), Assumptions: report.Assumptions,
	}
	for _, row := range report.Rows {
		m.Rows = append(m.Rows, reportRowToProto(row))
	}
	return m, nil
}

var reportDimensions = map[saggarv1.ReportDimension]domain.ReportDimension{
	saggarv1.ReportDimension_REPORT_DIMENSION_DEPARTMENT: domain.ByDepartment,
	saggarv1.ReportDimension_REPORT_DIMENSION_FURNACE:    domain.ByFurnace,
	saggarv1.ReportDimension_REPORT_DIMENSION_MONTH:      domain.ByMonth,
	saggarv1.ReportDimension_REPORT_DIMENSION_MAKER:      domain.ByMaker,
}

func reportRowToProto(r domain.ReportRow) *saggarv1.ReportRow {
	hours := func(minutes int) float64 { return float64(minutes) / 60 }
	m := &saggarv1.ReportRow{
		Department: r.Department, Maker: r.Maker, Furnace: r.Furnace, Month: r.Month, FiringCount: int32(r.FiringCount),
		HeldHours: hours(r.HeldMinutes), HeldStaffedHours: hours(r.HeldStaffedMinutes), AllHours: hours(r.AllMinutes),
		StaffedHours: hours(r.StaffedMinutes), EnergyKilowattHours: r.EnergyKilowattHours, UnknownEnergyCount: int32(r.UnknownEnergyCount),
		InRoomPersonHours: hours(r.InRoomMinutes), InReachPersonHours: hours(r.InReachMinutes), MissedHours: hours(r.MissedMinutes),
		CancelledHours: hours(r.CancelledMinutes),
	}
	if r.AllMinutes > 0 {
		m.HeldFraction = proto.Float64(hours(r.HeldMinutes) / hours(r.AllMinutes))
	}
	if r.StaffedMinutes > 0 {
		m.HeldStaffedFraction = proto.Float64(hours(r.HeldStaffedMinutes) / hours(r.StaffedMinutes))
	}
	if r.Priced {
		m.Cost = proto.Float64(r.Cost)
	}
	return m
}
