package app_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
)

// put stores one equipment resource as it shall be.
func (b bench) put(t *testing.T, e domain.Equipment) {
	t.Helper()
	_, err := b.UpdateEquipment(b.ctx, call("Update"), app.EquipmentUpdate{StudioID: "test", Equipment: e, AllowMissing: true})
	require.NoError(t, err)
}

func fan(cubicMetersPerSecond float64, more ...air.Branch) domain.Equipment {
	return domain.Equipment{Kind: domain.KindCircuit, ID: "fan", Circuit: &air.Circuit{ID: "fan", Branches: append([]air.Branch{
		{ID: "hood", Room: "bay", CubicMetersPerSecond: cubicMetersPerSecond, MeasuredOn: "2026-10-05"},
	}, more...)}}
}

// blocks lists the codes of the findings that refuse what a plan's windows would book.
func (b bench) blocks(t *testing.T, runs ...app.RunRequest) []string {
	t.Helper()
	result, err := b.BookRun(b.ctx, app.Call{Caller: steward, ValidateOnly: true}, app.BookRunInput{
		StudioID: "test", Runs: runs,
	})
	require.NoError(t, err)
	return findingCodes(slices.DeleteFunc(result.Findings, func(f finding.Finding) bool { return f.Severity != finding.Block }))
}

func findingCodes(findings []finding.Finding) []string {
	var list []string
	for _, f := range findings {
		list = append(list, f.Code)
	}
	return list
}

func TestALargerFiringTheSameDayDoesNotExcuseOneThatIsTooMuch(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	large := b.plan(t, request("blue", 3), monday)
	require.Equal(t, app.PlanOptimal, large.Status)
	_, err := b.book(large, "")
	require.NoError(t, err)
	small := b.plan(t, request("blue", 2), monday.AddDate(0, 0, 14))
	require.Empty(t, b.blocks(t, small.Run))
	b.put(t, fan(0.4)) // the fan has weakened: both would be refused now
	require.NotEmpty(t, b.blocks(t, small.Run), "it must be too much alone for this to show anything")

	oxidise := large.Run.Windows[3].Window().Start
	near := small.Run
	near.Windows = shifted(small.Run.Windows, oxidise.Sub(small.Run.Windows[2].Window().Start)+30*time.Hour)
	assert.Contains(t, fmt.Sprint(b.blocks(t, near)), "AIR_")
}

func TestAClosedFanDrawsNothingForWhatAnotherBranchDoes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.put(t, domain.Equipment{Kind: domain.KindCircuit, ID: "other", Circuit: &air.Circuit{ID: "other", Branches: []air.Branch{
		{ID: "hood", Room: "bay", CubicMetersPerSecond: 0.02, MeasuredOn: "2026-10-05"},
	}}})
	for _, id := range []string{"pot", "muffle-a"} {
		furnace := testFurnace(id)
		furnace.Branch = "other/hood"
		b.put(t, domain.Equipment{Kind: domain.KindFurnace, ID: id, Furnace: &furnace})
	}
	run := b.plan(t, request("blue", 3), monday)
	require.Equal(t, app.PlanOptimal, run.Status, "%v", run.Blames)
	b.put(t, domain.Equipment{Kind: domain.KindClosure, ID: "motor", Closure: &domain.Closure{
		ID: "motor", SubjectKind: domain.KindCircuit, SubjectID: "fan", Start: monday.AddDate(0, 0, -1), End: monday.AddDate(0, 2, 0),
	}})
	assert.Contains(t, fmt.Sprint(b.blocks(t, run.Run)), "AIR_")
}

func TestAirIsFollowedThroughTwoRooms(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	room := func(id string, volume, flow float64, to ...air.Transfer) domain.Equipment {
		return domain.Equipment{Kind: domain.KindRoom, ID: id, Room: &air.Room{
			ID: id, VolumeCubicMeters: volume, MakeUpCubicMetersPerSecond: flow, MixingFactor: 3, CrewCount: 2, Transfers: to,
			Detectors: []air.Detector{{Species: "CO", TestedOn: "2027-02-22"}, {Species: "SO2", TestedOn: "2027-02-22"}},
		}}
	}
	b.put(t, room("closet", 5, 0))
	b.put(t, room("hall", 300, 1, air.Transfer{ToRoom: "closet", CubicMetersPerSecond: 0.5}))
	b.put(t, room("bay", 180, 1.2, air.Transfer{ToRoom: "hall", CubicMetersPerSecond: 0.5}))
	answer := b.plan(t, request("blue", 4), monday)
	assert.Equal(t, app.PlanInfeasible, answer.Status)
	assert.Contains(t, fmt.Sprint(answer.Findings), "closet")
}

func TestWithoutAnyFlowEarlierGasStillCounts(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.put(t, fan(0))
	refused := false
	for n := range 8 {
		answer := b.plan(t, request("blue", 0.006), monday.AddDate(0, 0, n))
		if answer.Status == app.PlanInfeasible {
			refused = n > 0
			break
		}
		_, err := b.book(answer, "")
		require.NoError(t, err)
		t.Logf("%d: %v %v", n, answer.Run.Windows[0].Window().Start, codes(answer))
	}
	assert.True(t, refused, "gas that never leaves must add up to a refusal, and not at once")
}

func TestAFanThatIsClosedForWeeksLetsGasAddUp(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.put(t, domain.Equipment{Kind: domain.KindCircuit, ID: "other", Circuit: &air.Circuit{ID: "other", Branches: []air.Branch{
		{ID: "hood", Room: "bay", CubicMetersPerSecond: 0, MeasuredOn: "2026-10-05"},
	}}})
	for _, id := range []string{"pot", "muffle-a"} {
		furnace := testFurnace(id)
		furnace.Branch = "other/hood"
		b.put(t, domain.Equipment{Kind: domain.KindFurnace, ID: id, Furnace: &furnace})
	}
	b.put(t, domain.Equipment{Kind: domain.KindClosure, ID: "motor", Closure: &domain.Closure{
		ID: "motor", SubjectKind: domain.KindCircuit, SubjectID: "fan", Start: monday.AddDate(-1, 0, 0), End: monday.AddDate(0, 2, 0),
	}})
	booked := 0
	for n := range 10 {
		answer := b.plan(t, request("blue", 0.006), monday.AddDate(0, 0, 3*n))
		if answer.Status == app.PlanInfeasible || answer.Run.Windows[0].Window().Start.After(monday.AddDate(0, 2, 0)) {
			break
		}
		_, err := b.book(answer, "")
		require.NoError(t, err)
		booked++
	}
	assert.Positive(t, booked)
	assert.Less(t, booked, 4, "each leaves about 1 ppm of sulfur dioxide for good, and the limit is 2")
}

func TestAClosureFromLongAgoStillCounts(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, year := range []int{-2025, -300, -1} {
		b.put(t, domain.Equipment{Kind: domain.KindClosure, ID: "motor", Closure: &domain.Closure{
			ID: "motor", SubjectKind: domain.KindCircuit, SubjectID: "fan", Start: monday.AddDate(year, 0, 0), End: monday.AddDate(1, 0, 0),
		}})
		answer := b.plan(t, request("blue", 1), monday)
		assert.Equal(t, app.PlanInfeasible, answer.Status, "%d years", year)
	}
}

func TestABookingIsHeldToTheStudiosOwnLimits(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	planned := b.plan(t, request("blue", 1), monday)
	require.Empty(t, b.blocks(t, planned.Run))
	studio, err := b.GetStudio(b.ctx, "test")
	require.NoError(t, err)
	studio.OwnLimits = []air.OwnLimit{
		{Species: "SO2", Name: "house rule", Kind: data.Ceiling, PPM: 1e-4, Source: "house rules of 2026"},
	}
	_, err = b.UpdateStudio(b.ctx, call("Update"), studio, 0)
	require.NoError(t, err)
	assert.Contains(t, b.blocks(t, planned.Run), "AIR_CEILING")
	assert.Equal(t, app.PlanInfeasible, b.plan(t, request("blue", 1), monday).Status)
	_, err = b.book(planned, "")
	assert.Error(t, err, "not under the lock either")

	studio.OwnLimits[0].PPM = 1e5
	studio.OwnLimits[0].Kind, studio.OwnLimits[0].AveragingMinutes = data.TimeWeighted, 480
	_, err = b.UpdateStudio(b.ctx, call("Loosen"), studio, 0)
	assert.ErrorContains(t, err, "own_limits[0].limit_ppm")
}

// roomPeak is the highest concentration of sulfur dioxide that a check of a run finds in the room of one stage.
func (b bench) roomPeak(t *testing.T, run app.RunRequest, stage string) float64 {
	t.Helper()
	result, err := b.BookRun(b.ctx, app.Call{Caller: steward, ValidateOnly: true}, app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{run},
	})
	require.NoError(t, err)
	require.Len(t, result.Assessments, 1)
	for _, assessed := range result.Assessments[0].Stages {
		if assessed.Stage != stage {
			continue
		}
		require.NotNil(t, assessed.Air)
		for _, species := range assessed.Air.Species {
			if species.Species == "SO2" {
				return species.PeakPPM
			}
		}
	}
	require.Fail(t, "no sulfur dioxide at stage "+stage)
	return 0
}

func TestACheckShowsTheAirWithEveryoneElsesFirings(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	first := b.plan(t, request("blue", 1), monday)
	require.Equal(t, app.PlanOptimal, first.Status)
	last := first.Run.Windows[len(first.Run.Windows)-1]
	alone := b.roomPeak(t, first.Run, last.Stage)
	_, err := b.book(first, "")
	require.NoError(t, err)
	again := first.Run
	again.ID = ""
	// The same hour on the same furnace would clash and so be left out of the air; the other one meets the booked one's gas.
	again.Windows = append([]domain.StageWindow{}, first.Run.Windows...)
	other := "muffle-a"
	if last.Furnace == other {
		other = "pot"
	}
	again.Windows[len(again.Windows)-1].Furnace = other
	assert.Greater(t, b.roomPeak(t, again, last.Stage), 1.1*alone)
}
