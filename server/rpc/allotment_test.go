package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// limited is the invented studio with an hour a week for its pigments, which a steward may lift.
func limited() *saggarv1.StudioFile {
	contents := pigmentStudio()
	contents.Allotments = []*saggarv1.Allotment{{Name: north + "/allotments/week", Title: "Week", Department: "pigments", FurnaceHours: 1, Furnaces: []string{"pot", "muffle"}}}
	contents.TaughtHours = []*saggarv1.TaughtHours{{
		Name: north + "/taughtHours/glass-two", Department: "glass", Furnaces: []string{"pot"}, FirstDate: "2030-01-01", FreeAheadHours: 24,
		Weekly: []*saggarv1.WeeklyHours{{Days: []saggarv1.Weekday{3}, Opens: "09:00", Closes: "12:00"}},
	}}
	contents.BookingLimits = []*saggarv1.BookingLimit{{Name: north + "/bookingLimits/makers", Role: saggarv1.Role_ROLE_MAKER, AheadDays: 300, UnusedHours: 400, MissedDays: 7}}
	return contents
}

func TestLimitsOfBookingsAreLoadedShownChangedAndDeleted(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, limited())
	assert.Zero(t, s.load(t, limited()).GetUpdatedCount(), "the same file again changes nothing")
	client := saggarv1.NewAllotmentServiceClient(s.connection)
	viewer := s.as(t, domain.RoleViewer)
	week, err := client.GetAllotment(viewer, &saggarv1.GetAllotmentRequest{Name: north + "/allotments/week"})
	require.NoError(t, err)
	assert.Equal(t, 1.0, week.GetFurnaceHours())
	taught, err := client.ListTaughtHours(viewer, &saggarv1.ListTaughtHoursRequest{Parent: north})
	require.NoError(t, err)
	require.Len(t, taught.GetTaughtHours(), 1)
	assert.Equal(t, "2030-01-01", taught.GetTaughtHours()[0].GetFirstDate())
	limits, err := client.ListBookingLimits(viewer, &saggarv1.ListBookingLimitsRequest{Parent: north})
	require.NoError(t, err)
	require.Len(t, limits.GetBookingLimits(), 1)
	assert.Equal(t, 7.0, limits.GetBookingLimits()[0].GetMissedDays())

	changed, err := client.UpdateAllotment(s.steward(t), &saggarv1.UpdateAllotmentRequest{
		Allotment: &saggarv1.Allotment{Name: week.GetName(), FurnaceHours: 30, Etag: week.GetEtag()},
	})
	require.NoError(t, err)
	assert.Equal(t, []string{"pot", "muffle"}, changed.GetFurnaces(), "what is not given stays")
	_, err = client.UpdateAllotment(s.steward(t), &saggarv1.UpdateAllotmentRequest{
		Allotment: &saggarv1.Allotment{Name: week.GetName(), FurnaceHours: 40, Etag: week.GetEtag()},
	})
	assert.Equal(t, codes.Aborted, status.Code(err))
	_, err = client.UpdateAllotment(s.steward(t), &saggarv1.UpdateAllotmentRequest{Allotment: &saggarv1.Allotment{Name: week.GetName(), FurnaceHours: -1}})
	assert.Equal(t, []string{"allotment.furnace_hours"}, fieldsOf(err))
	_, err = client.UpdateTaughtHours(s.steward(t), &saggarv1.UpdateTaughtHoursRequest{
		TaughtHours: &saggarv1.TaughtHours{Name: taught.GetTaughtHours()[0].GetName(), LastDate: "2029-01-01"},
	})
	assert.Equal(t, []string{"taught_hours.last_date"}, fieldsOf(err))
	_, err = client.UpdateBookingLimit(s.steward(t), &saggarv1.UpdateBookingLimitRequest{
		AllowMissing: true, BookingLimit: &saggarv1.BookingLimit{Name: north + "/bookingLimits/none", Role: saggarv1.Role_ROLE_VIEWER},
	})
	assert.Equal(t, []string{"booking_limit.ahead_days"}, fieldsOf(err))
	_, err = client.DeleteBookingLimit(s.steward(t), &saggarv1.DeleteBookingLimitRequest{Name: limits.GetBookingLimits()[0].GetName()})
	require.NoError(t, err)
	_, err = client.GetBookingLimit(viewer, &saggarv1.GetBookingLimitRequest{Name: limits.GetBookingLimits()[0].GetName()})
	assert.Equal(t, codes.NotFound, status.Code(err))
}

func TestABookingAboveItsAllotmentIsRefusedOrWaits(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	keys := s.people(t)
	maker := withKey(t, keys[domain.RoleMaker])
	planned := s.plan(t, redRun())
	_, err := saggarv1.NewPeopleServiceClient(s.connection).UpdateDepartment(s.steward(t), &saggarv1.UpdateDepartmentRequest{
		Department: &saggarv1.Department{Name: north + "/departments/glass"}, AllowMissing: true,
	})
	require.NoError(t, err)
	s.load(t, limited())
	runs := saggarv1.NewRunServiceClient(s.connection)
	_, err = runs.BookRun(maker, bookRequest(planned))
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))
	_, _, findings := detailsOf(status.Convert(err))
	require.NotEmpty(t, findings)
	assert.Equal(t, "ALLOTMENT_SPENT", findings[0].GetCode())
	assert.Equal(t, "runs[0].stage_windows[1]", findings[0].GetField())
	assert.NotEmpty(t, findings[0].GetCure())
	_, err = saggarv1.NewClearanceServiceClient(s.connection).UpdateClearanceRule(s.steward(t), &saggarv1.UpdateClearanceRuleRequest{
		AllowMissing: true, ClearanceRule: &saggarv1.ClearanceRule{
			Name: north + "/clearanceRules/above", OverAllotment: "week", ClearingRole: saggarv1.Role_ROLE_STEWARD,
		},
	})
	require.NoError(t, err)
	checked, err := runs.CheckRun(maker, &saggarv1.CheckRunRequest{Parent: north, Runs: planned.GetRuns()})
	require.NoError(t, err)
	request := bookRequest(planned)
	request.AcknowledgedFindingCodes = codesOf(checked.GetFindings())
	answer, err := runs.BookRun(maker, request)
	require.NoError(t, err)
	assert.Equal(t, saggarv1.RunState_RUN_STATE_TENTATIVE, answer.GetRuns()[0].GetState())
	assert.Contains(t, answer.GetRuns()[0].GetClearances()[0].GetReason(), "above allotment week")
}
