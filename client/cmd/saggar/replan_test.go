package main

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	saggarv1 "saggar/proto/saggar/v1"
)

// replanAnswer has a run that moves to another furnace and one that cannot.
func replanAnswer() *saggarv1.ReplanRunsResponse {
	standing := booked().GetRuns()[0]
	moved := proto.CloneOf(standing)
	moved.StageWindows[1].Furnace = "pot"
	moved.StageWindows[1].Phases = phases("2027-03-04T08:00:00Z", charge, "2027-03-04T08:20:00Z", fire, "2027-03-04T16:00:00Z",
		cool, "2027-03-05T03:00:00Z", draw, "2027-03-05T08:20:00Z")
	return &saggarv1.ReplanRunsResponse{
		Status: saggarv1.PlanStatus_PLAN_STATUS_OPTIMAL, Revision: 9, Caution: "A planning estimate.",
		Hits: []*saggarv1.RunHit{
			{
				Name: standing.GetName(), Title: "Tiles", Maker: "ada", Department: "ceramics", Stages: []string{"bisque"},
				Causes: []string{ // of two stages
					"big-kiln is out of use from Mon 1 Mar 06:00 to Wed 3 Mar 20:00: door seal",
					"big-kiln is out of use from Mon 1 Mar 06:00 to Wed 3 Mar 20:00: door seal",
				},
			},
			{
				Name: "studios/marl-lane/runs/pots", Title: "Pots", Maker: "ben", Department: "ceramics", Stages: []string{"glaze"},
				Causes:   []string{"big-kiln is taken until Tue 2 Mar 14:20: Tiles overran"},
				NotMoved: "it was booked by somebody else: ask its maker or a technician",
			},
		},
		Moves:    []*saggarv1.RunMove{{Name: standing.GetName(), StageWindows: moved.GetStageWindows(), Etag: "r8"}},
		Standing: []*saggarv1.Run{standing},
		Overruns: []*saggarv1.Overrun{{Firing: "studios/marl-lane/firings/f1", EndTime: instant("2027-03-02T14:20:00Z")}},
		Findings: []*saggarv1.Finding{warning(saggarv1.Severity_SEVERITY_WARN)},
		Progress: &saggarv1.PlanProgress{Objectives: []*saggarv1.PlanObjective{{Code: "CHANGE", Value: 4560, Bound: 4560, Unit: "min"}}},
	}
}

func TestReplanShowsMovesAndMakesThemWhenAccepted(t *testing.T) {
	f := newFakeServer(t)
	run := booked().GetRuns()[0]
	run.Loads = []*saggarv1.Load{
		{Name: run.GetName() + "/loads/dry"}, {Name: run.GetName() + "/loads/bisque", Firing: "studios/marl-lane/firings/f1"},
	}
	f.answer("GetRun", run)
	f.answer("ReplanRuns", replanAnswer())
	kept := filepath.Join(f.dir, "moves.json")
	out := f.succeed("run", "replan", "--overrun", "tiles/bisque=2027-03-02 14:20", "--may-move", "pots,red", "--until", "2027-07-01 08:00", "--save", kept)
	golden(t, "replan.table.golden", strings.ReplaceAll(out, f.dir+"/", ""))
	assertSame(t, &saggarv1.ReplanRunsRequest{
		Parent: "studios/marl-lane", EndTime: instant("2027-07-01T07:00:00Z"),
		Overruns: replanAnswer().GetOverruns(), MayMove: []string{"studios/marl-lane/runs/pots", "studios/marl-lane/runs/red"},
	}, asked[*saggarv1.ReplanRunsRequest](f))
	assert.Zero(t, requests[*saggarv1.MoveRunsRequest](f), "nothing moves until it is accepted")

	f.answer("MoveRuns", &saggarv1.MoveRunsResponse{
		Runs: []*saggarv1.Run{run}, Revision: 10, Caution: "A planning estimate.",
		Findings: []*saggarv1.Finding{warning(saggarv1.Severity_SEVERITY_WARN)},
	})
	golden(t, "replan-accept.table.golden", f.succeed("run", "replan", "--accept", kept, "--acknowledge", "AIR_SHORT_TERM_LIMIT"))
	request := asked[*saggarv1.MoveRunsRequest](f)
	assert.NotEmpty(t, request.GetRequestId())
	request.RequestId = ""
	assertSame(t, &saggarv1.MoveRunsRequest{
		Parent: "studios/marl-lane", Moves: replanAnswer().GetMoves(), Overruns: replanAnswer().GetOverruns(), Revision: 9,
		AcknowledgedFindingCodes: []string{"AIR_SHORT_TERM_LIMIT"},
	}, request)

	r := f.run("run", "replan", "--overrun", "tiles/dry=2027-03-02 14:20")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "no furnace or station to hold")
	r = f.run("run", "replan", "--overrun", "tiles/glaze=2027-03-02 14:20")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "run tiles has no stage glaze: give one of dry, bisque")
}

func TestMovesThatOthersHaveOvertakenAreFoundAgain(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ReplanRuns", replanAnswer())
	kept := filepath.Join(f.dir, "moves.json")
	f.succeed("run", "replan", "--save", kept)
	overtaken := &saggarv1.Finding{Severity: saggarv1.Severity_SEVERITY_NOTE, Code: "PLAN_OVERTAKEN", Message: "the studio has changed"}
	refusal, err := status.New(codes.FailedPrecondition, "refused").WithDetails(warning(saggarv1.Severity_SEVERITY_BLOCK), overtaken)
	require.NoError(t, err)
	f.answer("MoveRuns", refusal.Err())
	r := f.run("run", "replan", "--accept", kept)
	assert.Equal(t, 3, r.code)
	assert.Contains(t, r.errOut, "BLOCK AIR_SHORT_TERM_LIMIT")
	assert.Contains(t, r.errOut, "'saggar run replan --save "+kept+"' looks for other moves")

	bad, err := status.New(codes.InvalidArgument, "bad").WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
		{Field: "moves[0].etag", Description: "is old"},
	}})
	require.NoError(t, err)
	f.answer("MoveRuns", bad.Err())
	assert.Regexp(t, `moves\.json:[0-9]+: moves\[0\]\.etag: is old`, f.run("run", "replan", "--accept", kept).errOut)
}

func TestReplanWhereNothingCanMove(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ReplanRuns", &saggarv1.ReplanRunsResponse{Status: saggarv1.PlanStatus_PLAN_STATUS_OPTIMAL, Caution: "A planning estimate."})
	assert.Equal(t, "Nothing that is booked is hit by closures, hours, furnaces, supplies, people or the air of the rooms.\n", f.succeed("run", "replan"))
	for state, says := range map[saggarv1.PlanStatus]string{
		saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE: "HORIZON", saggarv1.PlanStatus_PLAN_STATUS_UNRESOLVED: "No windows were found in the time",
	} {
		answer := replanAnswer()
		answer.Status, answer.Moves, answer.Standing, answer.Overruns = state, nil, nil, nil
		answer.Blames = impossible().GetBlames()
		f.answer("ReplanRuns", answer)
		kept := filepath.Join(f.dir, "moves.json")
		r := f.run("run", "replan", "--save", kept)
		assert.Equal(t, 3, r.code, state)
		assert.Contains(t, r.out, says)
		assert.Contains(t, r.out, "stays for now", "a hit that would move and has nowhere to go")
		assert.NoFileExists(t, kept)
	}
	f.answer("ReplanRuns", replanAnswer())
	assert.Contains(t, f.succeed("run", "replan"), "keep this with --save FILE")
	f.answer("ReplanRuns", &saggarv1.ReplanRunsResponse{})
	assert.Contains(t, f.run("run", "replan").errOut, "without an answer")
}

func TestAClosureSaysWhatItHits(t *testing.T) {
	f := weekServer(t)
	add := []string{"closure", "add", "repair", "--from", "2027-03-02 09:00", "--until", "2027-03-03 09:00", "--subject"}
	for subject, says := range map[string]string{
		"rooms/kiln-hall":   "saggar: the closure hits 1 booked firing of 1 run; 'saggar run replan' shows them and where they could go\n",
		"furnaces/big-kiln": "saggar: the closure hits 1 booked firing of 1 run; 'saggar run replan' shows them and where they could go\n",
		"furnaces/muffle":   "", "rooms/bay": "",
	} {
		g := weekServer(t)
		g.answer("UpdateClosure", closure(subject, "2027-03-02T09:00:00Z", "2027-03-03T09:00:00Z"))
		r := g.run(append(add, subject)...)
		assert.Zero(t, r.code, subject)
		assert.Equal(t, says, r.errOut, subject)
		if says != "" {
			assertSame(t, &saggarv1.ListFiringsRequest{
				Parent: "studios/marl-lane", StartTime: instant("2027-03-02T09:00:00Z"), EndTime: instant("2027-03-03T09:00:00Z"),
			}, asked[*saggarv1.ListFiringsRequest](g))
		}
	}
	f.answer("UpdateClosure", closure("rooms/kiln-hall", "2027-03-02T09:00:00Z", "2027-03-03T09:00:00Z"))
	f.answer("ListFirings", status.Error(codes.Internal, "lost"))
	r := f.run(append(add, "rooms/kiln-hall")...)
	assert.Zero(t, r.code, "the closure stands")
	assert.Contains(t, r.out, "rooms/kiln-hall")
	assert.Contains(t, r.errOut, "what the closure hits was not found out (lost)")
}
