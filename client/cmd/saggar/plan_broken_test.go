package main

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
)

// onTheWay is what a search has found so far.
func onTheWay(blocks bool) *saggarv1.PlanRunsResponse {
	answer := planAnswer()
	answer.Status = saggarv1.PlanStatus_PLAN_STATUS_SEARCHING
	if blocks {
		answer.Findings = append(answer.Findings, warning(saggarv1.Severity_SEVERITY_BLOCK))
	}
	return answer
}

// TestASearchThatIsBrokenOffShowsItsBest: what the stream gave until the call's time was over is shown and kept, and said not to
// be the last word; nothing is booked of it unasked.
func TestASearchThatIsBrokenOffShowsItsBest(t *testing.T) {
	f := newFakeServer(t)
	over := status.Error(codes.DeadlineExceeded, "context deadline exceeded")
	waiting := &saggarv1.PlanRunsResponse{Status: saggarv1.PlanStatus_PLAN_STATUS_SEARCHING, Progress: &saggarv1.PlanProgress{WaitingCount: 1}}
	f.answer("PlanRuns", onTheWay(false), waiting, over)
	kept := filepath.Join(f.dir, "kept.json")
	r := f.run("run", "plan", "bisque", "--department", "ceramics", "--save", kept)
	assert.Equal(t, 5, r.code)
	assert.Contains(t, r.out, "bisque  big-kiln")
	assert.Contains(t, r.out, "the search broke off")
	assert.Contains(t, r.errOut, "did not answer in time")
	assert.Contains(t, r.errOut, "the search was broken off: what is shown is the best that was found until then")
	assert.FileExists(t, kept)
	r = f.run("run", "book", "bisque", "--department", "ceramics")
	assert.Equal(t, 5, r.code)
	assert.Zero(t, requests[*saggarv1.BookRunRequest](f))

	f.answer("PlanRuns", onTheWay(true), over)
	blocked := filepath.Join(f.dir, "blocked.json")
	r = f.run("run", "plan", "bisque", "--department", "ceramics", "--save", blocked)
	assert.Equal(t, 5, r.code)
	assert.NoFileExists(t, blocked, "a finding refuses it")

	f.answer("PlanRuns", waiting, over)
	r = f.run("run", "plan", "bisque", "--department", "ceramics")
	assert.Equal(t, 5, r.code)
	assert.Empty(t, r.out)
	assert.NotContains(t, r.errOut, "what is shown")

	moving := replanAnswer()
	moving.Status = saggarv1.PlanStatus_PLAN_STATUS_SEARCHING
	f.answer("ReplanRuns", moving, over)
	r = f.run("run", "replan")
	assert.Equal(t, 5, r.code)
	assert.Contains(t, r.out, "Moves")
	assert.Contains(t, r.errOut, "the best that was found until then")
}

func TestAPlanOfWhatStandsSaysThatItMoves(t *testing.T) {
	f := newFakeServer(t)
	answer := planAnswer()
	answer.MovesStanding = true
	f.answer("PlanRuns", answer)
	kept := filepath.Join(f.dir, "kept.json")
	out := f.succeed("run", "plan", "bisque", "--department", "ceramics", "--id", "tiles", "--save", kept)
	assert.Contains(t, out, "This plans a move of what stands already, and changes nothing")
	assert.Contains(t, out, "saggar run move tiles --plan FILE")
	for _, args := range [][]string{{"--plan", kept}, {"bisque", "--department", "ceramics", "--id", "tiles"}} {
		r := f.run(append([]string{"run", "book"}, args...)...)
		assert.Equal(t, 2, r.code)
		assert.Contains(t, r.errOut, "stands already, and would be moved")
	}
	assert.Zero(t, requests[*saggarv1.BookRunRequest](f))
}

// TestBlamesOfManyRunsNameThem: no run stands in an answer that nothing fits.
func TestBlamesOfManyRunsNameThem(t *testing.T) {
	f := newFakeServer(t)
	answer := impossible()
	answer.Blames = append(answer.Blames, &saggarv1.PlanReason{RunIndex: 1, RunLabel: "red-two", Stage: "calcine", Code: "LAG", Message: "too late"})
	f.answer("PlanRuns", answer)
	r := f.run("run", "plan", "--runs", f.written("runs.yaml", runsFile))
	assert.Equal(t, 3, r.code)
	assert.Regexp(t, `(?m)^run +stage +code`, r.out)
	assert.Regexp(t, `(?m)^red-two +calcine +LAG`, r.out)
}

func TestWhatReplanSaysWhenNothingIsHitOrMovesAreOld(t *testing.T) {
	f := newFakeServer(t)
	answer := &saggarv1.ReplanRunsResponse{
		Status: saggarv1.PlanStatus_PLAN_STATUS_OPTIMAL, Caution: "A planning estimate.", Overruns: replanAnswer().GetOverruns(),
	}
	f.answer("ReplanRuns", answer)
	f.answer("GetRun", &saggarv1.Run{Name: "studios/marl-lane/runs/tiles", Loads: []*saggarv1.Load{
		{Name: "studios/marl-lane/runs/tiles/loads/bisque", Firing: "studios/marl-lane/firings/f1"},
	}})
	kept := filepath.Join(f.dir, "moves.json")
	out := f.succeed("run", "replan", "--overrun", "tiles/bisque=2027-03-02 14:20", "--save", kept)
	assert.Contains(t, out, "Nothing that is booked is hit")
	assert.Contains(t, out, "The overrun is not recorded yet: 'saggar run replan --accept "+kept+"' records it")

	f.answer("MoveRuns", status.Error(codes.Aborted, "runs/tiles was changed by somebody else meanwhile"))
	r := f.run("run", "replan", "--accept", kept)
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "'saggar run replan --save "+kept+"' looks for other moves")
}

// TestWhoAttendsIsNamedBeforePlanning: so that their own day and trainings are looked at, by the recipe's stages; and for a run that
// stands without moving it.
func TestWhoAttendsIsNamedBeforePlanning(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetRecipe", &saggarv1.Recipe{Name: "studios/marl-lane/recipes/bisque", Stages: []*saggarv1.Stage{{Id: "dry"}, {Id: "bisque"}}})
	f.answer("PlanRuns", planAnswer())
	f.succeed("run", "plan", "bisque", "--department", "ceramics", "--attended-by", "mira", "--attended-by", "bisque=tom")
	assertSame(t, &saggarv1.Run{
		Recipe: "studios/marl-lane/recipes/bisque", Department: "ceramics",
		StageWindows: []*saggarv1.StageWindow{{Stage: "dry", AttendedBy: "mira"}, {Stage: "bisque", AttendedBy: "tom"}},
	}, asked[*saggarv1.PlanRunsRequest](f).GetRuns()[0])
	r := f.run("run", "plan", "bisque", "--department", "ceramics", "--attended-by", "polish=tom")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, `--attended-by: the run has no stage "polish"`)

	run := booked().GetRuns()[0]
	f.answer("GetRun", run)
	f.answer("MoveRun", run)
	planned := requests[*saggarv1.PlanRunsRequest](f)
	f.succeed("run", "move", "tiles", "--attended-by", "bisque=tom")
	assert.Equal(t, planned, requests[*saggarv1.PlanRunsRequest](f), "it stays where it is")
	moved := asked[*saggarv1.MoveRunRequest](f).GetStageWindows()
	require.Len(t, moved, 2)
	assert.Equal(t, "tom", moved[1].GetAttendedBy())
	assert.Len(t, moved[1].GetPhases(), len(run.GetStageWindows()[1].GetPhases()))
}
