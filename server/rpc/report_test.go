package rpc

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// furnishedStudio is the pigment studio with what day sheets and reports ask for besides.
func furnishedStudio() *saggarv1.StudioFile {
	studio := pigmentStudio()
	studio.Rooms[0].EmergencyContact = "duty desk, extension 40"
	studio.Supplies[0].PricePerKilowattHour = 0.25
	for _, f := range studio.Furnaces[:2] {
		f.StopSteps, f.PricePerHour = []string{"Heat off at the wall", "Out of the room"}, 0.5
	}
	return studio
}

func TestTheDaySheetOverTheWire(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, furnishedStudio())
	run := s.book(t, s.plan(t, redRun()))
	client := saggarv1.NewReportServiceClient(s.connection)
	sheet, err := client.GetDaySheet(s.as(t, domain.RoleViewer), &saggarv1.GetDaySheetRequest{Name: north + "/daySheets/2026-03-02"})
	require.NoError(t, err)
	assert.Equal(t, north+"/daySheets/2026-03-02", sheet.GetName())
	assert.NotEmpty(t, sheet.GetCaution())
	require.Len(t, sheet.GetJobs(), 2)
	weigh, calcine := sheet.GetJobs()[0], sheet.GetJobs()[1]
	assert.Equal(t, run.GetName(), weigh.GetRun())
	assert.Equal(t, "max", weigh.GetMaker())
	assert.Equal(t, "max", weigh.GetAttendedBy(), "nobody else is named")
	assert.Equal(t, "pigments", weigh.GetDepartment())
	assert.Equal(t, "calcine", weigh.GetNextStage())
	assert.Nil(t, weigh.GetProgram(), "bench work has none")
	assert.InDelta(t, 400, weigh.GetWeighOut()[0].GetMassGrams(), 1e-9)

	assert.Equal(t, []string{"Heat off at the wall", "Out of the room"}, calcine.GetStopSteps())
	assert.InDelta(t, 250, calcine.GetProgram().GetSegments()[0].GetRateCelsiusPerHour(), 0)
	assert.InDelta(t, 100, calcine.GetOpenBelowCelsius(), 0, "the usual where the stage says nothing")
	assert.Empty(t, calcine.GetNextStage())
	assert.Equal(t, saggarv1.Control_CONTROL_PROGRAMMED, calcine.GetControl())
	assert.Contains(t, calcine.GetMissing(), "the position of the damper of fan/hood is not recorded")
	assert.NotContains(t, calcine.GetMissing(), "no stop steps are recorded for "+calcine.GetFurnace())
	require.Len(t, sheet.GetRooms(), 2)
	assert.Equal(t, "duty desk, extension 40", sheet.GetRooms()[0].GetEmergencyContact())
	for _, task := range sheet.GetTasks() {
		assert.True(t, task.GetStartTime().AsTime().Before(sheet.GetEndTime().AsTime()))
		assert.True(t, task.GetEndTime().AsTime().After(sheet.GetStartTime().AsTime()))
	}
	hall, err := client.GetDaySheet(s.as(t, domain.RoleViewer), &saggarv1.GetDaySheetRequest{
		Name: north + "/daySheets/2026-03-02", Room: "hall",
	})
	require.NoError(t, err)
	require.Len(t, hall.GetJobs(), 1)
	assert.Equal(t, "weigh", hall.GetJobs()[0].GetStage())
}

func TestADaySheetOfWhatIsNone(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	client := saggarv1.NewReportServiceClient(s.connection)
	for _, bad := range []struct {
		request *saggarv1.GetDaySheetRequest
		field   string
	}{
		{&saggarv1.GetDaySheetRequest{Name: north + "/daySheets/2026-02-29"}, "name"},
		{&saggarv1.GetDaySheetRequest{Name: north + "/daySheets/tuesday"}, "name"},
		{&saggarv1.GetDaySheetRequest{Name: north + "/daySheets/9999-01-01"}, "name"},
		{&saggarv1.GetDaySheetRequest{Name: north + "/daySheets/2026-03-02", Room: "cellar"}, "room"},
		{&saggarv1.GetDaySheetRequest{Name: north + "/daySheets/2026-03-02", Room: "Not An Id"}, "room"},
	} {
		_, err := client.GetDaySheet(s.steward(t), bad.request)
		assert.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
		assert.Equal(t, []string{bad.field}, fieldsOf(err), "%v", err)
	}
	_, err := client.GetDaySheet(s.steward(t), &saggarv1.GetDaySheetRequest{Name: "studios/nowhere/daySheets/2026-03-02"})
	assert.Equal(t, codes.NotFound, status.Code(err))
}

func TestWhatStandsOnSheetsIsKeptAndBounded(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, furnishedStudio())
	client := saggarv1.NewEquipmentServiceClient(s.connection)
	furnace, err := client.GetFurnace(s.steward(t), &saggarv1.GetFurnaceRequest{Name: north + "/furnaces/pot"})
	require.NoError(t, err)
	assert.Equal(t, []string{"Heat off at the wall", "Out of the room"}, furnace.GetStopSteps())
	assert.InDelta(t, 0.5, furnace.GetPricePerHour(), 0)
	supply, err := client.GetSupply(s.steward(t), &saggarv1.GetSupplyRequest{Name: north + "/supplies/panel"})
	require.NoError(t, err)
	assert.InDelta(t, 0.25, supply.GetPricePerKilowattHour(), 0)

	furnace.StopSteps = append(furnace.StopSteps, "")
	_, err = client.UpdateFurnace(s.steward(t), &saggarv1.UpdateFurnaceRequest{Furnace: furnace})
	assert.Equal(t, []string{"furnace.stop_steps[2]"}, fieldsOf(err), "%v", err)
	supply.PricePerKilowattHour = -1
	_, err = client.UpdateSupply(s.steward(t), &saggarv1.UpdateSupplyRequest{Supply: supply})
	assert.Equal(t, []string{"supply.price_per_kilowatt_hour"}, fieldsOf(err), "%v", err)
}

func TestTheRiskAssessmentOverTheWire(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, furnishedStudio())
	run := s.book(t, s.plan(t, redRun()))
	client := saggarv1.NewReportServiceClient(s.connection)
	risk, err := client.GetRiskAssessment(s.as(t, domain.RoleViewer), &saggarv1.GetRiskAssessmentRequest{Name: run.GetName() + "/riskAssessment"})
	require.NoError(t, err)
	assert.Equal(t, run.GetName(), risk.GetRun().GetName())
	assert.Equal(t, int32(1), risk.GetRecipe().GetVersion())
	assert.NotEmpty(t, risk.GetAssessment().GetCaution())
	assert.NotEmpty(t, risk.GetAssessment().GetAssumptions())
	assert.InDelta(t, 400, risk.GetAssessment().GetWeighOut()[0].GetMassGrams(), 1e-9)
	assert.Len(t, risk.GetFurnaces(), 2)
	assert.Len(t, risk.GetRooms(), 2)
	require.Len(t, risk.GetExtractionCircuits(), 1)
	assert.Equal(t, "2025-10-06", risk.GetExtractionCircuits()[0].GetBranches()[0].GetMeasuredOn())
	require.Len(t, risk.GetWatches(), 2)
	assert.Len(t, risk.GetWatches()[0].GetDetectors(), 2)
	assert.Len(t, risk.GetAcknowledgements(), len(run.GetAcknowledgedFindingCodes()))
	for _, a := range risk.GetAcknowledgements() {
		assert.Equal(t, "max", a.GetCaller())
		assert.True(t, a.GetStands(), a.GetCode())
	}
	assert.Empty(t, risk.GetOpenFindingCodes(), "all was accepted when it was booked")

	for name, code := range map[string]codes.Code{
		run.GetName(): codes.InvalidArgument, "": codes.InvalidArgument,
		north + "/runs/none/riskAssessment":                     codes.NotFound,
		north + "/firings/" + "none" + "/riskAssessment":        codes.InvalidArgument,
		run.GetName() + "/riskAssessment/riskAssessment":        codes.InvalidArgument,
		"studios/nowhere/runs/" + "any-run" + "/riskAssessment": codes.NotFound,
	} {
		_, err := client.GetRiskAssessment(s.steward(t), &saggarv1.GetRiskAssessmentRequest{Name: name})
		assert.Equal(t, code, status.Code(err), "%s: %v", name, err)
	}
}

func TestTheReportOverTheWire(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, furnishedStudio())
	s.book(t, s.plan(t, redRun()))
	client := saggarv1.NewReportServiceClient(s.connection)
	request := &saggarv1.GetReportRequest{
		Name: north + "/report", StartTime: timestamppb.New(monday.Truncate(24 * time.Hour)),
		EndTime: timestamppb.New(monday.Truncate(24*time.Hour).AddDate(0, 0, 7)),
		GroupBy: []saggarv1.ReportDimension{saggarv1.ReportDimension_REPORT_DIMENSION_FURNACE, saggarv1.ReportDimension_REPORT_DIMENSION_DEPARTMENT},
	}
	report, err := client.GetReport(s.as(t, domain.RoleTechnician), request)
	require.NoError(t, err)
	assert.Equal(t, "UTC", report.GetTimeZone())
	require.Len(t, report.GetRows(), 2)
	hood, kiln := report.GetRows()[0], report.GetRows()[1]
	assert.Equal(t, "dust-hood", hood.GetFurnace())
	assert.InDelta(t, 0.5, hood.GetHeldHours(), 1e-12)
	assert.Nil(t, hood.Cost, "no price is stated for it")
	assert.Equal(t, "pigments", kiln.GetDepartment())
	assert.InDelta(t, 168, kiln.GetAllHours(), 1e-12)
	assert.InDelta(t, 7*16, kiln.GetStaffedHours(), 1e-12)
	assert.InDelta(t, kiln.GetHeldHours()/168, kiln.GetHeldFraction(), 1e-12)
	assert.Positive(t, kiln.GetEnergyKilowattHours())
	assert.InDelta(t, 0.25*kiln.GetEnergyKilowattHours()+0.5*kiln.GetHeldHours(), kiln.GetCost(), 1e-9)
	assert.InDelta(t, hood.GetHeldHours()+kiln.GetHeldHours(), report.GetTotal().GetHeldHours(), 1e-12)
	assert.InDelta(t, 3*168, report.GetTotal().GetAllHours(), 1e-12)

	_, err = client.GetReport(s.as(t, domain.RoleMaker), request)
	assert.Equal(t, codes.PermissionDenied, status.Code(err), "for those who look after the furnaces")
}

func TestAReportOfWhatIsNone(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	client := saggarv1.NewReportServiceClient(s.connection)
	good := func() *saggarv1.GetReportRequest {
		return &saggarv1.GetReportRequest{Name: north + "/report", StartTime: timestamppb.New(monday), EndTime: timestamppb.New(monday.AddDate(0, 1, 0))}
	}
	report, err := client.GetReport(s.steward(t), good())
	require.NoError(t, err)
	assert.Empty(t, report.GetRows())
	assert.Nil(t, report.GetTotal().HeldFraction, "a studio without furnaces has nothing to hold: no number rather than none")
	for field, spoil := range map[string]func(*saggarv1.GetReportRequest){
		"name":        func(r *saggarv1.GetReportRequest) { r.Name = north },
		"start_time":  func(r *saggarv1.GetReportRequest) { r.StartTime = nil },
		"end_time":    func(r *saggarv1.GetReportRequest) { r.EndTime = timestamppb.New(monday.AddDate(2, 0, 0)) },
		"group_by[0]": func(r *saggarv1.GetReportRequest) { r.GroupBy = []saggarv1.ReportDimension{9} },
		"group_by":    func(r *saggarv1.GetReportRequest) { r.GroupBy = []saggarv1.ReportDimension{1, 1} },
	} {
		request := good()
		spoil(request)
		_, err := client.GetReport(s.steward(t), request)
		assert.Equal(t, codes.InvalidArgument, status.Code(err), "%s: %v", field, err)
		assert.Equal(t, []string{field}, fieldsOf(err), "%v", err)
	}
	odd := good()
	odd.StartTime = timestamppb.New(monday.Add(time.Second))
	_, err = client.GetReport(s.steward(t), odd)
	assert.Equal(t, []string{"start_time"}, fieldsOf(err), "%v", err)
	nowhere := good()
	nowhere.Name = "studios/nowhere/report"
	_, err = client.GetReport(s.steward(t), nowhere)
	assert.Equal(t, codes.NotFound, status.Code(err))
}

func TestSheetsAndReportsOfAStudioShowNothingOfAnother(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, furnishedStudio())
	s.book(t, s.plan(t, redRun()))
	_, err := saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t), &saggarv1.LoadStudioRequest{
		Name: "studios/south", Contents: &saggarv1.StudioFile{Studio: &saggarv1.Studio{Name: "studios/south", TimeZone: "UTC"}},
	})
	require.NoError(t, err)
	client := saggarv1.NewReportServiceClient(s.connection)
	sheet, err := client.GetDaySheet(s.steward(t), &saggarv1.GetDaySheetRequest{Name: "studios/south/daySheets/2026-03-02"})
	require.NoError(t, err)
	assert.Empty(t, sheet.GetTasks())
	assert.Empty(t, sheet.GetJobs())
	assert.Empty(t, sheet.GetRooms())
	report, err := client.GetReport(s.steward(t), &saggarv1.GetReportRequest{
		Name: "studios/south/report", StartTime: timestamppb.New(monday), EndTime: timestamppb.New(monday.AddDate(0, 1, 0)),
		GroupBy: []saggarv1.ReportDimension{saggarv1.ReportDimension_REPORT_DIMENSION_DEPARTMENT},
	})
	require.NoError(t, err)
	assert.Empty(t, report.GetRows())
	assert.Zero(t, report.GetTotal().GetHeldHours())
}
