package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/emptypb"

	saggarv1 "saggar/proto/saggar/v1"
)

// waitingRun waits for one yes and has another.
func waitingRun() *saggarv1.Run {
	run := planAnswer().GetRuns()[0]
	run.Etag, run.State, run.Maker = "r7", saggarv1.RunState_RUN_STATE_TENTATIVE, "ada"
	run.ExpireTime = instant("2027-02-27T12:00:00Z")
	run.Clearances = []*saggarv1.Clearance{
		{
			Rule: "much-so2", Reason: "stage bisque gives off 2 g/min of SO2", State: saggarv1.ClearanceState_CLEARANCE_STATE_WAITING,
			ClearingRole: saggarv1.Role_ROLE_TECHNICIAN, ClearingPeople: []string{"ben"},
		},
		{
			Rule: "first", Reason: "it is the maker's first run of the recipe", State: saggarv1.ClearanceState_CLEARANCE_STATE_CLEARED,
			DecidedBy: "sue", Note: "shown on Friday",
		},
	}
	return run
}

func TestWhatWaitsIsListedClearedAndRefused(t *testing.T) {
	f := newFakeServer(t)
	run := waitingRun()
	f.answer("ListWaitingRuns", &saggarv1.ListWaitingRunsResponse{WaitingRuns: []*saggarv1.Run{run}})
	table := f.succeed("run", "waiting", "--mine")
	for _, shown := range []string{"tiles", "ada", "much-so2", "TECHNICIAN, ben", "Sat 27 Feb 12:00", "2 g/min of SO2"} {
		assert.Contains(t, table, shown)
	}
	assert.NotContains(t, table, "first", "it is cleared")
	assert.True(t, asked[*saggarv1.ListWaitingRunsRequest](f).GetOnlyMine())

	f.answer("GetRun", run)
	assert.Contains(t, f.succeed("run", "show", "tiles"), "held until Sat 27 Feb 12:00")
	f.answer("ClearRun", run)
	f.succeed("run", "clear", "tiles", "--reason", "much-so2", "--note", "the fan runs")
	cleared := asked[*saggarv1.ClearRunRequest](f)
	assert.Equal(t, []string{"much-so2"}, cleared.GetReasons())
	assert.Equal(t, "r7", cleared.GetEtag(), "what is cleared is what was read")
	assert.Equal(t, "the fan runs", cleared.GetNote())
	assert.NotEmpty(t, cleared.GetRequestId())
	f.answer("RefuseRun", run)
	f.succeed("run", "refuse", "tiles", "--note", "the fan is out")
	assert.Equal(t, "the fan is out", asked[*saggarv1.RefuseRunRequest](f).GetNote())
	assert.Equal(t, 2, f.run("run", "refuse", "tiles").code, "a no says why")
	f.answer("ClearRun", status.Error(codes.PermissionDenied, "nobody clears a run of their own"))
	assert.Contains(t, f.run("run", "clear", "tiles").errOut, "nobody clears a run of their own")
}

func TestRulesOfClearanceAreListedAndRemoved(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ListClearanceRules", &saggarv1.ListClearanceRulesResponse{ClearanceRules: []*saggarv1.ClearanceRule{
		{
			Name: "studios/marl-lane/clearanceRules/much-so2", OffGas: &saggarv1.OffGasAbove{Species: "SO2", GramsPerMinute: 1.5},
			ClearingRole: saggarv1.Role_ROLE_TECHNICIAN,
		},
		{
			Name: "studios/marl-lane/clearanceRules/late", ClearingPeople: []string{"ben"}, ExpiresAfterHours: 24, AheadOfChargeHours: 12,
			OutsideHours: []*saggarv1.WeeklyHours{{Days: []saggarv1.Weekday{1}, Opens: "08:00", Closes: "18:00"}},
		},
	}})
	table := f.succeed("clearance", "list")
	for _, shown := range []string{"SO2 above 1.5 g/min", "TECHNICIAN", "72", "outside mon 08:00-18:00", "ben", "24", "12"} {
		assert.Contains(t, table, shown)
	}
	f.answer("DeleteClearanceRule", &emptypb.Empty{})
	f.succeed("clearance", "remove", "late")
	assert.Equal(t, "studios/marl-lane/clearanceRules/late", asked[*saggarv1.DeleteClearanceRuleRequest](f).GetName())
}

func TestLimitsOfBookingsAreListedAndRemoved(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ListAllotments", &saggarv1.ListAllotmentsResponse{Allotments: []*saggarv1.Allotment{
		{Name: "studios/marl-lane/allotments/glass-week", Department: "glass", FurnaceHours: 40},
		{Name: "studios/marl-lane/allotments/term", Department: "ceramics", KilowattHours: 900, FirstDate: "2027-02-01", LastDate: "2027-04-30", Furnaces: []string{"big-kiln"}},
	}})
	table := f.succeed("allotment", "list")
	for _, shown := range []string{"glass-week", "each week", "40", "900", "2027-04-30", "big-kiln"} {
		assert.Contains(t, table, shown)
	}
	f.answer("ListTaughtHours", &saggarv1.ListTaughtHoursResponse{TaughtHours: []*saggarv1.TaughtHours{{
		Name: "studios/marl-lane/taughtHours/glass-two", Department: "glass", FreeAheadHours: 48,
		Weekly: []*saggarv1.WeeklyHours{{Days: []saggarv1.Weekday{3}, Opens: "09:00", Closes: "12:00"}},
	}}})
	assert.Contains(t, f.succeed("taught", "list"), "wed 09:00-12:00")
	f.answer("ListBookingLimits", &saggarv1.ListBookingLimitsResponse{BookingLimits: []*saggarv1.BookingLimit{{
		Name: "studios/marl-lane/bookingLimits/makers", Role: saggarv1.Role_ROLE_MAKER, AheadDays: 21,
	}}})
	assert.Contains(t, f.succeed("limit", "list"), "21")
	for noun, method := range map[string]string{"allotment": "DeleteAllotment", "taught": "DeleteTaughtHours", "limit": "DeleteBookingLimit"} {
		f.answer(method, &emptypb.Empty{})
		f.succeed(noun, "remove", "one")
	}
	assert.Equal(t, "studios/marl-lane/allotments/one", asked[*saggarv1.DeleteAllotmentRequest](f).GetName())
}
