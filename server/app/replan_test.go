package app_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// replan returns the last answer.
func (b bench) replan(t *testing.T, c app.Call, in app.ReplanInput) app.ReplanAnswer {
	t.Helper()
	var last app.ReplanAnswer
	in.StudioID = "test"
	require.NoError(t, b.ReplanRuns(b.ctx, c, in, func(a app.ReplanAnswer) error { last = a; return nil }))
	return last
}

// accept moves what a replan proposes.
func (b bench) accept(c app.Call, answer app.ReplanAnswer) (app.BookRunResult, error) {
	return b.MoveRuns(b.ctx, c, app.MoveRunsInput{
		StudioID: "test", Moves: answer.Moves, Overruns: answer.Overruns, Acknowledged: findingCodes(answer.Findings), Revision: answer.Revision,
	})
}

// bookMany books runs of recipes one after the other, each at its earliest.
func (b bench) bookEach(t *testing.T, recipes ...string) []domain.Run {
	t.Helper()
	var runs []domain.Run
	for _, recipe := range recipes {
		booked, err := b.book(b.plan(t, request(recipe, 1), monday), "")
		require.NoError(t, err)
		runs = append(runs, booked.Runs[0])
	}
	return runs
}

func (b bench) close(t *testing.T, kind domain.EquipmentKind, id string, window domain.Window) {
	t.Helper()
	b.put(t, domain.Equipment{Kind: domain.KindClosure, ID: "repair", Closure: &domain.Closure{
		ID: "repair", SubjectKind: kind, SubjectID: id, Start: window.Start, End: window.End, Reason: "repair",
	}})
}

func TestNothingIsHitWhereNothingChanged(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.bookEach(t, "blue", "red")
	answer := b.replan(t, call("ReplanRuns"), app.ReplanInput{})
	assert.Equal(t, app.PlanOptimal, answer.Status)
	assert.Empty(t, answer.Hits)
	assert.Empty(t, answer.Moves)
}

// TestAClosureIsReplannedWithTheLeastChange: only what is hit moves, nothing before it is accepted, then all at once.
func TestAClosureIsReplannedWithTheLeastChange(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	runs := b.bookEach(t, "blue", "red", "blue")
	reduce := runs[0].Loads[2]
	b.close(t, domain.KindFurnace, "pot", domain.Window{Start: reduce.Window.Start.Add(-time.Hour), End: reduce.Window.End.Add(6 * time.Hour)})
	answer := b.replan(t, call("ReplanRuns"), app.ReplanInput{})
	require.Contains(t, []app.PlanStatus{app.PlanOptimal, app.PlanFeasible}, answer.Status, "%v", answer.Blames)
	require.NotEmpty(t, answer.Hits)
	assert.Equal(t, runs[0].ID, answer.Hits[0].Run.ID)
	assert.Equal(t, []string{"reduce"}, answer.Hits[0].Stages)
	assert.Contains(t, answer.Hits[0].Causes[0], "pot is out of use from")
	for _, hit := range answer.Hits {
		assert.Empty(t, hit.NotMoved)
	}
	stands, err := b.GetRun(b.ctx, "test", runs[0].ID)
	require.NoError(t, err)
	assert.Equal(t, runs[0].Revision, stands.Revision, "nothing moves before it is accepted")

	accepted, err := b.accept(call("MoveRuns"), answer)
	require.NoError(t, err)
	require.Len(t, accepted.Runs, len(answer.Moves))
	moved, err := b.GetRun(b.ctx, "test", runs[0].ID)
	require.NoError(t, err)
	assert.False(t, moved.Loads[2].Window.Start.Before(reduce.Window.End.Add(6*time.Hour)))
	assert.True(t, moved.Loads[0].Window.Start.Equal(runs[0].Loads[0].Window.Start), "the first stage may stay")
	assert.Empty(t, b.replan(t, call("ReplanRuns"), app.ReplanInput{}).Hits, "nothing is hit any more")

	_, err = b.accept(call("MoveRuns"), answer)
	require.ErrorIs(t, err, domain.ErrChangedMeanwhile, "accepted twice: the runs have changed")
}

// TestMovesAreAllOrNone: where one of several is refused none moves.
func TestMovesAreAllOrNone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	runs := b.bookEach(t, "red", "red")
	windows := func(run domain.Run, by time.Duration) []domain.StageWindow {
		return shifted([]domain.StageWindow{run.Loads[0].StageWindow()}, by)
	}
	in := app.MoveRunsInput{StudioID: "test", Acknowledged: []string{"WATCH_RAISED"}, Moves: []app.RunMove{
		{RunID: runs[0].ID, Windows: windows(runs[0], 7*24*time.Hour)}, {RunID: runs[1].ID, Windows: windows(runs[1], 12*time.Hour)},
	}}
	_, err := b.MoveRuns(b.ctx, call("MoveRuns"), in)
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal, "a draw at night")
	assert.Contains(t, refusal.Findings[0].Field, "moves[1]")
	stands, err := b.GetRun(b.ctx, "test", runs[0].ID)
	require.NoError(t, err)
	assert.Equal(t, runs[0].Revision, stands.Revision)
	in.Moves[1].RunID = runs[0].ID
	_, err = b.MoveRuns(b.ctx, call("MoveRuns"), in)
	require.ErrorContains(t, err, "moves[1].name")
}

// TestAnOverrunMovesWhatComesAfter: the furnace is still hot, its next firing and the run's own next stage move, and the
// firing ends later from then on.
func TestAnOverrunMovesWhatComesAfter(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	runs := b.bookEach(t, "blue")
	firing := runs[0].Loads[0].Firing
	// Another run follows on the same furnace as closely as it can.
	next := b.plan(t, request("red", 1), firing.Window.End)
	next.Run.Windows = shifted(next.Run.Windows, firing.Window.End.Sub(next.Run.Windows[0].Window().Start))
	next.Run.Windows[0].Furnace = firing.Furnace
	booked, err := b.book(next, "")
	require.NoError(t, err)
	late := b.at(firing.Window.End.Add(-time.Hour))
	overrun := app.Overrun{FiringID: firing.ID, End: firing.Window.End.Add(3 * time.Hour)}
	answer := late.replan(t, call("ReplanRuns"), app.ReplanInput{Overruns: []app.Overrun{overrun}})
	require.Contains(t, []app.PlanStatus{app.PlanOptimal, app.PlanFeasible}, answer.Status, "%v", answer.Blames)
	require.Len(t, answer.Hits, 2)
	var hit []string
	for _, h := range answer.Hits {
		hit = append(hit, h.Run.ID)
		assert.Empty(t, h.NotMoved)
	}
	assert.ElementsMatch(t, []string{runs[0].ID, booked.Runs[0].ID}, hit)

	_, err = late.MoveRuns(b.ctx, call("MoveRuns"), app.MoveRunsInput{StudioID: "test", Overruns: answer.Overruns})
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal, "what comes after is in the way")
	assert.Contains(t, findingCodes(refusal.Findings), "FURNACE_BUSY")

	_, err = late.accept(call("MoveRuns"), answer)
	require.NoError(t, err)
	stands, err := b.GetRun(b.ctx, "test", runs[0].ID)
	require.NoError(t, err)
	prolonged := stands.Loads[0].Firing
	assert.True(t, prolonged.Window.End.Equal(overrun.End))
	assert.True(t, prolonged.Window.Start.Equal(firing.Window.Start))
	draw := prolonged.Phases[len(prolonged.Phases)-1]
	assert.Equal(t, heat.Draw, draw.Kind)
	assert.Equal(t, firing.Phases[len(firing.Phases)-1].Window.Minutes(), draw.Window.Minutes())
	assert.False(t, stands.Loads[1].Window.Start.Before(draw.Window.End), "the next stage waits for it")
	after, err := b.GetRun(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	if f := after.Loads[0].Firing; f.Furnace == firing.Furnace {
		assert.False(t, f.Window.Overlaps(prolonged.Window))
	}

	maker := app.Call{Caller: domain.Caller{ID: "mia", Role: domain.RoleMaker}, OwnOnly: true, Method: "ReplanRuns"}
	err = late.ReplanRuns(b.ctx, maker, app.ReplanInput{StudioID: "test", Overruns: []app.Overrun{overrun}}, nil)
	require.ErrorIs(t, err, domain.ErrForbidden)
}

// TestARunUnderWayMovesOnlyWhatIsLeft: a stage that has begun keeps its window.
func TestARunUnderWayMovesOnlyWhatIsLeft(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	run := b.bookEach(t, "blue")[0]
	var windows []domain.StageWindow
	for _, load := range run.Loads {
		windows = append(windows, load.StageWindow())
	}
	later := b.at(run.Loads[1].Window.Start)
	moves := func(windows []domain.StageWindow) app.MoveRunsInput {
		return app.MoveRunsInput{StudioID: "test", Moves: []app.RunMove{{RunID: run.ID, Windows: windows}}, Acknowledged: run.Acknowledged}
	}
	_, err := later.MoveRuns(b.ctx, call("MoveRuns"), moves(shifted(windows, 7*24*time.Hour)))
	require.ErrorContains(t, err, "has begun")
	left := append(append([]domain.StageWindow{}, windows[:2]...), shifted(windows[2:], 24*time.Hour)...)
	result, err := later.MoveRuns(b.ctx, call("MoveRuns"), moves(left))
	require.NoError(t, err)
	stands, err := b.GetRun(b.ctx, "test", run.ID)
	require.NoError(t, err)
	assert.Equal(t, result.Runs[0].Loads[2].Window, stands.Loads[2].Window)
	assert.Equal(t, run.Loads[0].Firing.ID, stands.Loads[0].Firing.ID, "the firing under way is the same")
	assert.NotEqual(t, run.Loads[2].Firing.ID, stands.Loads[2].Firing.ID)
	assert.Equal(t, 24*time.Hour, stands.Loads[2].Window.Start.Sub(run.Loads[2].Window.Start))
}

func TestWhoMayHaveRunsMoved(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	run := b.bookEach(t, "red")[0]
	b.close(t, domain.KindFurnace, run.Loads[0].Firing.Furnace, run.Loads[0].Window)
	maker := app.Call{Caller: domain.Caller{ID: "mia", Role: domain.RoleMaker}, OwnOnly: true, Method: "ReplanRuns"}
	answer := b.replan(t, maker, app.ReplanInput{})
	require.Len(t, answer.Hits, 1)
	assert.Contains(t, answer.Hits[0].NotMoved, "somebody else")
	assert.Empty(t, answer.Moves)
	_, err := b.MoveRuns(b.ctx, maker, app.MoveRunsInput{StudioID: "test", Moves: []app.RunMove{{RunID: run.ID}}})
	require.ErrorIs(t, err, domain.ErrForbidden)
}

// TestAFailedFanHitsWhatItCarried: with the fan out of use the room does not carry what was booked.
func TestAFailedFanHitsWhatItCarried(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	run := b.bookEach(t, "blue")[0]
	reduce := run.Loads[2].Window
	b.close(t, domain.KindCircuit, "fan", domain.Window{Start: reduce.Start, End: reduce.Start.Add(36 * time.Hour)})
	answer := b.replan(t, call("ReplanRuns"), app.ReplanInput{})
	require.Len(t, answer.Hits, 1)
	assert.Contains(t, answer.Hits[0].Stages, "reduce")
	require.NotEmpty(t, answer.Moves, "%v %v", answer.Status, answer.Hits[0].NotMoved)
	_, err := b.accept(call("MoveRuns"), answer)
	require.NoError(t, err)
	assert.Empty(t, b.replan(t, call("ReplanRuns"), app.ReplanInput{}).Hits)
}

// TestWhatWeakenedHitsWhatItCarried: a supply that gives less, a furnace that takes less and a room with less air leave booked
// firings that no longer fit, and each says why.
func TestWhatWeakenedHitsWhatItCarried(t *testing.T) {
	t.Parallel()
	supply := domain.Equipment{Kind: domain.KindSupply, ID: "panel", Supply: &domain.Supply{ID: "panel", LimitKilowatts: 3}}
	weak := testFurnace("pot")
	weak.TopCelsius = 600
	for name, c := range map[string]struct {
		changed domain.Equipment
		cause   string
	}{
		"supply":  {supply, "panel would carry"},
		"furnace": {domain.Equipment{Kind: domain.KindFurnace, ID: "pot", Furnace: &weak}, "pot takes 600 C at most"},
		"air":     {fan(0.02), "the air of bay does not carry it any more"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.bookEach(t, "blue")
			b.put(t, c.changed)
			answer := b.replan(t, call("ReplanRuns"), app.ReplanInput{})
			require.Len(t, answer.Hits, 1)
			assert.Contains(t, strings.Join(answer.Hits[0].Causes, "; "), c.cause)
		})
	}
}

// TestAFiringUnderWayWithoutItsExtractionIsNoMatterOfWaiting: nobody is told to let it end.
func TestAFiringUnderWayWithoutItsExtractionIsNoMatterOfWaiting(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	run := b.bookEach(t, "blue")[0]
	during := run.Loads[2].Window.Start.Add(2 * time.Hour)
	b.close(t, domain.KindCircuit, "fan", domain.Window{Start: during, End: during.Add(24 * time.Hour)})
	answer := b.at(during.Add(-time.Minute)).replan(t, call("ReplanRuns"), app.ReplanInput{})
	require.Len(t, answer.Hits, 1)
	assert.Contains(t, answer.Hits[0].NotMoved, "DANGER")
	assert.NotContains(t, answer.Hits[0].NotMoved, "let it end")
}

// TestADetectorThatIsDueBeforeTheFiringIsSaid: its test counts for thirty days, to 24 March.
func TestADetectorThatIsDueBeforeTheFiringIsSaid(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	soon, late := b.plan(t, request("blue", 1), monday), b.plan(t, request("blue", 1), monday.AddDate(0, 0, 30))
	assert.NotContains(t, codes(soon), "AIR_DETECTOR_DUE")
	assert.Contains(t, codes(late), "AIR_DETECTOR_DUE")
}
