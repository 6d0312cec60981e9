package app_test

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

func TestPlanThenBook(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("blue", 1), monday)
	require.Equal(t, app.PlanOptimal, answer.Status, "%+v", answer.Blames)
	require.Len(t, answer.Run.Windows, 4)
	require.False(t, finding.Blocks(answer.Findings), "%+v", answer.Findings)
	for i := 1; i < len(answer.Run.Windows); i++ {
		assert.False(t, answer.Run.Windows[i].Window().Start.Before(answer.Run.Windows[i-1].Window().Start))
	}

	booked, err := b.book(answer, "")
	require.NoError(t, err)
	require.Len(t, booked.Runs, 1)
	run, err := b.GetRun(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	assert.Equal(t, domain.RunConfirmed, run.State())
	assert.Len(t, run.Loads, 4)
	assert.Equal(t, "steward", run.Maker)
	for i, load := range run.Loads {
		assert.True(t, load.Window.Start.Equal(answer.Run.Windows[i].Window().Start), "stage %s", load.Stage)
	}
}

func TestBookingTheSameWindowsTwiceIsRefusedWithTheBlocker(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("red", 1), monday)
	_, err := b.book(answer, "")
	require.NoError(t, err)

	_, err = b.book(answer, "")
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, finding.Block, refusal.Findings[0].Severity)
	assert.Equal(t, "FURNACE_BUSY", refusal.Findings[0].Code)
	assert.Contains(t, refusal.Findings[0].Message, "Red (run red-")
	assert.NotEmpty(t, refusal.Findings[0].Cure)
}

func TestWarningsMustBeAcknowledged(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("blue", 1), monday)
	_, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{answer.Run}})
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Contains(t, refusal.Unacknowledged, "HEAT_OPENED_REDUCING")
	runs, err := b.ListRuns(b.ctx, "test", "", 0, 10)
	require.NoError(t, err)
	assert.Empty(t, runs, "a refused booking left something behind")
}

func TestTooMuchSulfurIsRefusedAndTheCurePasses(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	small := b.plan(t, request("blue", 1), monday)
	large := small.Run
	large.Scale.Factor = 12
	result, err := b.BookRun(b.ctx, app.Call{Caller: steward, Method: "CheckRun", ValidateOnly: true},
		app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{large}})
	require.NoError(t, err)
	var over []finding.Finding
	for _, f := range result.Findings {
		// A larger charge also takes longer to cool than the small one's windows say.
		if f.Severity == finding.Block && f.Code != "WINDOW_PHASES" {
			over = append(over, f)
		}
	}
	require.NotEmpty(t, over)
	for _, f := range over {
		assert.Contains(t, f.Code, "AIR_", "%+v", f)
		assert.NotEmpty(t, f.Cure)
		assert.NotEmpty(t, f.Source)
	}

	answer := b.plan(t, request("blue", 12), monday)
	assert.Equal(t, app.PlanInfeasible, answer.Status)
	require.NotEmpty(t, answer.Blames)
	assert.Equal(t, "AIR", answer.Blames[0].Code)
	assert.True(t, finding.Blocks(answer.Findings), "the answer says what would be enough")
}

func TestARepeatedRequestBooksOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("red", 1), monday)
	id := uuid.NewString()
	first, err := b.book(answer, id)
	require.NoError(t, err)
	again, err := b.book(answer, id)
	require.NoError(t, err)
	assert.Equal(t, first.Runs[0].ID, again.Runs[0].ID)
	runs, err := b.ListRuns(b.ctx, "test", "", 0, 10)
	require.NoError(t, err)
	assert.Len(t, runs, 1)

	other := b.plan(t, request("red", 2), monday)
	_, err = b.book(other, id)
	require.ErrorIs(t, err, domain.ErrRequestReused)
}

func TestSeveralRunsAreBookedTogetherOrNotAtAll(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("red", 1), monday)
	other := b.plan(t, request("blue", 1), monday.AddDate(0, 0, 7))
	clash := answer.Run
	in := app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{answer.Run, other.Run, clash},
		Acknowledged: append(codes(answer), codes(other)...),
	}
	_, err := b.BookRun(b.ctx, call("BookRun"), in)
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	runs, err := b.ListRuns(b.ctx, "test", "", 0, 10)
	require.NoError(t, err)
	assert.Empty(t, runs)

	in.Runs = in.Runs[:2]
	booked, err := b.BookRun(b.ctx, call("BookRun"), in)
	require.NoError(t, err)
	assert.Len(t, booked.Runs, 2)
}

func TestCancelFreesTheWindowAndMoveTakesAnother(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("red", 1), monday)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	id := booked.Runs[0].ID

	later := b.plan(t, request("red", 1), monday.AddDate(0, 0, 1))
	moved, err := b.MoveRuns(b.ctx, call("MoveRun"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: id, Windows: later.Run.Windows}}, Acknowledged: codes(later),
	})
	require.NoError(t, err)
	assert.Equal(t, id, moved.Runs[0].ID)
	_, err = b.MoveRuns(b.ctx, call("MoveRun"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: id, Windows: later.Run.Windows, ExpectRevision: booked.Runs[0].Revision}},
	})
	require.ErrorIs(t, err, domain.ErrChangedMeanwhile, "an old etag moves nothing")

	again, err := b.book(answer, "")
	require.NoError(t, err, "the window that was left is free")
	stored, err := b.GetRun(b.ctx, "test", id)
	require.NoError(t, err)
	assert.True(t, stored.Loads[0].Window.Start.Equal(later.Run.Windows[0].Window().Start))

	cancelled, err := b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: again.Runs[0].ID, ExpectRevision: 0})
	require.NoError(t, err)
	assert.Equal(t, domain.RunCancelled, cancelled.State())
	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: again.Runs[0].ID, ExpectRevision: 0})
	require.ErrorIs(t, err, domain.ErrWrongState)
	_, err = b.book(answer, "")
	require.NoError(t, err, "the window that was called off is free")
}

func TestAMakerTouchesOnlyRunsOfTheirOwn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("red", 1), monday), "")
	require.NoError(t, err)
	maker := app.Call{Caller: domain.Caller{ID: "ines", Role: domain.RoleMaker}, OwnOnly: true, Method: "CancelRun"}
	_, err = b.CancelRun(b.ctx, maker, app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID, ExpectRevision: 0})
	require.ErrorIs(t, err, domain.ErrForbidden)
}

func TestWindowsThatNoBookingCouldHave(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	good := b.plan(t, request("red", 1), monday).Run
	cases := map[string]struct {
		change func(*app.RunRequest)
		field  string
	}{
		"in the past":     {func(r *app.RunRequest) { r.Windows = shifted(r.Windows, -48*time.Hour) }, "runs[0].stage_windows[0].phases[0].start_time"},
		"missing stage":   {func(r *app.RunRequest) { r.Windows = nil }, "runs[0].stage_windows"},
		"other stage":     {func(r *app.RunRequest) { r.Windows = shifted(r.Windows, 0); r.Windows[0].Stage = "glaze" }, "runs[0].stage_windows[0].stage"},
		"no such furnace": {func(r *app.RunRequest) { r.Windows = shifted(r.Windows, 0); r.Windows[0].Furnace = "nowhere" }, "runs[0].stage_windows[0].furnace"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			bad := good
			c.change(&bad)
			_, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{bad}})
			faults := finding.FaultsOf(err)
			require.NotEmpty(t, faults, "%v", err)
			assert.Equal(t, c.field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		})
	}
}

func shifted(windows []domain.StageWindow, by time.Duration) []domain.StageWindow {
	var moved []domain.StageWindow
	for _, w := range windows {
		m := domain.StageWindow{Stage: w.Stage, Furnace: w.Furnace}
		for _, p := range w.Phases {
			p.Window = domain.Window{Start: p.Window.Start.Add(by), End: p.Window.End.Add(by)}
			m.Phases = append(m.Phases, p)
		}
		moved = append(moved, m)
	}
	return moved
}

func TestAClosureBetweenPlanAndBookingRefuses(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("red", 1), monday)
	window := answer.Run.Windows[0].Window()
	_, err := b.UpdateEquipment(b.ctx, call("UpdateClosure"), app.EquipmentUpdate{
		StudioID: "test", AllowMissing: true, Equipment: domain.Equipment{
			Kind: domain.KindClosure, ID: "elements", Closure: &domain.Closure{
				ID: "elements", SubjectKind: domain.KindFurnace, SubjectID: answer.Run.Windows[0].Furnace,
				Start: window.Start, End: window.Start.Add(time.Hour), Reason: "new elements",
			},
		},
	})
	require.NoError(t, err)
	_, err = b.book(answer, "")
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, "CLOSED", refusal.Findings[0].Code)
}

func TestAnothersExcessIsNotPutDownToAFiringThatAddsNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	blue := b.plan(t, request("blue", 1), monday)
	require.Contains(t, codes(blue), "AIR_SHORT_TERM_LIMIT", "the sulfur recipe must warn for this to show anything")
	_, err := b.book(blue, "")
	require.NoError(t, err)
	red := b.plan(t, request("red", 1), monday)
	assert.NotContains(t, codes(red), "AIR_SHORT_TERM_LIMIT")
}

func TestARunCanBeMovedByLessThanItsOwnLength(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("red", 1), monday), "")
	require.NoError(t, err)
	run := booked.Runs[0]
	again := request("red", 1)
	again.ID = run.ID
	answer := b.plan(t, again, monday.Add(30*time.Minute))
	require.Equal(t, app.PlanOptimal, answer.Status)
	assert.True(t, answer.Run.Windows[0].Window().Overlaps(run.Loads[0].Window), "its own window was in its way")
	assert.Equal(t, run.Loads[0].Firing.Furnace, answer.Run.Windows[0].Furnace)
	moved, err := b.MoveRuns(b.ctx, call("MoveRun"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: run.ID, Windows: answer.Run.Windows}}, Acknowledged: codes(answer),
	})
	require.NoError(t, err)
	assert.True(t, moved.Runs[0].Loads[0].Window.Start.Equal(monday.Add(30*time.Minute)))
}

func TestTheCodesThatWereAcknowledgedAreKept(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("blue", 1), monday)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	run, err := b.GetRun(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	assert.ElementsMatch(t, codes(answer), run.Acknowledged)
}

func TestIDsThatAreTakenOrStandTwice(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	named := request("red", 1)
	named.ID = "mine"
	answer := b.plan(t, named, monday)
	in := app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{answer.Run, answer.Run}}
	_, err := b.BookRun(b.ctx, call("BookRun"), in)
	require.NotEmpty(t, finding.FaultsOf(err))
	assert.Equal(t, "runs[1].name", finding.FaultsOf(err)[0].Field)
	_, err = b.book(answer, "")
	require.NoError(t, err)
	_, err = b.book(answer, "")
	require.ErrorIs(t, err, domain.ErrAlreadyExists)
	assert.Contains(t, b.blocks(t, answer.Run), "RUN_ID_TAKEN")
}

func TestARunThatHasBegunStaysOnRecord(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("red", 1), monday)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	later := b.at(answer.Run.Windows[0].Window().Start)
	_, err = later.MoveRuns(b.ctx, call("MoveRun"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: booked.Runs[0].ID, Windows: shifted(answer.Run.Windows, 48*time.Hour)}}, Acknowledged: codes(answer),
	})
	require.ErrorIs(t, err, domain.ErrWrongState)
	maker := app.Call{Caller: domain.Caller{ID: "steward", Role: domain.RoleMaker}, Method: "CancelRun"}
	_, err = later.CancelRun(b.ctx, maker, app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID, ExpectRevision: 0})
	require.ErrorIs(t, err, domain.ErrWrongState)
	_, err = later.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID, ExpectRevision: 0})
	require.ErrorIs(t, err, domain.ErrWrongState, "it may be hot and full")
	freed, err := later.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID, NeverCharged: true})
	require.NoError(t, err, "a technician has looked")
	assert.Equal(t, domain.LoadMissed, freed.Loads[0].State)
	over := b.at(answer.Run.Windows[0].Window().End)
	_, err = over.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID, NeverCharged: true})
	require.ErrorIs(t, err, domain.ErrWrongState)
}

// TestCancellingKeepsWhatIsUnderFire: the furnace of a stage that has begun stays taken, and its gas stays in the room's sum.
func TestCancellingKeepsWhatIsUnderFire(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("blue", 1), monday)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	reduce := booked.Runs[0].Loads[2]
	during := b.at(reduce.Window.Start.Add(2 * time.Hour))
	cancelled, err := during.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID})
	require.NoError(t, err)
	assert.Equal(t, domain.RunCancelled, cancelled.State())
	states := []domain.LoadState{}
	for _, load := range cancelled.Loads {
		states = append(states, load.State)
	}
	assert.Equal(t, []domain.LoadState{domain.LoadConfirmed, domain.LoadConfirmed, domain.LoadConfirmed, domain.LoadCancelled}, states)
	in := many(request("red", 1))
	in.Window.Start = reduce.Window.Start.Add(3 * time.Hour)
	in.Limits = []domain.PlanLimits{{AvoidFurnaces: []string{"muffle-a", "muffle-b", "kiln"}}}
	next, err := during.planInput(in)
	require.NoError(t, err)
	assert.False(t, next.Run.Windows[0].Window().Start.Before(reduce.Window.End), "pot is not free before it is drawn and clear")
}

func TestPlanningInThePastIsRefusedAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.tryPlan(request("red", 1), monday.AddDate(0, 0, -1))
	require.NotEmpty(t, finding.FaultsOf(err))
	assert.Equal(t, "start_time", finding.FaultsOf(err)[0].Field)
}

func TestAStageThatNoFurnaceCanDoIsNotStored(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for name, change := range map[string]func(*chem.Stage){
		"too hot for all":    func(s *chem.Stage) { s.Program.Segments[0].ToCelsius = 1400 },
		"only a bench named": func(s *chem.Stage) { s.Furnaces = []string{"dust-hood"} },
		"atmosphere of none": func(s *chem.Stage) { s.Atmosphere = heat.Neutral },
		"no such furnace":    func(s *chem.Stage) { s.Furnaces = []string{"nowhere"} },
	} {
		recipe := redRecipe()
		recipe.ID = "odd"
		change(&recipe.Stages[0])
		_, err := b.CreateRecipeVersion(b.ctx, call("CreateRecipeVersion"), "test", recipe)
		require.NotEmpty(t, finding.FaultsOf(err), "%s: %v", name, err)
		assert.Contains(t, finding.FaultsOf(err)[0].Field, "stages[0].furnaces", name)
	}
}

func TestBenchWorkWithoutAStationNeedsSomebodyThere(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	recipe := chem.Recipe{ID: "wash", Title: "Wash", Stages: []chem.Stage{{ID: "wash", Kind: chem.Wash, BenchMinutes: 60}}}
	_, err := b.CreateRecipeVersion(b.ctx, call("CreateRecipeVersion"), "test", recipe)
	require.NoError(t, err)
	answer := b.plan(t, request("wash", 1), monday)
	require.Equal(t, app.PlanOptimal, answer.Status)
	require.Empty(t, b.blocks(t, answer.Run))
	night := answer.Run
	night.Windows = shifted(answer.Run.Windows, 19*time.Hour)
	assert.Equal(t, []string{"STAFFED_HOURS"}, b.blocks(t, night))
}
