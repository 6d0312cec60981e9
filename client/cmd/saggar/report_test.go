package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/proto"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestTheReport(t *testing.T) {
	f := newFakeServer(t)
	row := &saggarv1.ReportRow{
		Department: "ceramics", Month: "2027-03", FiringCount: 3, HeldHours: 81.5, HeldStaffedHours: 30.25, AllHours: 743, StaffedHours: 299,
		HeldFraction: proto.Float64(81.5 / 743), HeldStaffedFraction: proto.Float64(30.25 / 299), EnergyKilowattHours: 212.7,
		InRoomPersonHours: 2.5, InReachPersonHours: 12, MissedHours: 1, CancelledHours: 4.5, Cost: proto.Float64(51.048),
	}
	f.answer("GetReport", &saggarv1.Report{
		Name: "studios/marl-lane/report", TimeZone: "Europe/Lisbon", StartTime: instant("2027-03-01T00:00:00Z"), EndTime: instant("2027-03-31T23:00:00Z"),
		Rows:  []*saggarv1.ReportRow{row, {Department: "=sum(A1)", Month: "2027-03"}},
		Total: &saggarv1.ReportRow{FiringCount: 3, HeldHours: 81.5, UnknownEnergyCount: 2}, Assumptions: []string{"closures take no hours away"},
	})
	golden(t, "report.table.golden", f.succeed("report", "--from", "2027-03-01", "--by", "department,month"))
	assertSame(t, &saggarv1.GetReportRequest{
		Name: "studios/marl-lane/report", StartTime: instant("2027-03-01T00:00:00Z"), EndTime: instant("2027-03-31T23:00:00Z"),
		GroupBy: []saggarv1.ReportDimension{saggarv1.ReportDimension_REPORT_DIMENSION_DEPARTMENT, saggarv1.ReportDimension_REPORT_DIMENSION_MONTH},
	}, asked[*saggarv1.GetReportRequest](f))
	golden(t, "report.csv.golden", f.succeed("report", "--from", "2027-03-01", "--by", "department,month", "--output", "csv"))
	assert.Contains(t, f.succeed("report", "--output", "json"), `"cost": 51.048`)
	assert.Contains(t, f.succeed("report", "--output", "json"), `"cost": null`, "no price is not a cost of nothing")

	for _, wrong := range [][]string{
		{"report", "--by", "colour"}, {"report", "--by", "month,month"}, {"report", "--from", "march"}, {"report", "--until", "2027-02-30"},
	} {
		r := f.run(wrong...)
		assert.NotZero(t, r.code, "%v", wrong)
		assert.NotEmpty(t, r.errOut, "%v", wrong)
	}
}
