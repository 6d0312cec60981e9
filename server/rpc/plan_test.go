package rpc

import (
	"context"
	"fmt"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func redRuns(count int) []*saggarv1.Run {
	var runs []*saggarv1.Run
	for i := range count {
		run := redRun()
		run.Name = fmt.Sprintf("%s/runs/red-%d", north, i)
		runs = append(runs, run)
	}
	return runs
}

func (s *served) planAll(ctx context.Context, request *saggarv1.PlanRunsRequest) (all []*saggarv1.PlanRunsResponse, err error) {
	stream, err := saggarv1.NewRunServiceClient(s.connection).PlanRuns(ctx, request)
	for err == nil {
		var answer *saggarv1.PlanRunsResponse
		if answer, err = stream.Recv(); err == nil {
			all = append(all, answer)
		}
	}
	if err == io.EOF {
		err = nil
	}
	return all, err
}

// TestManyRunsAreStreamedAndBooked: each answer is no worse than the one before, and the last is booked as it is.
func TestManyRunsAreStreamedAndBooked(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	answers, err := s.planAll(s.as(t, domain.RoleTechnician), &saggarv1.PlanRunsRequest{
		Parent: north, Runs: redRuns(6), StartTime: timestamppb.New(monday.Add(time.Hour)), SearchLimit: durationpb.New(3 * time.Second),
	})
	require.NoError(t, err)
	last := answers[len(answers)-1]
	require.Contains(t, []saggarv1.PlanStatus{saggarv1.PlanStatus_PLAN_STATUS_OPTIMAL, saggarv1.PlanStatus_PLAN_STATUS_FEASIBLE}, last.GetStatus())
	require.Len(t, last.GetRuns(), 6)
	value := func(a *saggarv1.PlanRunsResponse) float64 { return a.GetProgress().GetObjectives()[0].GetValue() }
	for i, answer := range answers[:len(answers)-1] {
		assert.Equal(t, saggarv1.PlanStatus_PLAN_STATUS_SEARCHING, answer.GetStatus())
		assert.GreaterOrEqual(t, value(answer), value(answers[i+1]))
		assert.Equal(t, "COMPLETION", answer.GetProgress().GetObjectives()[0].GetCode())
	}
	booked, err := saggarv1.NewRunServiceClient(s.connection).BookRun(s.as(t, domain.RoleTechnician), &saggarv1.BookRunRequest{
		Parent: north, Runs: last.GetRuns(), AcknowledgedFindingCodes: codesOf(last.GetFindings()), Revision: last.GetRevision(),
	})
	require.NoError(t, err)
	assert.Len(t, booked.GetRuns(), 6)
}

// TestPlansBeyondMeasureAreRefused: too many runs, too long a search, enumerations that are not known.
func TestPlansBeyondMeasureAreRefused(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	for name, c := range map[string]struct {
		change func(r *saggarv1.PlanRunsRequest)
		field  string
	}{
		"10,000 runs":    {func(r *saggarv1.PlanRunsRequest) { r.Runs = redRuns(10_000) }, "runs"},
		"a day's search": {func(r *saggarv1.PlanRunsRequest) { r.SearchLimit = durationpb.New(24 * time.Hour) }, "search_limit"},
		"time backwards": {func(r *saggarv1.PlanRunsRequest) { r.SearchLimit = durationpb.New(-time.Second) }, "search_limit"},
		"no such wish":   {func(r *saggarv1.PlanRunsRequest) { r.Wish = 99 }, "wish"},
		"4 alternatives": {func(r *saggarv1.PlanRunsRequest) { r.AlternativeCount = 4 }, "alternative_count"},
		"noon at 25:00": {func(r *saggarv1.PlanRunsRequest) {
			r.Limits = []*saggarv1.PlanLimits{{Attendance: []*saggarv1.WeeklyHours{{
				Days: []saggarv1.Weekday{saggarv1.Weekday_WEEKDAY_MONDAY}, Opens: "25:00", Closes: "26:00",
			}}}}
		}, "limits[0].attendance[0].opens"},
		"a horizon in the past": {func(r *saggarv1.PlanRunsRequest) { r.EndTime = timestamppb.New(monday.AddDate(-1, 0, 0)) }, "end_time"},
	} {
		t.Run(name, func(t *testing.T) {
			request := &saggarv1.PlanRunsRequest{Parent: north, Runs: redRuns(1)}
			c.change(request)
			_, err := s.planAll(s.as(t, domain.RoleMaker), request)
			require.Contains(t, []codes.Code{codes.InvalidArgument, codes.ResourceExhausted}, status.Code(err), "%v", err)
			assert.Contains(t, err.Error(), c.field)
		})
	}
}

// TestAReplanOverTheWire: a closure hits a booked run, the moves are accepted as they were sent, twice is too late.
func TestAReplanOverTheWire(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewRunServiceClient(s.connection)
	booked := s.book(t, s.plan(t, redRun()))
	window := booked.GetStageWindows()[0]
	_, err := saggarv1.NewEquipmentServiceClient(s.connection).UpdateClosure(s.as(t, domain.RoleTechnician), &saggarv1.UpdateClosureRequest{
		AllowMissing: true, Closure: &saggarv1.Closure{
			Name: north + "/closures/elements", Subject: "furnaces/" + window.GetFurnace(), Reason: "new elements",
			StartTime: window.GetPhases()[0].GetStartTime(), EndTime: timestamppb.New(window.GetPhases()[0].GetStartTime().AsTime().Add(time.Hour)),
		},
	})
	require.NoError(t, err)
	stream, err := client.ReplanRuns(s.as(t, domain.RoleTechnician), &saggarv1.ReplanRunsRequest{Parent: north})
	require.NoError(t, err)
	var last *saggarv1.ReplanRunsResponse
	for {
		answer, err := stream.Recv()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		last = answer
	}
	require.Len(t, last.GetHits(), 1)
	assert.Contains(t, last.GetHits()[0].GetCauses()[0], "new elements")
	require.Len(t, last.GetMoves(), 1)
	assert.Equal(t, booked.GetEtag(), last.GetStanding()[0].GetEtag())
	accept := &saggarv1.MoveRunsRequest{
		Parent: north, Moves: last.GetMoves(), Overruns: last.GetOverruns(), Revision: last.GetRevision(),
		AcknowledgedFindingCodes: codesOf(last.GetFindings()), RequestId: "0f8fad5b-d9cb-469f-a165-70867728950e",
	}
	moved, err := client.MoveRuns(s.as(t, domain.RoleTechnician), accept)
	require.NoError(t, err)
	assert.NotEqual(t, booked.GetEtag(), moved.GetRuns()[0].GetEtag())
	again, err := client.MoveRuns(s.as(t, domain.RoleTechnician), accept)
	require.NoError(t, err, "the same request repeated answers as it stands")
	assert.Equal(t, moved.GetRuns()[0].GetEtag(), again.GetRuns()[0].GetEtag())
	accept.RequestId = ""
	_, err = client.MoveRuns(s.as(t, domain.RoleTechnician), accept)
	assert.Equal(t, codes.Aborted, status.Code(err))
	_, err = client.MoveRuns(s.as(t, domain.RoleTechnician), &saggarv1.MoveRunsRequest{Parent: north})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
}

// TestAPlanCarriesItsLimitsIntoTheBooking: the runs of an answer are booked with what their maker set, and show it.
func TestAPlanCarriesItsLimitsIntoTheBooking(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	limits := &saggarv1.PlanLimits{HeatOnlyWhileStaffed: true, StartTime: timestamppb.New(monday.Add(time.Hour)), Attendance: []*saggarv1.WeeklyHours{{
		Days: []saggarv1.Weekday{saggarv1.Weekday_WEEKDAY_MONDAY, saggarv1.Weekday_WEEKDAY_TUESDAY}, Opens: "08:00", Closes: "20:00",
	}}}
	answers, err := s.planAll(s.as(t, domain.RoleTechnician), &saggarv1.PlanRunsRequest{Parent: north, Runs: redRuns(1), Limits: []*saggarv1.PlanLimits{limits}})
	require.NoError(t, err)
	last := answers[len(answers)-1]
	require.NotEmpty(t, last.GetRuns(), "%v", last.GetBlames())
	client := saggarv1.NewRunServiceClient(s.connection)
	booked, err := client.BookRun(s.as(t, domain.RoleTechnician), &saggarv1.BookRunRequest{
		Parent: north, Runs: last.GetRuns(), AcknowledgedFindingCodes: codesOf(last.GetFindings()),
	})
	require.NoError(t, err)
	run, err := client.GetRun(s.as(t, domain.RoleViewer), &saggarv1.GetRunRequest{Name: booked.GetRuns()[0].GetName()})
	require.NoError(t, err)
	assert.True(t, proto.Equal(limits, run.GetLimits()), "%v", run.GetLimits())
	run.Name, run.Limits.AvoidFurnaces = "", []string{"nowhere"}
	_, err = client.CheckRun(s.as(t, domain.RoleMaker), &saggarv1.CheckRunRequest{Parent: north, Runs: []*saggarv1.Run{run}})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.ErrorContains(t, err, "runs[0].limits.avoid_furnaces")
}
