package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// pottedStudio is the pigment studio whose red is calcined in a crucible.
func pottedStudio() *saggarv1.StudioFile {
	contents := pigmentStudio()
	calcine := contents.GetRecipes()[0].GetStages()[1]
	calcine.Vessel = &saggarv1.Vessel{Kind: saggarv1.VesselKind_VESSEL_KIND_CRUCIBLE}
	contents.Vessels = []*saggarv1.MarkedVessel{crucible("pot-1"), crucible("pot-2")}
	contents.Gear = []*saggarv1.Gear{{
		Name: north + "/gear/mask-1", Kind: saggarv1.GearKind_GEAR_KIND_RESPIRATOR, RespiratorClass: "air_purifying/negative pressure/half_mask",
		CartridgeGases: []string{"SO2"}, CartridgeHours: 8, UsedTime: at(2026),
	}}
	return contents
}

func crucible(id string) *saggarv1.MarkedVessel {
	return &saggarv1.MarkedVessel{
		Name: north + "/vessels/" + id, Mark: id, Kind: saggarv1.VesselKind_VESSEL_KIND_CRUCIBLE, VolumeLiters: 1, TopCelsius: 1200,
		Lid: saggarv1.Lid_LID_LOOSE, InspectedOn: "2026-01-12",
	}
}

func TestVesselsAndGearAreShownAndChanged(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pottedStudio())
	client, technician := saggarv1.NewEquipmentServiceClient(s.connection), s.as(t, domain.RoleTechnician)
	pot, err := client.GetVessel(s.as(t, domain.RoleViewer), &saggarv1.GetVesselRequest{Name: north + "/vessels/pot-1"})
	require.NoError(t, err)
	want := crucible("pot-1")
	want.Count, want.Etag = 1, pot.GetEtag()
	assert.True(t, proto.Equal(want, pot), pot)
	list, err := client.ListVessels(technician, &saggarv1.ListVesselsRequest{Parent: north, PageSize: 1})
	require.NoError(t, err)
	assert.Len(t, list.GetVessels(), 1)
	assert.NotEmpty(t, list.GetNextPageToken())

	change := &saggarv1.UpdateVesselRequest{Vessel: &saggarv1.MarkedVessel{Name: pot.GetName(), Etag: pot.GetEtag(), Held: []string{"sulfur"}, HeldTime: at(2025)}}
	_, err = client.UpdateVessel(s.as(t, domain.RoleMaker), change)
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	changed, err := client.UpdateVessel(technician, change)
	require.NoError(t, err)
	assert.Equal(t, []string{"sulfur"}, changed.GetHeld())
	assert.Equal(t, "pot-1", changed.GetMark(), "the rest stays")
	_, err = client.UpdateVessel(technician, change)
	assert.Equal(t, codes.Aborted, status.Code(err), "the etag is old")
	cleaned, err := client.UpdateVessel(technician, &saggarv1.UpdateVesselRequest{
		Vessel:     &saggarv1.MarkedVessel{Name: pot.GetName(), HeldTime: at(2026)},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"held", "held_time"}},
	})
	require.NoError(t, err)
	assert.Empty(t, cleaned.GetHeld())
	assert.True(t, proto.Equal(at(2026), cleaned.GetHeldTime()))

	for field, bad := range map[string]proto.Message{
		"vessel.held[0]": &saggarv1.UpdateVesselRequest{Vessel: &saggarv1.MarkedVessel{Name: pot.GetName(), Held: []string{"jam"}}},
		"vessel.inspected_on": &saggarv1.UpdateVesselRequest{
			Vessel: &saggarv1.MarkedVessel{Name: pot.GetName(), InspectedOn: "2026-02-30"},
		},
		"vessel.count": &saggarv1.UpdateVesselRequest{Vessel: &saggarv1.MarkedVessel{Name: pot.GetName(), Count: 1001}},
		"gear.respirator_class": &saggarv1.UpdateGearRequest{AllowMissing: true, Gear: &saggarv1.Gear{
			Name: north + "/gear/new", Kind: saggarv1.GearKind_GEAR_KIND_RESPIRATOR,
		}},
		"gear.cartridge_hours": &saggarv1.UpdateGearRequest{AllowMissing: true, Gear: &saggarv1.Gear{
			Name: north + "/gear/new", Kind: saggarv1.GearKind_GEAR_KIND_RESPIRATOR, RespiratorClass: "papr/powered/full_facepiece", CartridgeGases: []string{"SO2"},
		}},
		"gear.count": &saggarv1.UpdateGearRequest{Gear: &saggarv1.Gear{Name: north + "/gear/mask-1", Count: 2}},
	} {
		var err error
		switch request := bad.(type) {
		case *saggarv1.UpdateVesselRequest:
			_, err = client.UpdateVessel(technician, request)
		case *saggarv1.UpdateGearRequest:
			_, err = client.UpdateGear(technician, request)
		}
		fields := fieldsOf(err)
		assert.Contains(t, fields, field, "%v", err)
	}

	mask, err := client.UpdateGear(technician, &saggarv1.UpdateGearRequest{
		Gear:       &saggarv1.Gear{Name: north + "/gear/mask-1", UsedTime: at(2026), UsedHours: 1.5},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"used_hours", "used_time"}},
	})
	require.NoError(t, err)
	assert.InDelta(t, 1.5, mask.GetUsedHours(), 0)
	assert.Equal(t, []string{"SO2"}, mask.GetCartridgeGases())
	_, err = client.DeleteGear(technician, &saggarv1.DeleteGearRequest{Name: mask.GetName(), Etag: mask.GetEtag()})
	require.NoError(t, err)
	gear, err := client.ListGear(technician, &saggarv1.ListGearRequest{Parent: north})
	require.NoError(t, err)
	assert.Empty(t, gear.GetGear())
}

func TestARunHasItsVesselAndOthersSeeIt(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pottedStudio())
	planned := s.plan(t, redRun())
	require.NotEmpty(t, planned.GetRuns(), planned)
	planned.Runs[0].StageWindows[1].Vessels = []*saggarv1.VesselUse{{Vessel: "pot-2"}}
	run := s.book(t, planned)
	uses := run.GetStageWindows()[1].GetVessels()
	require.Len(t, uses, 1)
	assert.True(t, proto.Equal(&saggarv1.VesselUse{Vessel: "pot-2", Count: 1, Mark: "pot-2"}, uses[0]), uses[0])
	client, viewer := saggarv1.NewEquipmentServiceClient(s.connection), s.as(t, domain.RoleViewer)
	holds, err := client.ListHolds(viewer, &saggarv1.ListHoldsRequest{Parent: north, Subject: "vessels/pot-2"})
	require.NoError(t, err)
	require.Len(t, holds.GetHolds(), 1)
	hold := holds.GetHolds()[0]
	assert.Equal(t, run.GetName(), hold.GetRun())
	assert.Equal(t, []string{"iron"}, hold.GetLeaves())
	again, err := client.ListHolds(viewer, &saggarv1.ListHoldsRequest{Parent: north, StartTime: hold.GetEndTime()})
	require.NoError(t, err)
	assert.Empty(t, again.GetHolds(), "over then")
	_, err = client.DeleteVessel(s.as(t, domain.RoleTechnician), &saggarv1.DeleteVesselRequest{Name: north + "/vessels/pot-2"})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err), "a run has it")

	planned.Runs[0].StageWindows[1].Vessels = []*saggarv1.VesselUse{{Vessel: "pot-3"}}
	_, err = saggarv1.NewRunServiceClient(s.connection).BookRun(s.as(t, domain.RoleMaker), bookRequest(planned))
	assert.Contains(t, fieldsOf(err), "runs[0].stage_windows[1].vessels[0].vessel")
	sheet, err := saggarv1.NewReportServiceClient(s.connection).GetDaySheet(viewer, &saggarv1.GetDaySheetRequest{
		Name: north + "/daySheets/" + hold.GetStartTime().AsTime().Format("2006-01-02"),
	})
	require.NoError(t, err)
	for _, job := range sheet.GetJobs() {
		if job.GetStage() == "calcine" {
			assert.True(t, proto.Equal(uses[0], job.GetVessels()[0]))
			assert.NotContains(t, job.GetMissing(), "which vessels, and where they stand, is not recorded: write it in")
		}
	}
}
