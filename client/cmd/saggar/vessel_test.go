package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	saggarv1 "saggar/proto/saggar/v1"
)

const ofStudio = "studios/marl-lane/"

func someVessels() *saggarv1.ListVesselsResponse {
	return &saggarv1.ListVesselsResponse{Vessels: []*saggarv1.MarkedVessel{
		{
			Name: ofStudio + "vessels/batch-pots", Mark: "B", Kind: saggarv1.VesselKind_VESSEL_KIND_CRUCIBLE, Count: 6, VolumeLiters: 0.8, TopCelsius: 1150,
			Lid: saggarv1.Lid_LID_LOOSE, InspectedOn: "2027-02-01", Department: "glass", Shared: true,
		},
		{
			Name: ofStudio + "vessels/melt-pot", Kind: saggarv1.VesselKind_VESSEL_KIND_CRUCIBLE, Held: []string{"lead"}, NowHeld: []string{"lead", "volatile_metal"},
			HeldTime: instant("2027-03-01T08:00:00Z"), OutOfUse: true,
		},
	}}
}

func someGear() *saggarv1.ListGearResponse {
	return &saggarv1.ListGearResponse{Gear: []*saggarv1.Gear{
		{Name: ofStudio + "gear/goggles", Kind: saggarv1.GearKind_GEAR_KIND_GOGGLES, Count: 4},
		{
			Name: ofStudio + "gear/mask-1", Kind: saggarv1.GearKind_GEAR_KIND_RESPIRATOR, RespiratorClass: "air_purifying/negative pressure/full_facepiece",
			FittedTo: "mira", CartridgeGases: []string{"SO2", "HCl"}, CartridgeHours: 8, UsedHours: 1.5, UsedTime: instant("2027-03-01T08:00:00Z"), SpentHours: 2, BookedHours: 6.25,
		},
	}}
}

func TestVesselsAndGearAreListed(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ListVessels", someVessels())
	f.answer("ListGear", someGear())
	f.answer("ListHolds", &saggarv1.ListHoldsResponse{Holds: []*saggarv1.Hold{
		{
			Subject: "vessels/batch-pots", Count: 2, Run: ofStudio + "runs/blue-1", Stage: "reduce", Leaves: []string{"sulfur", "volatile_metal"},
			StartTime: instant("2027-03-01T08:00:00Z"), EndTime: instant("2027-03-02T12:30:00Z"),
		},
		{
			Subject: "gear/mask-1", Count: 1, Run: ofStudio + "runs/blue-1", Stage: "reduce",
			StartTime: instant("2027-03-01T08:00:00Z"), EndTime: instant("2027-03-01T08:20:00Z"),
		},
	}})
	golden(t, "vessels.table.golden", f.succeed("vessel", "list")+"\n"+f.succeed("vessel", "holds")+"\n"+f.succeed("gear", "list")+"\n"+
		f.succeed("gear", "holds", "mask-1", "--since", "2027-03-01 08:00"))
	request := asked[*saggarv1.ListHoldsRequest](f)
	assert.Equal(t, "gear/mask-1", request.GetSubject())
	assertSame(t, instant("2027-03-01T08:00:00Z"), request.GetStartTime())
	golden(t, "vessels.json.golden", f.succeed("vessel", "list", "--output", "json"))
}

func TestWhatIsDoneToVesselsAndGearIsRecorded(t *testing.T) {
	f := newFakeServer(t)
	f.answer("UpdateVessel", someVessels().GetVessels()[1])
	f.answer("UpdateGear", someGear().GetGear()[1])
	f.succeed("vessel", "clean", "melt-pot", "--at", "2027-07-01 09:00", "--still", "lead")
	assertSame(t, &saggarv1.UpdateVesselRequest{
		Vessel:     &saggarv1.MarkedVessel{Name: ofStudio + "vessels/melt-pot", Held: []string{"lead"}, HeldTime: instant("2027-07-01T08:00:00Z")},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"held", "held_time"}},
	}, asked[*saggarv1.UpdateVesselRequest](f))
	f.succeed("vessel", "clean", "melt-pot")
	assert.Empty(t, asked[*saggarv1.UpdateVesselRequest](f).GetVessel().GetHeld())
	f.succeed("gear", "renew", "mask-1", "--at", "2027-07-01 09:00")
	assertSame(t, &saggarv1.UpdateGearRequest{
		Gear:       &saggarv1.Gear{Name: ofStudio + "gear/mask-1", UsedTime: instant("2027-07-01T08:00:00Z"), InstalledOn: "2027-07-01"},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"used_hours", "used_time", "installed_on"}},
	}, asked[*saggarv1.UpdateGearRequest](f))
	f.succeed("gear", "renew", "mask-1", "--used-hours", "2.5")
	assert.Equal(t, []string{"used_hours", "used_time"}, asked[*saggarv1.UpdateGearRequest](f).GetUpdateMask().GetPaths())

	f.answer("DeleteVessel", &emptypb.Empty{})
	f.answer("DeleteGear", &emptypb.Empty{})
	f.succeed("vessel", "remove", "melt-pot")
	f.succeed("gear", "remove", "mask-1")
	assert.Equal(t, ofStudio+"gear/mask-1", asked[*saggarv1.DeleteGearRequest](f).GetName())
}

func TestVesselsAreNamedWithABooking(t *testing.T) {
	f := newFakeServer(t)
	windows := []*saggarv1.StageWindow{
		{Stage: "pack"}, {Stage: "reduce", Vessels: []*saggarv1.VesselUse{{Vessel: "pot", Count: 1, Mark: "P1"}, {Vessel: "set", Count: 3}}, Gear: []string{"goggles", "mask-1"}},
	}
	f.answer("BookRun", &saggarv1.BookRunResponse{Runs: []*saggarv1.Run{{Name: ofStudio + "runs/blue-one", StageWindows: windows}}})
	plan := f.written("plan.json", `{"runs": [{"name": "blue-one", "stage_windows": [{"stage": "pack"}, {"stage": "reduce"}]}]}`)
	out := f.succeed("run", "book", "--plan", plan, "--vessel", "reduce=pot", "--vessel", "reduce=set:3")
	assert.Contains(t, out, "blue-one  reduce  pot marked P1, 3 of set  goggles, mask-1")
	asked := asked[*saggarv1.BookRunRequest](f).GetRuns()[0].GetStageWindows()
	assert.Empty(t, asked[0].GetVessels())
	assertSame(t, &saggarv1.StageWindow{Stage: "reduce", Vessels: []*saggarv1.VesselUse{{Vessel: "pot", Count: 1}, {Vessel: "set", Count: 3}}}, asked[1])
	for _, bad := range []string{"pot", "reduce=", "reduce=pot:0", "reduce=pot:x", "Reduce=pot", "polish=pot"} {
		assert.Equal(t, 2, f.run("run", "book", "--plan", plan, "--vessel", bad).code, bad)
	}
}
