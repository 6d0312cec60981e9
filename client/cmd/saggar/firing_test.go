package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	saggarv1 "saggar/proto/saggar/v1"
)

// sharedFiring is a firing that was opened for others, with one load in it.
func sharedFiring() *saggarv1.Firing {
	return &saggarv1.Firing{
		Name: "studios/marl-lane/firings/f12", Furnace: "kiln", Title: "Bisque to 1000", State: saggarv1.LoadState_LOAD_STATE_CONFIRMED,
		StartTime: instant("2027-03-04T08:00:00Z"), EndTime: instant("2027-03-05T10:00:00Z"), TopCelsius: 1000, AttendedBy: "tove", Etag: "r9",
		Offer: &saggarv1.FiringOffer{
			Liters: 40, Grams: 15000, FreeLiters: 32, FreeGrams: 12000, JoinUntilTime: instant("2027-03-03T18:00:00Z"), OpenedBy: "tove",
			Departments: []string{"ceramics", "glass"},
		},
		Loads: []*saggarv1.FiringLoad{{
			Run: "studios/marl-lane/runs/tiles", Stage: "bisque", Department: "ceramics", Maker: "ada", Liters: 8, Grams: 3000,
			State: saggarv1.LoadState_LOAD_STATE_CONFIRMED,
		}},
	}
}

func TestFiringsAreListedWithWhatIsFree(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ListFirings", &saggarv1.ListFiringsResponse{Firings: []*saggarv1.Firing{sharedFiring()}})
	args := []string{"firing", "list", "--joinable", "--from", "2027-03-01 08:00", "--until", "2027-03-08 08:00", "--furnace", "kiln"}
	golden(t, "firings.table.golden", f.succeed(args...))
	assertSame(t, &saggarv1.ListFiringsRequest{
		Parent: "studios/marl-lane", StartTime: instant("2027-03-01T08:00:00Z"), EndTime: instant("2027-03-08T08:00:00Z"),
		Furnaces: []string{"kiln"}, JoinableOnly: true,
	}, asked[*saggarv1.ListFiringsRequest](f))
	f.answer("GetFiring", sharedFiring())
	golden(t, "firing.table.golden", f.succeed("firing", "show", "f12"))
	golden(t, "firing.json.golden", f.succeed("firing", "show", "f12", "--output", "json"))
}

func TestAFiringIsOpenedFromAFile(t *testing.T) {
	f := newFakeServer(t)
	path := f.written("bisque.yaml", `furnace: kiln
title: Bisque to 1000
heat_program:
  segments:
    - to_celsius: 1000
      rate_celsius_per_hour: 100
      hold_minutes: 20
start_time: 2027-03-04 08:00
offer:
  liters: 40
  grams: 15000
  join_until_time: 2027-03-03 18:00
`)
	f.answer("BookFiring", &saggarv1.BookFiringResponse{Firing: sharedFiring(), Caution: "A planning estimate.", Assumptions: []string{"ordinary ware"}, Findings: []*saggarv1.Finding{
		{Severity: saggarv1.Severity_SEVERITY_WARN, Code: "DETECTOR_MISSING", Message: "the hall has no alarm for HF", Cure: "have one"},
	}})
	golden(t, "firing-open.table.golden", f.succeed("firing", "open", path, "--acknowledge", "DETECTOR_MISSING"))
	request := asked[*saggarv1.BookFiringRequest](f)
	assert.NotEmpty(t, request.GetRequestId())
	request.RequestId = ""
	assertSame(t, &saggarv1.BookFiringRequest{
		Parent: "studios/marl-lane", Furnace: "kiln", Title: "Bisque to 1000", StartTime: instant("2027-03-04T08:00:00Z"),
		HeatProgram:              &saggarv1.HeatProgram{Segments: []*saggarv1.Segment{{ToCelsius: 1000, RateCelsiusPerHour: 100, HoldMinutes: 20}}},
		Offer:                    &saggarv1.FiringOffer{Liters: 40, Grams: 15000, JoinUntilTime: instant("2027-03-03T18:00:00Z")},
		AcknowledgedFindingCodes: []string{"DETECTOR_MISSING"},
	}, request)
	f.answer("BookFiring", &saggarv1.BookFiringResponse{Firing: &saggarv1.Firing{}, Findings: []*saggarv1.Finding{
		{Severity: saggarv1.Severity_SEVERITY_BLOCK, Code: "FURNACE_ATMOSPHERE", Message: "kiln cannot hold it", Cure: "choose another"},
	}})
	refused := f.run("firing", "open", path, "--check")
	assert.Equal(t, 3, refused.code)
	assert.Contains(t, refused.out, "kiln cannot hold it")
	assert.NotContains(t, refused.out, "Thu 1 Jan", "what cannot be worked out has no times")
	assert.Contains(t, f.run("firing", "open", f.written("bad.yaml", "furnace: kiln\noven: x\n")).errOut, "bad.yaml:2")
}

func TestAFiringIsSharedTakenBackHandedOverMovedAndCalledOff(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetFiring", sharedFiring())
	f.answer("UpdateFiring", sharedFiring())
	f.succeed("firing", "share", "f12", "--liters", "40", "--grams", "15000", "--join-until", "2027-03-03 18:00", "--for-department", "glass")
	shared := asked[*saggarv1.UpdateFiringRequest](f)
	assert.Equal(t, []string{"offer"}, shared.GetUpdateMask().GetPaths())
	assert.Equal(t, "r9", shared.GetFiring().GetEtag(), "what is shared is what was read")
	assertSame(t, &saggarv1.FiringOffer{
		Liters: 40, Grams: 15000, JoinUntilTime: instant("2027-03-03T18:00:00Z"), Departments: []string{"glass"},
	}, shared.GetFiring().GetOffer())
	f.succeed("firing", "unshare", "f12")
	taken := asked[*saggarv1.UpdateFiringRequest](f)
	assert.Nil(t, taken.GetFiring().GetOffer())
	assert.Equal(t, []string{"offer"}, taken.GetUpdateMask().GetPaths())
	f.succeed("firing", "hand-over", "f12", "--to", "ada")
	assert.Equal(t, "ada", asked[*saggarv1.UpdateFiringRequest](f).GetFiring().GetAttendedBy())
	f.answer("MoveRuns", &saggarv1.MoveRunsResponse{Caution: "A planning estimate."})
	f.succeed("firing", "move", "f12", "--start", "2027-03-05 08:00")
	moved := asked[*saggarv1.MoveRunsRequest](f).GetFirings()
	assertSame(t, &saggarv1.FiringMove{Name: "studios/marl-lane/firings/f12", StartTime: instant("2027-03-05T08:00:00Z"), Etag: "r9"}, moved[0])
	f.answer("CancelFiring", status.Error(codes.FailedPrecondition, "it has begun"))
	assert.Contains(t, f.run("firing", "cancel", "f12").errOut, "it has begun")
	assert.Equal(t, 2, f.run("firing", "share", "f12", "--liters", "40").code, "the mass is needed too")
}

func TestWhatWaitsForAnotherFiringShowsNoTimes(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetRun", &saggarv1.Run{
		Name: "studios/marl-lane/runs/tiles", Title: "Tiles", State: saggarv1.RunState_RUN_STATE_UNPLACED,
		StageWindows: []*saggarv1.StageWindow{{
			Stage: "bisque", Furnace: "kiln", JoinFiring: "studios/marl-lane/firings/f12", AttendedBy: "tove", Phases: []*saggarv1.PhaseWindow{
				{Kind: saggarv1.PhaseKind_PHASE_KIND_FIRE, StartTime: instant("2027-03-04T08:00:00Z"), EndTime: instant("2027-03-04T18:00:00Z")},
			},
		}},
		Loads: []*saggarv1.Load{{Name: "studios/marl-lane/runs/tiles/loads/bisque", State: saggarv1.LoadState_LOAD_STATE_UNPLACED}},
	})
	shown := f.succeed("run", "show", "tiles")
	assert.Contains(t, shown, "none yet: f12 was called off")
	assert.NotContains(t, shown, "Thu 4 Mar")
}

func TestARunRidesInASharedFiring(t *testing.T) {
	f := newFakeServer(t)
	f.stream("PlanRuns", func(proto.Message) []any { return []any{planAnswer()} })
	f.succeed("run", "plan", "bisque", "--department", "ceramics", "--join", "bisque=f12@8", "--join", "glaze=f13")
	windows := asked[*saggarv1.PlanRunsRequest](f).GetRuns()[0].GetStageWindows()
	assertSame(t, &saggarv1.StageWindow{Stage: "bisque", JoinFiring: "studios/marl-lane/firings/f12", LoadLiters: 8}, windows[0])
	assertSame(t, &saggarv1.StageWindow{Stage: "glaze", JoinFiring: "studios/marl-lane/firings/f13"}, windows[1])
	for _, wrong := range []string{"bisque", "bisque=", "=f12", "bisque=f12@none", "bisque=f12@-1", "bisque=f12@8l", "bisque=f12@"} {
		assert.Equal(t, 2, f.run("run", "plan", "bisque", "--department", "ceramics", "--join", wrong).code, wrong)
	}
}
