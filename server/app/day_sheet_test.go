package app_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

func TestADaySheetHoldsEveryPhaseOfItsDayAndNoOther(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("blue", 1), monday), "")
	require.NoError(t, err)
	run := booked.Runs[0]

	seen := map[string]time.Duration{}
	for day := monday.Truncate(24 * time.Hour); day.Before(run.Loads[len(run.Loads)-1].Window.End); day = day.AddDate(0, 0, 1) {
		sheet, err := b.GetDaySheet(b.ctx, app.DaySheetQuery{StudioID: "test", Date: day.Format(time.DateOnly)})
		require.NoError(t, err)
		assert.True(t, slices.IsSortedFunc(sheet.Tasks(), func(a, b domain.DayTask) int {
			return a.Phase.Window.Start.Compare(b.Phase.Window.Start)
		}))
		for _, task := range sheet.Tasks() {
			require.True(t, task.Phase.Window.Overlaps(sheet.Day))
			from, until := later(task.Phase.Window.Start, sheet.Day.Start), earlier(task.Phase.Window.End, sheet.Day.End)
			seen[task.Job.Load.Stage+"/"+string(task.Phase.Kind)] += until.Sub(from)
		}
	}
	want := map[string]time.Duration{}
	for _, load := range run.Loads {
		for _, phase := range load.StageWindow().Phases {
			if d := phase.Window.End.Sub(phase.Window.Start); d > 0 {
				want[load.Stage+"/"+string(phase.Kind)] += d
			}
		}
	}
	assert.Equal(t, want, seen, "the sheets of all days together hold every minute of the run once")
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func TestADaySheetSaysWhatAFiringWithGasAsksFor(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("blue", 1), monday), "")
	require.NoError(t, err)
	reduce := booked.Runs[0].Loads[2]
	sheet, err := b.GetDaySheet(b.ctx, app.DaySheetQuery{StudioID: "test", Date: reduce.Window.Start.Format(time.DateOnly), Room: "bay"})
	require.NoError(t, err)
	at := slices.IndexFunc(sheet.Jobs, func(j domain.DayJob) bool { return j.Load.Stage == "reduce" })
	require.GreaterOrEqual(t, at, 0)
	job := sheet.Jobs[at]

	require.NotNil(t, job.Air, "sulfur and carbon come off")
	require.NotEmpty(t, job.Air.Failure.Limits, "the fan's failure passes a limit")
	require.NotNil(t, job.Air.ReentryMinute)
	assert.NotEmpty(t, job.Air.Near.Species)
	_, owed := job.Clearing()
	assert.True(t, owed, "reduction is burnt off")
	assert.Equal(t, heat.Programmed, job.Furnace.Control)
	assert.InDelta(t, 750, job.Stage.Program.Segments[0].ToCelsius, 0)
	assert.Equal(t, "oxidise", job.Next.Stage)
	assert.Contains(t, strings.Join(job.Missing, "\n"), "no stop steps are recorded for pot")
	assert.Contains(t, strings.Join(job.Missing, "\n"), "damper of fan/hood is not recorded")

	require.Len(t, sheet.Rooms, 1)
	bay := sheet.Rooms[0]
	assert.Contains(t, strings.Join(bay.Missing, "\n"), "whom to call is not recorded for bay")
	require.Len(t, bay.Detectors, 2)
	assert.Equal(t, "2027-03-24", bay.Detectors[0].DueOn, "tested on 22 February, good for 30 days")
	assert.False(t, bay.Detectors[0].Overdue)
	assert.GreaterOrEqual(t, bay.NeededCount, 1)
	for _, j := range sheet.Jobs {
		assert.Equal(t, "bay", j.Furnace.Room, "only the room asked for")
	}
}

func TestTheWeighingOfADaySheetIsThatOfTheRecipesVersionAndItsMaterialsThen(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("red", 1), monday), "")
	require.NoError(t, err)
	heavier := redRecipe()
	heavier.Stages[0].Additions[0].MassGrams = 800
	_, err = b.CreateRecipeVersion(b.ctx, call("CreateRecipeVersion"), "test", heavier)
	require.NoError(t, err)
	wet := chem.Material{ID: "goethite", Phases: []chem.Phase{{Formula: "FeO(OH)", MassFraction: 1}}, MoistureFraction: 0.2}
	_, err = b.CreateMaterialVersion(b.ctx, call("CreateMaterialVersion"), "test", wet)
	require.NoError(t, err)

	sheet, err := b.GetDaySheet(b.ctx, app.DaySheetQuery{
		StudioID: "test", Date: booked.Runs[0].Loads[0].Window.Start.Format(time.DateOnly),
	})
	require.NoError(t, err)
	require.Len(t, sheet.Jobs, 1)
	assert.InDelta(t, 400, sheet.Jobs[0].WeighOut[0].MassGrams, 1e-9)
	assert.InDelta(t, 400, sheet.Jobs[0].MassInGrams, 1e-9, "dry as it was when booked")
	assert.InDelta(t, 400*159.687/(2*88.851), sheet.Jobs[0].MassOutGrams, 0.5, "2 FeO(OH) -> Fe2O3 + H2O")
}

func TestADaySheetOfNothingAndOfWhatIsNone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	sheet, err := b.GetDaySheet(b.ctx, app.DaySheetQuery{StudioID: "test", Date: "2027-05-01"})
	require.NoError(t, err)
	assert.Empty(t, sheet.Jobs)
	assert.Empty(t, sheet.Tasks())
	for field, q := range map[string]app.DaySheetQuery{
		"name": {StudioID: "test", Date: "2027-02-30"},
		"room": {StudioID: "test", Date: "2027-03-01", Room: "cellar"},
	} {
		_, err := b.GetDaySheet(b.ctx, q)
		faults := finding.FaultsOf(err)
		require.Len(t, faults, 1, "%v", err)
		assert.Equal(t, field, faults[0].Field)
		assert.NotEmpty(t, faults[0].Cure)
	}
	_, err = b.GetDaySheet(b.ctx, app.DaySheetQuery{StudioID: "nowhere", Date: "2027-03-01"})
	assert.ErrorIs(t, err, domain.ErrNotFound)
}

func TestWhatIsCalledOffLeavesTheDaySheet(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("red", 1), monday), "")
	require.NoError(t, err)
	q := app.DaySheetQuery{StudioID: "test", Date: booked.Runs[0].Loads[0].Window.Start.Format(time.DateOnly)}
	sheet, err := b.GetDaySheet(b.ctx, q)
	require.NoError(t, err)
	require.NotEmpty(t, sheet.Jobs)
	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID, ExpectRevision: 0})
	require.NoError(t, err)
	sheet, err = b.GetDaySheet(b.ctx, q)
	require.NoError(t, err)
	assert.Empty(t, sheet.Jobs)
}

func TestAFanThatStopsIsLookedAtWithinEachFiringsOwnTime(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("blue", 1), monday), "")
	require.NoError(t, err)
	reduce := booked.Runs[0].Loads[2].Window
	later, err := b.book(b.plan(t, request("red", 1), reduce.Start.Add(-12*time.Hour)), "")
	require.NoError(t, err)
	for _, run := range []domain.Run{booked.Runs[0], later.Runs[0]} {
		for _, load := range run.Loads {
			sheet, err := b.GetDaySheet(b.ctx, app.DaySheetQuery{StudioID: "test", Date: load.Window.Start.Format(time.DateOnly)})
			require.NoError(t, err)
			for _, job := range sheet.Jobs {
				if job.Air != nil && len(job.Air.Failure.Limits) > 0 {
					assert.GreaterOrEqual(t, job.Air.Failure.AtMinute, 0.0, job.Load.Stage)
					assert.LessOrEqual(t, job.Air.Failure.AtMinute, job.Load.Window.End.Sub(job.Load.Window.Start).Minutes(), job.Load.Stage)
				}
			}
		}
	}
}

func TestTheDaySheetOfARunFromALotBeginsWithIt(t *testing.T) {
	t.Parallel()
	b, lot, run := newBench(t).reduced(t, 90)
	booked, err := b.book(b.plan(t, app.RunRequest{
		RecipeID: "blue", Department: "ceramics", StartStage: "oxidise", FromLot: lot.ID, Scale: chem.Scale{Factor: 0.5},
	}, run.Loads[3].Window.End.AddDate(0, 0, 1).Truncate(time.Hour)), "")
	require.NoError(t, err)
	sheet, err := b.GetDaySheet(b.ctx, app.DaySheetQuery{
		StudioID: "test", Date: booked.Runs[0].Loads[0].Window.Start.Format(time.DateOnly),
	})
	require.NoError(t, err)
	at := slices.IndexFunc(sheet.Jobs, func(j domain.DayJob) bool { return j.Run.ID == booked.Runs[0].ID })
	require.GreaterOrEqual(t, at, 0)
	job := sheet.Jobs[at]
	assert.Equal(t, "oxidise", job.Load.Stage)
	require.NotEmpty(t, job.WeighOut)
	assert.Equal(t, chem.LotMaterial(lot.ID), job.WeighOut[0].Material)
	assert.InDelta(t, booked.Runs[0].Draws[0].Mass.Grams(), job.WeighOut[0].MassGrams, 1e-3, "what the run reserved")
	assert.Nil(t, job.Next)
	require.NotNil(t, job.Air)
}
