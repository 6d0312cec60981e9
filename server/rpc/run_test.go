package rpc

import (
	"context"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestAPlanIsBookedAsItIs(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	planned := s.plan(t, redRun())
	require.Equal(t, saggarv1.PlanStatus_PLAN_STATUS_OPTIMAL, planned.GetStatus())
	require.Len(t, planned.GetRuns(), 1)
	assert.NotEmpty(t, planned.GetCaution())

	client := saggarv1.NewRunServiceClient(s.connection)
	checked, err := client.CheckRun(s.as(t, domain.RoleMaker), &saggarv1.CheckRunRequest{Parent: north, Runs: planned.GetRuns()})
	require.NoError(t, err)
	assert.Empty(t, checked.GetRuns()[0].GetEtag(), "nothing is stored")
	assert.NotEmpty(t, checked.GetCaution())
	require.Len(t, checked.GetAssessments(), 1, "what the run does is shown as CheckRecipe shows it")
	assessed := checked.GetAssessments()[0]
	require.Len(t, assessed.GetHeat(), 1)
	heat := assessed.GetHeat()[0]
	assert.Equal(t, planned.GetRuns()[0].GetStageWindows()[1].GetFurnace(), heat.GetFurnace())
	assert.InEpsilon(t, heat.GetEnergyKilowattHours(),
		heat.GetChargeKilowattHours()+heat.GetWallLossKilowattHours()+heat.GetStoredKilowattHours(), 1e-9)
	assert.NotEmpty(t, heat.GetProfile())
	assert.NotEmpty(t, assessed.GetReleases())
	assert.NotEmpty(t, assessed.GetWeighOut())
	assert.Empty(t, assessed.GetFindings(), "they stand in the answer itself")
	tried, err := client.BookRun(s.as(t, domain.RoleMaker), &saggarv1.BookRunRequest{
		Parent: north, Runs: planned.GetRuns(), AcknowledgedFindingCodes: codesOf(planned.GetFindings()), ValidateOnly: true,
	})
	require.NoError(t, err)
	for _, run := range []*saggarv1.Run{checked.GetRuns()[0], tried.GetRuns()[0]} {
		assert.Zero(t, run.GetState(), "what is not booked has no state")
		require.Len(t, run.GetLoads(), 2)
		assert.Zero(t, run.GetLoads()[1].GetState())
	}

	answer, err := client.BookRun(s.as(t, domain.RoleMaker), bookRequest(planned))
	require.NoError(t, err)
	assert.Empty(t, answer.GetAssessments(), "a booking does not repeat what was shown when it was checked")
	booked := answer.GetRuns()[0]
	assert.Equal(t, "max", booked.GetMaker())
	assert.Equal(t, saggarv1.RunState_RUN_STATE_CONFIRMED, booked.GetState())
	assert.Equal(t, north+"/recipes/red/versions/1", booked.GetRecipe())
	require.Len(t, booked.GetStageWindows(), 2)
	for i, window := range booked.GetStageWindows() {
		want := proto.CloneOf(planned.GetRuns()[0].GetStageWindows()[i])
		want.AttendedBy = "max" // nobody else was named
		assert.True(t, proto.Equal(want, window), "stage %d", i)
	}

	shown, err := client.GetRun(s.as(t, domain.RoleViewer), &saggarv1.GetRunRequest{Name: booked.GetName()})
	require.NoError(t, err)
	assert.True(t, proto.Equal(booked, shown), "booked %v\nshown  %v", booked, shown)
	firing, err := saggarv1.NewFiringServiceClient(s.connection).GetFiring(s.as(t, domain.RoleViewer),
		&saggarv1.GetFiringRequest{Name: booked.GetLoads()[1].GetFiring()})
	require.NoError(t, err)
	assert.Equal(t, booked.GetName(), firing.GetRun())
	assert.Equal(t, "calcine", firing.GetStage())
	assert.InDelta(t, 700, firing.GetTopCelsius(), 0.001)
	assert.Equal(t, saggarv1.Atmosphere_ATMOSPHERE_OXIDISING, firing.GetAtmosphere())
}

func TestAClashIsRefusedWithItsFindings(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	planned := s.plan(t, redRun())
	s.book(t, planned)
	_, err := saggarv1.NewRunServiceClient(s.connection).BookRun(s.as(t, domain.RoleMaker), bookRequest(planned))
	require.Equal(t, codes.FailedPrecondition, status.Code(err))
	info, _, findings := detailsOf(status.Convert(err))
	assert.Equal(t, ReasonBookingRefused, info.GetReason())
	require.NotEmpty(t, findings)
	assert.Equal(t, saggarv1.Severity_SEVERITY_BLOCK, findings[0].GetSeverity())
	assert.NotEmpty(t, findings[0].GetCure())
}

func TestABookingIsRepeatedWithoutBookingTwice(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewRunServiceClient(s.connection)
	req := bookRequest(s.plan(t, redRun()))
	req.RequestId = uuid.NewString()
	first, err := client.BookRun(s.as(t, domain.RoleMaker), req)
	require.NoError(t, err)
	again, err := client.BookRun(s.as(t, domain.RoleMaker), req)
	require.NoError(t, err)
	assert.Equal(t, first.GetRuns()[0].GetName(), again.GetRuns()[0].GetName())

	req.Runs[0].Department = "glass"
	_, err = client.BookRun(s.as(t, domain.RoleMaker), req)
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	info, _, _ := detailsOf(status.Convert(err))
	assert.Equal(t, ReasonRequestIDReused, info.GetReason())
}

func TestMakersChangeTheirOwnRunsOnlyAndTechniciansAny(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	planned := s.plan(t, redRun())
	byTechnician, err := saggarv1.NewRunServiceClient(s.connection).BookRun(s.as(t, domain.RoleTechnician), bookRequest(planned))
	require.NoError(t, err)
	own := s.book(t, s.plan(t, redRun()))
	others := byTechnician.GetRuns()[0]
	windows := s.plan(t, redRun()).GetRuns()[0].GetStageWindows()

	client := saggarv1.NewRunServiceClient(s.connection)
	changes := map[string]func(ctx context.Context, run *saggarv1.Run) error{
		saggarv1.RunService_MoveRun_FullMethodName: func(ctx context.Context, run *saggarv1.Run) error {
			_, err := client.MoveRun(ctx, &saggarv1.MoveRunRequest{
				Name: run.GetName(), StageWindows: windows, AcknowledgedFindingCodes: codesOf(planned.GetFindings()), ValidateOnly: true,
			})
			return err
		},
		saggarv1.RunService_CancelRun_FullMethodName: func(ctx context.Context, run *saggarv1.Run) error {
			_, err := client.CancelRun(ctx, &saggarv1.CancelRunRequest{Name: run.GetName()})
			return err
		},
	}
	for method, row := range policy {
		if row.others == domain.RoleNone || shortMethod(method) != "MoveRun" && shortMethod(method) != "CancelRun" { // the others: TestOnesOwnKeysOnly, TestAPersonIsSeenAsFarAsTheirOwn
			continue
		}
		change, ok := changes[method]
		require.True(t, ok, "%s is limited to own things and not tried here", method)
		assert.Equal(t, codes.PermissionDenied, status.Code(change(s.as(t, domain.RoleMaker), others)), method)
	}
	for _, method := range []string{saggarv1.RunService_MoveRun_FullMethodName, saggarv1.RunService_CancelRun_FullMethodName} {
		assert.NoError(t, changes[method](s.as(t, domain.RoleMaker), own), method)
	}
	assert.NoError(t, changes[saggarv1.RunService_CancelRun_FullMethodName](s.as(t, domain.RoleTechnician), others))
}

func TestARunIsMovedAndCancelledUnderItsEtag(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewRunServiceClient(s.connection)
	booked := s.book(t, s.plan(t, redRun()))
	later := s.plan(t, redRun())
	move := &saggarv1.MoveRunRequest{
		Name: booked.GetName(), StageWindows: later.GetRuns()[0].GetStageWindows(), Etag: booked.GetEtag(),
		AcknowledgedFindingCodes: codesOf(later.GetFindings()),
	}
	moved, err := client.MoveRun(s.as(t, domain.RoleMaker), move)
	require.NoError(t, err)
	assert.NotEqual(t, booked.GetEtag(), moved.GetEtag())
	_, err = client.MoveRun(s.as(t, domain.RoleMaker), move)
	assert.Equal(t, codes.Aborted, status.Code(err))

	_, err = client.CancelRun(s.as(t, domain.RoleMaker), &saggarv1.CancelRunRequest{Name: booked.GetName(), Etag: booked.GetEtag()})
	assert.Equal(t, codes.Aborted, status.Code(err))
	cancelled, err := client.CancelRun(s.as(t, domain.RoleMaker), &saggarv1.CancelRunRequest{Name: booked.GetName(), Etag: moved.GetEtag()})
	require.NoError(t, err)
	assert.Equal(t, saggarv1.RunState_RUN_STATE_CANCELLED, cancelled.GetState())
	_, err = client.CancelRun(s.as(t, domain.RoleMaker), &saggarv1.CancelRunRequest{Name: booked.GetName()})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))
}

func TestWindowsThatAreIllFormedNameTheirPlace(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	planned := s.plan(t, redRun()).GetRuns()[0]
	cases := map[string]struct {
		change func(*saggarv1.Run)
		field  string
	}{
		"half a minute": {func(r *saggarv1.Run) { r.StageWindows[1].Phases[0].StartTime.Seconds += 30 },
			"runs[0].stage_windows[1].phases[0].start_time"},
		"a nanosecond": {func(r *saggarv1.Run) { r.StageWindows[0].Phases[0].EndTime.Nanos = 1 },
			"runs[0].stage_windows[0].phases[0].end_time"},
		"a gap": {func(r *saggarv1.Run) { r.StageWindows[1].Phases[1].StartTime.Seconds += 60 },
			"runs[0].stage_windows[1].phases[1].start_time"},
		"in the past": {func(r *saggarv1.Run) {
			for _, phase := range r.GetStageWindows()[0].GetPhases() {
				phase.StartTime.Seconds -= 7 * 86400
				phase.EndTime.Seconds -= 7 * 86400
			}
		}, "runs[0].stage_windows[0].phases[0].start_time"},
		"a stage too few":      {func(r *saggarv1.Run) { r.StageWindows = r.StageWindows[:1] }, "runs[0].stage_windows"},
		"no phase":             {func(r *saggarv1.Run) { r.StageWindows[0].Phases = nil }, "runs[0].stage_windows[0].phases"},
		"another studio":       {func(r *saggarv1.Run) { r.Recipe = "studios/south/recipes/red" }, "runs[0].recipe"},
		"riding along":         {func(r *saggarv1.Run) { r.StageWindows[0].JoinFiring = north + "/firings/f1" }, "runs[0].stage_windows[0].join_firing"},
		"hidden in the title":  {func(r *saggarv1.Run) { r.Title = "red\u202eder" }, "runs[0].title"},
		"no such phase's kind": {func(r *saggarv1.Run) { r.StageWindows[0].Phases[0].Kind = 77 }, "runs[0].stage_windows[0].phases[0].kind"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			run := proto.Clone(planned).(*saggarv1.Run)
			c.change(run)
			_, err := saggarv1.NewRunServiceClient(s.connection).BookRun(s.as(t, domain.RoleMaker),
				&saggarv1.BookRunRequest{Parent: north, Runs: []*saggarv1.Run{run}})
			assert.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
			assert.Contains(t, fieldsOf(err), c.field)
		})
	}
}

func TestRunsAndFiringsAreListedInPages(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	var booked []string
	for range 3 {
		booked = append([]string{s.book(t, s.plan(t, redRun())).GetName()}, booked...)
	}
	runs := &saggarv1.ListRunsRequest{Parent: north, Department: "pigments", PageSize: 2}
	var names []string
	for {
		page, err := saggarv1.NewRunServiceClient(s.connection).ListRuns(s.as(t, domain.RoleViewer), runs)
		require.NoError(t, err)
		for _, run := range page.GetRuns() {
			names = append(names, run.GetName())
		}
		if runs.PageToken = page.GetNextPageToken(); runs.PageToken == "" {
			break
		}
	}
	assert.Equal(t, booked, names, "newest first")

	firings := &saggarv1.ListFiringsRequest{
		Parent: north, StartTime: timestamppb.New(monday), EndTime: timestamppb.New(monday.Add(28 * 24 * time.Hour)), PageSize: 1,
	}
	seen := map[string]bool{}
	var last time.Time
	for {
		page, err := saggarv1.NewFiringServiceClient(s.connection).ListFirings(s.as(t, domain.RoleViewer), firings)
		require.NoError(t, err)
		for _, firing := range page.GetFirings() {
			assert.False(t, seen[firing.GetName()], "twice")
			seen[firing.GetName()] = true
			assert.False(t, firing.GetStartTime().AsTime().Before(last), "by start")
			last = firing.GetStartTime().AsTime()
		}
		if firings.PageToken = page.GetNextPageToken(); firings.PageToken == "" {
			break
		}
	}
	assert.Len(t, seen, 6)
}

func TestARecipeIsCheckedAndItsFiguresComeWithTheirCaution(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewRecipeServiceClient(s.connection)
	recipe := redRecipe()
	answer, err := client.CheckRecipe(s.as(t, domain.RoleViewer), &saggarv1.CheckRecipeRequest{Parent: north, Recipe: recipe})
	require.NoError(t, err)
	assert.Equal(t, "Fe", answer.GetLimitingElement())
	// 2 FeO(OH) gives Fe2O3 and H2O: 400 g times 159.69 / 177.71 (atomic weights of IUPAC 2021).
	assert.InDelta(t, 359.4, answer.GetIdealProductGrams(), 0.3)
	assert.NotEmpty(t, answer.GetCaution())
	assert.NotEmpty(t, answer.GetAssumptions())
	require.Len(t, answer.GetStages(), 2)
	assert.NotEmpty(t, answer.GetStages()[1].GetFurnace())
	var minutes int32
	for _, phase := range answer.GetStages()[1].GetPhases() {
		assert.NotZero(t, phase.GetPhase())
		minutes += phase.GetDurationMinutes()
	}
	assert.Greater(t, minutes, int32(60))
	cases := map[proto.Message]int{}
	for _, line := range answer.GetOffGas() {
		assert.NotZero(t, line.GetCase())
		cases[line]++
	}
	assert.NotEmpty(t, cases, "water leaves")

	recipe.Stages[0].Additions[0].Material = "unobtainium"
	_, err = client.CheckRecipe(s.as(t, domain.RoleViewer), &saggarv1.CheckRecipeRequest{Parent: north, Recipe: recipe})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.Equal(t, []string{"recipe.stages[0].additions[0].material"}, fieldsOf(err))

	_, err = client.CheckRecipe(s.as(t, domain.RoleViewer), &saggarv1.CheckRecipeRequest{
		Parent: north, Recipe: redRecipe(), Scale: &saggarv1.Scale{Factor: 2, ProductGrams: 5},
	})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.Contains(t, fieldsOf(err), "scale.factor")
}

func TestMaterialsAndRecipesKeepTheirVersions(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewMaterialServiceClient(s.connection)
	name := north + "/materials/goethite"
	damp := &saggarv1.Material{Name: name, Phases: []*saggarv1.Phase{{Formula: "FeO(OH)", MassFraction: 1}}, MoistureFraction: 0.05}
	tried, err := client.CreateMaterialVersion(s.steward(t), &saggarv1.CreateMaterialVersionRequest{Material: damp, ValidateOnly: true})
	require.NoError(t, err)
	assert.EqualValues(t, 2, tried.GetVersion())
	newest, err := client.GetMaterial(s.as(t, domain.RoleViewer), &saggarv1.GetMaterialRequest{Name: name})
	require.NoError(t, err)
	assert.EqualValues(t, 1, newest.GetVersion(), "a trial stores nothing")

	_, err = client.CreateMaterialVersion(s.steward(t), &saggarv1.CreateMaterialVersionRequest{Material: damp})
	require.NoError(t, err)
	first, err := client.GetMaterial(s.as(t, domain.RoleViewer), &saggarv1.GetMaterialRequest{Name: name + "/versions/1"})
	require.NoError(t, err)
	assert.Zero(t, first.GetMoistureFraction())
	list, err := client.ListMaterials(s.as(t, domain.RoleViewer), &saggarv1.ListMaterialsRequest{Parent: north})
	require.NoError(t, err)
	require.Len(t, list.GetMaterials(), 2)
	assert.EqualValues(t, 2, list.GetMaterials()[0].GetVersion())

	damp.Phases[0].Formula = "Xx2O3"
	_, err = client.CreateMaterialVersion(s.steward(t), &saggarv1.CreateMaterialVersionRequest{Material: damp})
	assert.Equal(t, []string{"material.phases[0].formula"}, fieldsOf(err))

	recipes := saggarv1.NewRecipeServiceClient(s.connection)
	hotter := redRecipe()
	hotter.Stages[1].Program.Segments[0].ToCelsius = 750
	made, err := recipes.CreateRecipeVersion(s.steward(t), &saggarv1.CreateRecipeVersionRequest{Recipe: hotter})
	require.NoError(t, err)
	assert.EqualValues(t, 2, made.GetVersion())
	_, err = recipes.GetRecipe(s.as(t, domain.RoleViewer), &saggarv1.GetRecipeRequest{Name: hotter.GetName() + "/versions/3"})
	assert.Equal(t, codes.NotFound, status.Code(err))
	hotter.Stages[1].Furnaces = []string{"cauldron"}
	_, err = recipes.CreateRecipeVersion(s.steward(t), &saggarv1.CreateRecipeVersionRequest{Recipe: hotter})
	assert.Equal(t, []string{"recipe.stages[1].furnaces[0]"}, fieldsOf(err))
}

func TestAPlanThatNothingFitsSaysWhy(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	stream, err := saggarv1.NewRunServiceClient(s.connection).PlanRuns(s.as(t, domain.RoleMaker), &saggarv1.PlanRunsRequest{
		Parent: north, Runs: []*saggarv1.Run{redRun()}, StartTime: timestamppb.New(monday), EndTime: timestamppb.New(monday.Add(time.Hour)),
	})
	require.NoError(t, err)
	answer, err := stream.Recv()
	require.NoError(t, err)
	assert.Equal(t, saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE, answer.GetStatus())
	assert.Empty(t, answer.GetRuns())
	assert.NotEmpty(t, answer.GetBlames())

	stream, err = saggarv1.NewRunServiceClient(s.connection).PlanRuns(s.as(t, domain.RoleMaker), &saggarv1.PlanRunsRequest{
		Parent: north, Runs: []*saggarv1.Run{redRun()}, StartTime: timestamppb.New(monday), EndTime: timestamppb.New(monday),
	})
	require.NoError(t, err)
	_, err = stream.Recv()
	assert.Equal(t, []string{"end_time"}, fieldsOf(err))
}
