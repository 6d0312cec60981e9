package rpc

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// bisqueProgram is what the pots of potRecipe ask for.
func bisqueProgram() *saggarv1.HeatProgram {
	return &saggarv1.HeatProgram{Segments: []*saggarv1.Segment{{ToCelsius: 900, RateCelsiusPerHour: 120, HoldMinutes: 10}}}
}

func potRecipe() *saggarv1.Recipe {
	return &saggarv1.Recipe{Name: north + "/recipes/pots", Title: "Pots", Stages: []*saggarv1.Stage{{
		Id: "bisque", Kind: saggarv1.StageKind_STAGE_KIND_BISQUE, WareGrams: 500, MaxWaitMinutes: 2880, Program: bisqueProgram(),
		Atmosphere: saggarv1.Atmosphere_ATMOSPHERE_OXIDISING,
	}}}
}

func openRequest() *saggarv1.BookFiringRequest {
	return &saggarv1.BookFiringRequest{
		Parent: north, Furnace: "muffle", Title: "Bisque for all", HeatProgram: bisqueProgram(), StartTime: timestamppb.New(monday.Add(25 * time.Hour)),
		Offer: &saggarv1.FiringOffer{Liters: 8, Grams: 4000}, RequestId: uuid.NewString(),
	}
}

func joinRun(firing string, liters float64) *saggarv1.Run {
	return &saggarv1.Run{
		Recipe: north + "/recipes/pots", Department: "pigments",
		StageWindows: []*saggarv1.StageWindow{{Stage: "bisque", JoinFiring: firing, LoadLiters: liters}},
	}
}

func TestAFiringIsOpenedJoinedAndCalledOff(t *testing.T) {
	t.Parallel()
	s := serve(t)
	contents := pigmentStudio()
	contents.Recipes = append(contents.Recipes, potRecipe())
	s.load(t, contents)
	keys := s.people(t)
	firings, runs := saggarv1.NewFiringServiceClient(s.connection), saggarv1.NewRunServiceClient(s.connection)
	maker, technician := withKey(t, keys[domain.RoleMaker]), withKey(t, keys[domain.RoleTechnician])

	_, err := firings.BookFiring(maker, openRequest())
	assert.Equal(t, codes.PermissionDenied, status.Code(err), "a firing for others is a technician's to open")
	request := openRequest()
	opened, err := firings.BookFiring(technician, request)
	require.NoError(t, err)
	assert.NotEmpty(t, opened.GetCaution())
	assert.NotEmpty(t, opened.GetAssumptions())
	firing := opened.GetFiring()
	assert.Empty(t, firing.GetRun())
	assert.Equal(t, "tom", firing.GetAttendedBy())
	assert.InDelta(t, 8, firing.GetOffer().GetFreeLiters(), 1e-9)
	again, err := firings.BookFiring(technician, request)
	require.NoError(t, err)
	assert.True(t, proto.Equal(firing, again.GetFiring()), "a repeat books nothing")

	booked, err := runs.BookRun(maker, &saggarv1.BookRunRequest{Parent: north, Runs: []*saggarv1.Run{joinRun(firing.GetName(), 3)}})
	require.NoError(t, err)
	run := booked.GetRuns()[0]
	assert.Equal(t, firing.GetName(), run.GetLoads()[0].GetFiring())
	assert.Equal(t, firing.GetName(), run.GetStageWindows()[0].GetJoinFiring())
	assert.Equal(t, "tom", run.GetStageWindows()[0].GetAttendedBy(), "the maker sees who answers for it")
	_, err = runs.CheckRun(maker, &saggarv1.CheckRunRequest{Parent: north, Runs: []*saggarv1.Run{joinRun("studios/south/firings/f1", 3)}})
	assert.Equal(t, []string{"runs[0].stage_windows[0].join_firing"}, fieldsOf(err))
	_, err = runs.BookRun(maker, &saggarv1.BookRunRequest{Parent: north, Runs: []*saggarv1.Run{joinRun(firing.GetName(), 0)}})
	assert.Equal(t, []string{"runs[0].stage_windows[0].load_liters"}, fieldsOf(err))
	_, err = runs.BookRun(maker, &saggarv1.BookRunRequest{Parent: north, Runs: []*saggarv1.Run{joinRun(firing.GetName(), 5.1)}})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))

	list := func() []*saggarv1.Firing {
		page, err := firings.ListFirings(withKey(t, keys[domain.RoleViewer]), &saggarv1.ListFiringsRequest{
			Parent: north, StartTime: timestamppb.New(monday), EndTime: timestamppb.New(monday.Add(7 * 24 * time.Hour)), JoinableOnly: true,
		})
		require.NoError(t, err)
		return page.GetFirings()
	}
	require.Len(t, list(), 1)
	assert.InDelta(t, 5, list()[0].GetOffer().GetFreeLiters(), 1e-9)
	require.Len(t, list()[0].GetLoads(), 1)
	assert.Equal(t, run.GetName(), list()[0].GetLoads()[0].GetRun())

	_, err = firings.CancelFiring(maker, &saggarv1.CancelFiringRequest{Name: firing.GetName()})
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	_, err = firings.CancelFiring(technician, &saggarv1.CancelFiringRequest{Name: firing.GetName(), Etag: firing.GetEtag()})
	assert.Equal(t, codes.Aborted, status.Code(err), "somebody joined since")
	off, err := firings.CancelFiring(technician, &saggarv1.CancelFiringRequest{Name: firing.GetName()})
	require.NoError(t, err)
	assert.Equal(t, saggarv1.LoadState_LOAD_STATE_CANCELLED, off.GetState())
	assert.Empty(t, list())
	waits, err := runs.GetRun(maker, &saggarv1.GetRunRequest{Name: run.GetName()})
	require.NoError(t, err)
	assert.Equal(t, saggarv1.RunState_RUN_STATE_UNPLACED, waits.GetState())
}

func TestAFiringIsSharedByItsMakerOnlyAndTechnicians(t *testing.T) {
	t.Parallel()
	s := serve(t)
	contents := pigmentStudio()
	contents.Recipes = append(contents.Recipes, potRecipe())
	s.load(t, contents)
	keys := s.people(t)
	_, err := saggarv1.NewPeopleServiceClient(s.connection).UpdatePerson(s.steward(t), &saggarv1.UpdatePersonRequest{AllowMissing: true, Person: &saggarv1.Person{
		Name: north + "/people/max", Role: saggarv1.Role_ROLE_MAKER, Departments: []string{"pigments"},
	}})
	require.NoError(t, err)
	key, err := saggarv1.NewAccessServiceClient(s.connection).CreateAccessKey(s.steward(t), &saggarv1.CreateAccessKeyRequest{
		Parent: north, AccessKey: &saggarv1.AccessKey{Caller: "max", Role: saggarv1.Role_ROLE_MAKER},
	})
	require.NoError(t, err)
	maker, other := withKey(t, keys[domain.RoleMaker]), withKey(t, key.GetSecret())
	firings, runs := saggarv1.NewFiringServiceClient(s.connection), saggarv1.NewRunServiceClient(s.connection)
	pots := joinRun("", 0)
	pots.StageWindows = nil
	planned := s.plan(t, pots)
	require.NotEmpty(t, planned.GetRuns(), "%v", planned.GetFindings())
	var warned []string
	for _, f := range planned.GetFindings() {
		warned = append(warned, f.GetCode())
	}
	booked, err := runs.BookRun(maker, &saggarv1.BookRunRequest{Parent: north, Runs: planned.GetRuns(), AcknowledgedFindingCodes: warned})
	require.NoError(t, err)
	name := booked.GetRuns()[0].GetLoads()[0].GetFiring()
	share := func() *saggarv1.UpdateFiringRequest {
		return &saggarv1.UpdateFiringRequest{
			Firing:                   &saggarv1.Firing{Name: name, Offer: &saggarv1.FiringOffer{Liters: 5, Grams: 500}},
			AcknowledgedFindingCodes: warned,
		}
	}
	_, err = firings.UpdateFiring(other, share())
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	shared, err := firings.UpdateFiring(maker, share())
	require.NoError(t, err)
	assert.Len(t, shared.GetLoads(), 1)
	stale := share()
	stale.Firing.Etag = "r1"
	_, err = firings.UpdateFiring(maker, stale)
	assert.Equal(t, codes.Aborted, status.Code(err))
	for _, path := range []string{"furnace", "title", "state"} {
		_, err = firings.UpdateFiring(maker, &saggarv1.UpdateFiringRequest{
			Firing: &saggarv1.Firing{Name: name, Title: "x", Furnace: "pot"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{path}},
		})
		assert.Equal(t, codes.InvalidArgument, status.Code(err), path)
	}
	taken, err := firings.UpdateFiring(maker, &saggarv1.UpdateFiringRequest{
		Firing: &saggarv1.Firing{Name: name}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"offer"}},
	})
	require.NoError(t, err)
	assert.Nil(t, taken.GetOffer())
	handed, err := firings.UpdateFiring(maker, &saggarv1.UpdateFiringRequest{Firing: &saggarv1.Firing{Name: name, AttendedBy: "tom"}})
	require.NoError(t, err)
	assert.Equal(t, "tom", handed.GetAttendedBy())
}
