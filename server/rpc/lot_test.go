package rpc

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

const goethiteLot = north + "/lots/goethite-1"

func goethite() *saggarv1.Lot {
	return &saggarv1.Lot{
		Name: goethiteLot, Material: "goethite", MassGrams: 1000, MadeOn: "2026-02-20", Title: "Goethite, first bag", Department: "pigments",
		Place: "shelf 3", SafetySheet: "https://sheets.example/goethite", LowStockGrams: 700, MoistureFraction: proto.Float64(0.02),
		Hazards: []saggarv1.Hazard{saggarv1.Hazard_HAZARD_SILICA_DUST},
	}
}

func TestALotIsCreatedShownChangedAndListed(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewLotServiceClient(s.connection)
	ctx := s.as(t, domain.RoleMaker)
	created, err := client.CreateLot(ctx, &saggarv1.CreateLotRequest{Parent: north, Lot: goethite()})
	require.NoError(t, err)
	want := goethite()
	want.Id, want.Owner, want.Etag, want.CreateTime, want.AgeDays = "goethite-1", created.GetOwner(), created.GetEtag(), created.GetCreateTime(), created.GetAgeDays()
	assert.True(t, proto.Equal(want, created), "%v", created)
	assert.NotEmpty(t, created.GetOwner())
	assert.Positive(t, created.GetAgeDays())
	shown, err := client.GetLot(s.as(t, domain.RoleViewer), &saggarv1.GetLotRequest{Name: goethiteLot})
	require.NoError(t, err)
	assert.True(t, proto.Equal(created, shown))

	changed, err := client.UpdateLot(ctx, &saggarv1.UpdateLotRequest{
		Lot:        &saggarv1.Lot{Name: goethiteLot, Place: "cupboard", MassGrams: 5, Material: "sulfur", Etag: created.GetEtag()},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"place", "mass_grams", "material", "title"}},
	})
	require.NoError(t, err)
	assert.Equal(t, []string{"cupboard", "goethite", ""}, []string{changed.GetPlace(), changed.GetMaterial(), changed.GetTitle()})
	assert.InDelta(t, 1000, changed.GetMassGrams(), 0, "only with a reason")
	_, err = client.UpdateLot(ctx, &saggarv1.UpdateLotRequest{Lot: &saggarv1.Lot{Name: goethiteLot, Place: "x", Etag: created.GetEtag()}})
	assert.Equal(t, codes.Aborted, status.Code(err))
	_, err = client.UpdateLot(ctx, &saggarv1.UpdateLotRequest{Lot: &saggarv1.Lot{Name: goethiteLot, SafetySheet: "drawer"}})
	assert.Equal(t, []string{"lot.safety_sheet"}, fieldsOf(err), "%v", err)
	_, err = client.CreateLot(ctx, &saggarv1.CreateLotRequest{Parent: north, Lot: &saggarv1.Lot{Material: "gold", MassGrams: 1}})
	assert.Equal(t, []string{"lot.material"}, fieldsOf(err), "%v", err)

	only, err := client.CreateLot(ctx, &saggarv1.CreateLotRequest{Parent: north, Lot: &saggarv1.Lot{Material: "sulfur", MassGrams: 1}, ValidateOnly: true})
	require.NoError(t, err)
	assert.Contains(t, only.GetName(), north+"/lots/sulfur-")
	taken, err := client.TakeLot(ctx, &saggarv1.TakeLotRequest{Name: goethiteLot, MassGrams: 400, Reason: "spilt"})
	require.NoError(t, err)
	assert.True(t, taken.GetLowStock())
	low, err := client.ListLots(ctx, &saggarv1.ListLotsRequest{Parent: north, LowStock: true, Material: "goethite", Department: "pigments"})
	require.NoError(t, err)
	require.Len(t, low.GetLots(), 1, "what was only checked is not stored")
	assert.True(t, proto.Equal(taken, low.GetLots()[0]))
	_, err = client.TakeLot(ctx, &saggarv1.TakeLotRequest{Name: goethiteLot, MassGrams: 601, Reason: "more"})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))
	_, err = client.WeighLot(ctx, &saggarv1.WeighLotRequest{Name: goethiteLot, MassGrams: 590, Reason: "dried", MoistureFraction: proto.Float64(0), DriedOn: "2026-02-28"})
	require.NoError(t, err)
	_, err = client.ReturnLot(ctx, &saggarv1.ReturnLotRequest{Name: goethiteLot, MassGrams: 10, Reason: "swept up"})
	require.NoError(t, err)

	var kinds []string
	request := &saggarv1.ListLotEntriesRequest{Parent: north, Lot: "goethite-1", PageSize: 1}
	for {
		page, err := client.ListLotEntries(ctx, request)
		require.NoError(t, err)
		require.Len(t, page.GetLotEntries(), 1)
		kinds = append(kinds, page.GetLotEntries()[0].GetKind().String()+" "+page.GetLotEntries()[0].GetReason())
		if request.PageToken = page.GetNextPageToken(); request.PageToken == "" {
			break
		}
	}
	assert.Equal(t, []string{
		"LOT_ENTRY_KIND_RETURNED swept up", "LOT_ENTRY_KIND_WEIGHED dried", "LOT_ENTRY_KIND_TAKEN spilt", "LOT_ENTRY_KIND_CREATED ",
	}, kinds)
}

func TestAMakerChangesLotsOfTheirDepartmentAndTakesOfSharedOnes(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	keys := s.people(t)
	people := saggarv1.NewPeopleServiceClient(s.connection)
	_, err := people.UpdateDepartment(s.steward(t), &saggarv1.UpdateDepartmentRequest{
		Department: &saggarv1.Department{Name: north + "/departments/glass"}, AllowMissing: true,
	})
	require.NoError(t, err)
	client := saggarv1.NewLotServiceClient(s.connection)
	mia, tom := withKey(t, keys[domain.RoleMaker]), withKey(t, keys[domain.RoleTechnician])
	foreign := goethite()
	foreign.Department = "glass"
	_, err = client.CreateLot(mia, &saggarv1.CreateLotRequest{Parent: north, Lot: foreign})
	assert.Equal(t, codes.PermissionDenied, status.Code(err), "mia books for pigments")
	_, err = client.CreateLot(tom, &saggarv1.CreateLotRequest{Parent: north, Lot: foreign})
	require.NoError(t, err)
	take := &saggarv1.TakeLotRequest{Name: goethiteLot, MassGrams: 1, Reason: "test"}
	_, err = client.TakeLot(mia, take)
	assert.Equal(t, codes.PermissionDenied, status.Code(err), "%v", err)
	_, err = client.UpdateLot(tom, &saggarv1.UpdateLotRequest{Lot: &saggarv1.Lot{Name: goethiteLot, Shared: true}})
	require.NoError(t, err)
	_, err = client.TakeLot(mia, take)
	assert.NoError(t, err)
	_, err = client.UpdateLot(mia, &saggarv1.UpdateLotRequest{Lot: &saggarv1.Lot{Name: goethiteLot, Title: "mine"}})
	assert.Equal(t, codes.PermissionDenied, status.Code(err), "shared is to be taken of, not to be described")
	own := goethite()
	own.Name = north + "/lots/goethite-2"
	_, err = client.CreateLot(mia, &saggarv1.CreateLotRequest{Parent: north, Lot: own})
	require.NoError(t, err)
	_, err = client.UpdateLot(mia, &saggarv1.UpdateLotRequest{Lot: &saggarv1.Lot{Name: own.GetName(), Title: "mine"}})
	assert.NoError(t, err)
}

func TestARunSaysWhatItTakesOfLotsAndStartsFrom(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	lots := saggarv1.NewLotServiceClient(s.connection)
	_, err := lots.CreateLot(s.steward(t), &saggarv1.CreateLotRequest{Parent: north, Lot: goethite()})
	require.NoError(t, err)
	run := redRun()
	run.LotDraws = []*saggarv1.LotDraw{{Lot: goethiteLot, Material: "goethite", Stage: "weigh"}}
	booked := s.book(t, s.plan(t, run))
	require.Len(t, booked.GetLotDraws(), 1)
	assert.True(t, proto.Equal(&saggarv1.LotDraw{
		Lot: goethiteLot, Material: "goethite", Stage: "weigh", MassGrams: 400, State: saggarv1.LotDrawState_LOT_DRAW_STATE_RESERVED,
	}, booked.GetLotDraws()[0]), "%v", booked.GetLotDraws())
	load := booked.GetLoads()[0].GetName()
	left, err := lots.TakeLot(s.steward(t), &saggarv1.TakeLotRequest{Name: goethiteLot, MassGrams: 399, Reason: "weighed", Load: load})
	require.NoError(t, err)
	assert.InDelta(t, 601, left.GetMassGrams(), 0)
	assert.Zero(t, left.GetReservedGrams())
	_, err = lots.TakeLot(s.steward(t), &saggarv1.TakeLotRequest{Name: goethiteLot, MassGrams: 1, Reason: "x", Load: "studios/south/runs/a/loads/b"})
	assert.Equal(t, []string{"load"}, fieldsOf(err), "%v", err)

	ground := &saggarv1.Lot{
		Name: north + "/lots/ground-1", Phases: []*saggarv1.Phase{{Formula: "FeO(OH)", MassFraction: 1}}, MassGrams: 300,
	}
	_, err = lots.CreateLot(s.steward(t), &saggarv1.CreateLotRequest{Parent: north, Lot: ground})
	require.NoError(t, err)
	from := redRun()
	from.StartStage, from.FromLot, from.Scale = "calcine", ground.GetName(), &saggarv1.Scale{Factor: 0.5}
	planned := s.plan(t, from)
	require.Len(t, planned.GetRuns(), 1, "%v", planned)
	assert.Equal(t, []string{"calcine", ground.GetName()}, []string{planned.GetRuns()[0].GetStartStage(), planned.GetRuns()[0].GetFromLot()})
	started := s.book(t, planned)
	require.Len(t, started.GetStageWindows(), 1)
	assert.InDelta(t, 200, started.GetLotDraws()[0].GetMassGrams(), 1e-6, "half of what the stage has in the whole recipe")
	checked, err := saggarv1.NewRunServiceClient(s.connection).CheckRun(s.as(t, domain.RoleMaker), &saggarv1.CheckRunRequest{
		Parent: north, Runs: []*saggarv1.Run{shiftedRun(started, 14*24*time.Hour)},
	})
	require.NoError(t, err, "a run as it was given out is taken again")
	var shorts int
	for _, f := range checked.GetFindings() {
		if f.GetCode() == "LOT_SHORT" {
			shorts++
		}
	}
	assert.Equal(t, 1, shorts, "100 g are left of 300")
	from.FromLot = "studios/south/lots/ground-1"
	_, err = saggarv1.NewRunServiceClient(s.connection).CheckRun(s.as(t, domain.RoleMaker), &saggarv1.CheckRunRequest{Parent: north, Runs: []*saggarv1.Run{from}})
	assert.Contains(t, fieldsOf(err), "runs[0].from_lot", "%v", err)
}

// shiftedRun is a run later, as a new one.
func shiftedRun(run *saggarv1.Run, by time.Duration) *saggarv1.Run {
	moved := proto.CloneOf(run)
	moved.Name = ""
	for _, w := range moved.GetStageWindows() {
		for _, p := range w.GetPhases() {
			p.GetStartTime().Seconds += int64(by / time.Second)
			p.GetEndTime().Seconds += int64(by / time.Second)
		}
	}
	return moved
}
