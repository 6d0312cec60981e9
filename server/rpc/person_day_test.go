package rpc

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestACheckGivesWhatWhoeverAttendsBreathes(t *testing.T) {
	t.Parallel()
	s := serve(t)
	contents := pigmentStudio()
	// Goethite with a little sulfur in it: something comes off.
	contents.Materials[0].Phases = []*saggarv1.Phase{{Formula: "FeO(OH)", MassFraction: 0.999}, {Formula: "S", MassFraction: 0.001}}
	s.load(t, contents)
	s.people(t)
	planned := s.plan(t, redRun())
	require.Len(t, planned.GetRuns(), 1, "%v", planned)
	planned.GetRuns()[0].GetStageWindows()[1].AttendedBy = "tom"
	runs := saggarv1.NewRunServiceClient(s.connection)
	checked, err := runs.CheckRun(s.as(t, domain.RoleMaker), &saggarv1.CheckRunRequest{Parent: north, Runs: planned.GetRuns()})
	require.NoError(t, err)
	days := map[string]*saggarv1.PersonDay{}
	for _, day := range checked.GetPersonDays() {
		days[day.GetPerson()] = day
	}
	day := days["tom"]
	require.NotNil(t, day, "%v", checked.GetPersonDays())
	assert.Regexp(t, `^[0-9]{4}-[0-9]{2}-[0-9]{2}$`, day.GetDate())
	require.NotEmpty(t, day.GetStays())
	assert.Equal(t, []string{"bay", ""}, []string{day.GetStays()[0].GetRoom(), day.GetStays()[0].GetFiring()})
	require.NotEmpty(t, day.GetExposures())
	for i, e := range day.GetExposures() {
		assert.Equal(t, e.GetRatio(), e.GetMeanPpm()/e.GetLimitPpm(), "%v", e)
		assert.NotEmpty(t, e.GetSource())
		if i > 0 {
			assert.LessOrEqual(t, e.GetRatio(), day.GetExposures()[i-1].GetRatio(), "nearest first")
		}
	}
	booked := s.book(t, &saggarv1.PlanRunsResponse{Runs: planned.GetRuns(), Findings: checked.GetFindings(), Revision: planned.GetRevision()})
	assert.Equal(t, "tom", booked.GetStageWindows()[1].GetAttendedBy())
	firing, err := saggarv1.NewFiringServiceClient(s.connection).GetFiring(s.as(t, domain.RoleViewer), &saggarv1.GetFiringRequest{
		Name: booked.GetLoads()[1].GetFiring(),
	})
	require.NoError(t, err)
	assert.Equal(t, "tom", firing.GetAttendedBy())
	planned.GetRuns()[0].GetStageWindows()[1].AttendedBy = "nobody"
	_, err = runs.CheckRun(s.as(t, domain.RoleMaker), &saggarv1.CheckRunRequest{Parent: north, Runs: planned.GetRuns()})
	assert.Equal(t, []string{"runs[0].stage_windows[1].attended_by"}, fieldsOf(err), "%v", err)
}

func TestASignOffIsNarrowedToWholeMinutesAndGivenBack(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewEquipmentServiceClient(s.connection)
	start := monday.Add(30 * time.Second)
	closure := &saggarv1.Closure{
		Name: north + "/closures/signed", Subject: "rooms/bay", StartTime: timestamppb.New(start), EndTime: timestamppb.New(start.Add(2 * time.Hour)),
		Unoccupied: true,
	}
	put, err := client.UpdateClosure(s.steward(t), &saggarv1.UpdateClosureRequest{Closure: closure, AllowMissing: true})
	require.NoError(t, err)
	assert.True(t, put.GetUnoccupied())
	assert.Equal(t, []time.Time{monday.Add(time.Minute).UTC(), monday.Add(2 * time.Hour).UTC()},
		[]time.Time{put.GetStartTime().AsTime(), put.GetEndTime().AsTime()}, "never longer than was meant")
	shown, err := client.GetClosure(s.steward(t), &saggarv1.GetClosureRequest{Name: closure.GetName()})
	require.NoError(t, err)
	assert.True(t, proto.Equal(put, shown))
	closure.Subject = "furnaces/pot"
	_, err = client.UpdateClosure(s.steward(t), &saggarv1.UpdateClosureRequest{Closure: closure})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.Equal(t, []string{"closure.unoccupied"}, fieldsOf(err), "%v", err)
}
