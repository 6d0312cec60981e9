package app_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
)

// reduced is a lot that the third stage of a booked blue run left, weighed when it was drawn, and the application on that day.
func (b bench) reduced(t testing.TB, mass float64) (bench, app.SeenLot, domain.Run) {
	t.Helper()
	answer := b.plan(t, request("blue", 1), monday)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	run := booked.Runs[0]
	made := domain.Lot{Lot: chem.Lot{ID: "reduced-1", FromRun: run.ID, FromStage: "reduce", MassGrams: mass}}
	_, err = b.CreateLot(b.ctx, call("CreateLot"), "test", made)
	require.ErrorIs(t, err, domain.ErrWrongState, "it is not fired yet")
	after := b.at(run.Loads[2].Window.End)
	return after, after.keep(t, made), run
}

func TestWhatALoadMadeIsWhatItsBalanceLeaves(t *testing.T) {
	t.Parallel()
	b, lot, run := newBench(t).reduced(t, 90)
	answer := b.check(t, app.RunRequest{
		RecipeID: "blue", Department: "ceramics", Scale: chem.Scale{Factor: 1}, Windows: shifted(windowsOf(run), 21*24*60*60e9),
	})
	left := answer.Assessments[0].Charge.Balance.Stages[2]
	assert.InDelta(t, left.Remaining[0].MassGrams/left.MassOutGrams, lot.Phases[0].MassFraction, 1e-6)
	assert.Equal(t, left.Remaining[0].Formula, lot.Phases[0].Formula)
	assert.Equal(t, []string{"ceramics", "steward"}, []string{lot.Department, lot.Owner})
	assert.Contains(t, lot.Hazards, chem.HazardSulfide)
	for field, spoil := range map[string]func(*domain.Lot){
		"from_stage": func(l *domain.Lot) { l.FromStage = "polish" }, "from_run": func(l *domain.Lot) { l.FromRun = "none" },
	} {
		made := domain.Lot{Lot: chem.Lot{FromRun: run.ID, FromStage: "reduce", MassGrams: 5}}
		spoil(&made)
		_, err := b.CreateLot(b.ctx, call("CreateLot"), "test", made)
		faults := finding.FaultsOf(err)
		if assert.Len(t, faults, 1, "%s: %v", field, err) {
			assert.Equal(t, field, faults[0].Field)
		}
	}
}

// TestALotIsNoMoreThanItsLoadMade: all that went in may stay, with what a balance is off by, over all lots of the load together.
func TestALotIsNoMoreThanItsLoadMade(t *testing.T) {
	t.Parallel()
	b, _, run := newBench(t).reduced(t, 60)
	answer := b.check(t, app.RunRequest{
		RecipeID: "blue", Department: "ceramics", Scale: chem.Scale{Factor: 1}, Windows: shifted(windowsOf(run), 21*24*60*60e9),
	})
	in := answer.Assessments[0].Charge.Balance.Stages[2].MassInGrams
	require.Greater(t, in, answer.Assessments[0].Charge.Balance.Stages[2].MassOutGrams)
	left := in*1.02 - 60
	put := func(id string, grams float64) error {
		_, err := b.CreateLot(b.ctx, call("CreateLot"), "test", domain.Lot{Lot: chem.Lot{ID: id, FromRun: run.ID, FromStage: "reduce", MassGrams: grams}})
		return err
	}
	err := put("too-much", left+0.01)
	require.ErrorContains(t, err, "mass_grams: ")
	assert.ErrorContains(t, err, "are more than stage reduce of run "+run.ID+" can have made")
	require.NoError(t, put("the-rest", left-0.01))
	assert.ErrorContains(t, put("more", 1), "were put down before")
}

func windowsOf(run domain.Run) []domain.StageWindow {
	var windows []domain.StageWindow
	for _, load := range run.Loads {
		w := domain.StageWindow{Stage: load.Stage}
		if load.Firing == nil {
			w.Phases = []domain.PhaseWindow{{Kind: "work", Window: load.Window}}
		} else {
			w.Furnace = load.Firing.Furnace
			for _, p := range load.Firing.Phases {
				w.Phases = append(w.Phases, domain.PhaseWindow{Kind: p.Kind, Window: p.Window})
			}
		}
		windows = append(windows, w)
	}
	return windows
}

func TestARunFromALotIsPlannedBookedMovedAndCancelled(t *testing.T) {
	t.Parallel()
	b, lot, run := newBench(t).reduced(t, 90)
	asked := app.RunRequest{RecipeID: "blue", Department: "ceramics", StartStage: "oxidise", FromLot: lot.ID, Scale: chem.Scale{Factor: 0.5}}
	// The first run still fires its own last stage.
	answer := b.plan(t, asked, run.Loads[3].Window.End.AddDate(0, 0, 1).Truncate(60*60e9))
	require.Equal(t, app.PlanOptimal, answer.Status, "%+v", answer.Blames)
	require.Len(t, answer.Run.Windows, 1, "the stages before are done")
	checked := b.check(t, answer.Run)
	require.False(t, finding.Blocks(checked.Findings), "%+v", checked.Findings)
	weighed := checked.Assessments[0].Charge.Balance.Stages[0].WeighOut
	require.Len(t, weighed, 2)
	assert.Equal(t, []string{"lots/reduced-1", "sulfur"}, []string{weighed[0].Material, weighed[1].Material})
	assert.InDelta(t, 0.1*weighed[0].MassGrams, weighed[1].MassGrams, 1e-9, "a tenth of what is weighed that day")

	booked, err := b.book(answer, "")
	require.NoError(t, err)
	fromLot := booked.Runs[0]
	require.Len(t, fromLot.Loads, 1)
	assert.Equal(t, "oxidise", fromLot.Loads[0].Stage)
	half := domain.MicrogramsOf(weighed[0].MassGrams)
	assert.Equal(t, half, b.lot(t, lot.ID).Reserved)
	stands, err := b.GetRun(b.ctx, "test", fromLot.ID)
	require.NoError(t, err)
	assert.Equal(t, []string{"oxidise", "reduced-1"}, []string{stands.StartStage, stands.FromLot})
	assert.Empty(t, stands.Draws[0].Material)

	moved, err := b.moveOne(fromLot.ID, shifted(answer.Run.Windows, 24*60*60e9), answer)
	require.NoError(t, err)
	assert.Equal(t, stands.Draws[0].Mass, moved.Draws[0].Mass)
	assert.Equal(t, half, b.lot(t, lot.ID).Reserved)

	all := answer.Run
	all.Scale, all.Windows = chem.Scale{}, shifted(answer.Run.Windows, 7*24*60*60e9)
	whole := b.check(t, all)
	assert.Nil(t, findingOf(whole.Findings, "LOT_SHORT"), "without a scale all that is free is meant")
	assert.InDelta(t, (domain.MicrogramsOf(90) - half).Grams(), whole.Assessments[0].Charge.Balance.Stages[0].WeighOut[0].MassGrams, 1e-6)
	all.Scale.Factor = 1
	short := findingOf(b.check(t, all).Findings, "LOT_SHORT")
	require.NotNil(t, short)
	assert.Equal(t, "runs[0].from_lot", short.Field)

	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: fromLot.ID, ExpectRevision: 0})
	require.NoError(t, err)
	assert.Zero(t, b.lot(t, lot.ID).Reserved)
	asked.Scale = chem.Scale{}
	rest := b.plan(t, asked, run.Loads[3].Window.End.AddDate(0, 0, 1).Truncate(60*60e9))
	require.Equal(t, app.PlanOptimal, rest.Status, "%+v", rest.Blames)
	_, err = b.book(rest, "")
	require.NoError(t, err, "a plan without a scale is for all of it too")
	assert.Zero(t, b.lot(t, lot.ID).Free())
}

func TestFaultsOfARunFromALot(t *testing.T) {
	t.Parallel()
	b, lot, run := newBench(t).reduced(t, 90)
	windows := shifted(windowsOf(run)[3:], 21*24*60*60e9)
	for field, r := range map[string]app.RunRequest{
		"runs[0].from_lot":               {StartStage: "oxidise"},
		"runs[0].start_stage":            {StartStage: "polish", FromLot: lot.ID},
		"runs[0].stage_windows":          {StartStage: "reduce", FromLot: lot.ID},
		"runs[0].stage_windows[0].stage": {StartStage: "oxidise", FromLot: lot.ID, Windows: []domain.StageWindow{{Stage: "reduce", Phases: windows[0].Phases}}},
	} {
		r.RecipeID, r.Department = "blue", "ceramics"
		if r.Windows == nil {
			r.Windows = windows
		}
		_, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{r}})
		faults := finding.FaultsOf(err)
		if assert.Len(t, faults, 1, "%s: %v", field, err) {
			assert.Equal(t, field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		}
	}
	old := b.lot(t, lot.ID)
	old.MadeOn = "2026-12-01"
	_, err := b.UpdateLot(b.ctx, call("UpdateLot"), "test", old.Lot, 0)
	require.NoError(t, err)
	stale := findingOf(b.check(t, app.RunRequest{
		RecipeID: "blue", Department: "ceramics", StartStage: "oxidise", FromLot: lot.ID, Windows: windows,
	}).Findings, "LOT_STALE")
	require.NotNil(t, stale)
	assert.Equal(t, "runs[0].from_lot", stale.Field)
}

// moveOne moves one run, acknowledging what its plan warned of.
func (b bench) moveOne(run string, windows []domain.StageWindow, answer planned) (domain.Run, error) {
	result, err := b.MoveRuns(b.ctx, call("MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: run, Windows: windows}}, Acknowledged: codes(answer),
	})
	if err != nil {
		return domain.Run{}, err
	}
	return result.Runs[0], nil
}
