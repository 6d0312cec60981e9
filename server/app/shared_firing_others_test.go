package app_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/domain"
)

func TestWhatRodeInACalledOffFiringIsPlannedAnew(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	run := b.mustJoin(t, ada, joining("pots", 3, opened))
	_, err := b.CancelFiring(b.ctx, by(tove, "CancelFiring"), app.CancelFiringInput{StudioID: "test", FiringID: opened.ID})
	require.NoError(t, err)
	risk, err := b.GetRiskAssessment(b.ctx, "test", run.ID)
	require.NoError(t, err)
	assert.Nil(t, risk.Assessment.Stages[0].Air, "nothing is known of a firing that it has not")
	assert.Empty(t, risk.Furnaces)
	assert.Contains(t, risk.Missing[0], "stage fire has no firing")
	answer := b.replan(t, by(tove, "ReplanRuns"), app.ReplanInput{})
	require.Len(t, answer.Hits, 1)
	assert.Equal(t, []string{"fire"}, answer.Hits[0].Stages)
	assert.Contains(t, answer.Hits[0].Causes[0], opened.ID)
	require.Len(t, answer.Moves, 1, "%+v", answer.Hits)
	moved, err := b.accept(by(tove, "MoveRuns"), answer)
	require.NoError(t, err)
	assert.Equal(t, run.ID, moved.Runs[0].ID)
	assert.Equal(t, domain.RunConfirmed, moved.Runs[0].State())
	assert.Empty(t, b.replan(t, by(tove, "ReplanRuns"), app.ReplanInput{}).Hits)
}

func TestAClosureHitsAllThatRidesInAFiring(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	host := b.ownFiring(t, ada, "pots")
	f := host.Loads[0].Firing
	_, err := b.UpdateFiring(b.ctx, by(ada, "UpdateFiring"), app.UpdateFiringInput{
		StudioID: "test", FiringID: f.ID, SetOffer: true, Offer: &app.OfferInput{Liters: 6, Grams: 1000},
	})
	require.NoError(t, err)
	joiner := b.mustJoin(t, ben, joining("pots", 2, b.firing(t, f.ID)))
	b.close(t, domain.KindFurnace, f.Furnace, domain.Window{Start: f.Window.Start, End: f.Window.End})
	answer := b.replan(t, by(ada, "ReplanRuns"), app.ReplanInput{})
	require.Len(t, answer.Hits, 2)
	for _, hit := range answer.Hits {
		assert.NotEmpty(t, hit.NotMoved, "a maker moves nobody else's, and does not leave others without anybody: %s", hit.Run.ID)
	}
	answer = b.replan(t, by(tove, "ReplanRuns"), app.ReplanInput{})
	require.Len(t, answer.Moves, 2, "%+v", answer.Hits)
	moved, err := b.accept(by(tove, "MoveRuns"), answer)
	require.NoError(t, err)
	assert.Equal(t, domain.LoadCancelled, b.firing(t, f.ID).State, "all have left it")
	for _, run := range moved.Runs {
		assert.False(t, run.Loads[0].Joined)
		assert.Contains(t, []string{host.ID, joiner.ID}, run.ID)
	}
}

func TestASharedFiringMovesWithAllThatRidesInIt(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	one, two := b.mustJoin(t, ada, joining("pots", 3, opened)), b.mustJoin(t, ben, joining("pots", 2, opened))
	move := func(c app.Call, start time.Time) (app.BookRunResult, error) {
		return b.MoveRuns(b.ctx, c, app.MoveRunsInput{
			StudioID: "test", Firings: []app.FiringMove{{FiringID: opened.ID, Start: start}},
		})
	}
	_, err := move(by(ada, "MoveRuns"), monday.AddDate(0, 0, 1).Add(time.Hour))
	require.ErrorIs(t, err, domain.ErrForbidden)
	_, err = move(by(tove, "MoveRuns"), monday.Add(19*time.Hour))
	assert.Contains(t, blocked(t, err), "STAFFED_HOURS")
	assert.Equal(t, domain.LoadConfirmed, b.firing(t, opened.ID).State, "nothing is half done")
	moved, err := move(by(tove, "MoveRuns"), monday.AddDate(0, 0, 1).Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, moved.Runs, 2)
	to := moved.Runs[0].Loads[0].Firing.ID
	assert.NotEqual(t, opened.ID, to)
	assert.Equal(t, to, moved.Runs[1].Loads[0].Firing.ID)
	stands := b.firing(t, to)
	assert.Equal(t, opened.Window.Start.AddDate(0, 0, 1), stands.Window.Start)
	require.Len(t, stands.Riders, 2)
	assert.Equal(t, []string{one.ID, two.ID}, []string{stands.Riders[0].RunID, stands.Riders[1].RunID})
	assert.Equal(t, domain.LoadCancelled, b.firing(t, opened.ID).State)
	for _, run := range []domain.Run{one, two} {
		now, err := b.GetRun(b.ctx, "test", run.ID)
		require.NoError(t, err)
		assert.Equal(t, stands.Window, now.Loads[0].Window)
		assert.Equal(t, domain.RunConfirmed, now.State())
	}
	b.mustJoin(t, ada, joining("pots", 3, stands))
}

func TestThoseWhoRideTogetherAreTold(t *testing.T) {
	t.Parallel()
	m := &mailed{bench: newSharedBench(t), office: &office{}, clock: monday.Add(-time.Hour)}
	m.App = m.server()
	for _, p := range []domain.Caller{ada, ben, tove} {
		m.person(t, domain.Person{ID: p.ID, Title: p.ID, Role: p.Role}, domain.MailAtOnce)
	}
	opened := m.open(t)
	m.mustJoin(t, ada, joining("pots", 3, opened))
	m.deliver(t)
	before := len(m.office.to("ada@example.edu"))
	run := m.mustJoin(t, ben, joining("pots", 2, opened))
	m.later(2 * time.Minute)
	m.deliver(t)
	letters := m.office.to("ada@example.edu")
	require.Len(t, letters, before+1)
	assert.Contains(t, letters[before], fmt.Sprintf("Run %s of ben joined firing %s", run.ID, opened.ID))
	assert.Contains(t, strings.Join(m.office.to("tove@example.edu"), ""), run.ID, "who answers for it is told")
	_, err := m.CancelRun(m.ctx, by(ben, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: run.ID})
	require.NoError(t, err)
	m.later(2 * time.Minute)
	m.deliver(t)
	letters = m.office.to("ada@example.edu")
	require.Len(t, letters, before+2)
	assert.Contains(t, letters[before+1], fmt.Sprintf("Run %s of ben left firing %s", run.ID, opened.ID))
	assert.Empty(t, m.office.to("ben@example.edu"), "nobody is told what they did themselves")

	_, err = m.CancelFiring(m.ctx, by(tove, "CancelFiring"), app.CancelFiringInput{StudioID: "test", FiringID: opened.ID})
	require.NoError(t, err)
	m.later(2 * time.Minute)
	m.deliver(t)
	letters = m.office.to("ada@example.edu")
	require.Len(t, letters, before+3)
	assert.Contains(t, letters[before+2], "tove called off firing "+opened.ID)
	assert.Contains(t, letters[before+2], "run replan")
}

func TestSheetsAndCalendarsShowAllThatRides(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	day := app.DaySheetQuery{StudioID: "test", Date: "2027-03-01"}
	sheet, err := b.GetDaySheet(b.ctx, day)
	require.NoError(t, err)
	require.Len(t, sheet.Jobs, 1)
	assert.Contains(t, sheet.Jobs[0].Missing[0], "nobody has joined")
	one, two := b.mustJoin(t, ada, joining("pots", 3, opened)), b.mustJoin(t, ben, joining("pots", 2, opened))
	sheet, err = b.GetDaySheet(b.ctx, day)
	require.NoError(t, err)
	require.Len(t, sheet.Jobs, 2)
	assert.Equal(t, 1, sheet.PeopleAtOnce("bay"), "one person charges it, however many ride in it")
	assert.Len(t, sheet.Tasks(), tasksOf(sheet, opened), "its tasks are said once")
	assert.Equal(t, opened.Offer.Program, *sheet.Jobs[0].Stage.Program)

	risk, err := b.GetRiskAssessment(b.ctx, "test", one.ID)
	require.NoError(t, err)
	require.Len(t, risk.Beside, 1)
	assert.Contains(t, risk.Beside[0], two.ID)
	assert.Contains(t, risk.Beside[0], "tove answers for")
}

// tasksOf is how many phases of a firing lie on a sheet's day.
func tasksOf(sheet domain.DaySheet, f domain.Firing) int {
	n := 0
	for _, p := range f.Phases {
		if p.Window.Overlaps(sheet.Day) && p.Window.Minutes() > 0 {
			n++
		}
	}
	return n
}

func TestAReportCountsASharedFiringOnceAndSplitsItsEnergy(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	b.mustJoin(t, ada, joining("pots", 3, opened))
	b.mustJoin(t, ben, forDepartment(joining("pots", 1, opened), "glass"))
	report, err := b.GetReport(b.ctx, app.ReportQuery{
		StudioID: "test", Window: domain.Window{Start: monday.AddDate(0, 0, -1), End: monday.AddDate(0, 0, 6)},
		GroupBy: []domain.ReportDimension{domain.ByDepartment},
	})
	require.NoError(t, err)
	assert.Equal(t, 1, report.Total.FiringCount)
	assert.InDelta(t, opened.Offer.EnergyKilowattHours, report.Total.EnergyKilowattHours, 1e-6)
	byDepartment := map[string]domain.ReportRow{}
	for _, row := range report.Rows {
		byDepartment[row.Department] = row
	}
	assert.InDelta(t, 3*byDepartment["glass"].EnergyKilowattHours, byDepartment["ceramics"].EnergyKilowattHours, 1e-6, "by the room that they take")
	assert.Equal(t, 1, byDepartment["ceramics"].FiringCount, "the firing itself is that of the most room")
	assert.Zero(t, byDepartment["glass"].FiringCount)
}

func TestALoadThatWaitsForAClearanceHoldsItsPlaceUntilItExpires(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	b.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician, ExpiresAfterHours: 1})
	opened := b.open(t)
	run := b.mustJoin(t, ada, joining("pots", 5, opened))
	require.Equal(t, domain.RunTentative, run.State())
	stands := b.firing(t, opened.ID)
	assert.Equal(t, domain.LoadConfirmed, stands.State, "the firing waits for nobody's clearance")
	assert.InDelta(t, 3, stands.FreeLiters(), 1e-9)
	_, err := b.join(ben, joining("pots", 5, opened))
	assert.Equal(t, []string{domain.CodeJoinNoRoom}, blocked(t, err))
	later := b.at(monday.Add(30 * time.Minute))
	second := later.mustJoin(t, ben, joining("pots", 5, opened))
	cleared, err := later.ClearRun(b.ctx, by(tove, "ClearRun"), app.RunDecision{StudioID: "test", RunID: second.ID})
	require.NoError(t, err)
	assert.Equal(t, domain.RunConfirmed, cleared.State())
	stands = later.firing(t, opened.ID)
	require.Len(t, stands.Riders, 1)
	assert.Equal(t, second.ID, stands.Riders[0].RunID)
	lapsed, err := later.GetRun(b.ctx, "test", run.ID)
	require.NoError(t, err)
	assert.Equal(t, domain.LoadExpired, lapsed.Loads[0].State)
}

// TestManyCallersJoinAndLeaveAtRandom lets callers loose on one firing and then recomputes what must hold.
func TestManyCallersJoinAndLeaveAtRandom(t *testing.T) {
	t.Parallel()
	seed := raceSeed(t)
	b := newSharedBench(t)
	opened := b.open(t, func(in *app.BookFiringInput) { in.Offer.Liters, in.Offer.Grams = 10, 6000 })
	var mu sync.Mutex
	standing := map[string]bool{}
	var group sync.WaitGroup
	for i := range 12 {
		group.Go(func() {
			random := rand.New(rand.NewPCG(seed, uint64(i)))
			caller := domain.Caller{ID: fmt.Sprintf("maker-%d", i), Role: domain.RoleMaker}
			var own []string
			for range 6 {
				if len(own) > 0 && random.IntN(3) == 0 {
					id := own[len(own)-1]
					own = own[:len(own)-1]
					_, err := b.CancelRun(b.ctx, by(caller, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: id})
					assert.NoError(t, err)
					mu.Lock()
					standing[id] = false
					mu.Unlock()
					continue
				}
				booked, err := b.join(caller, joining("pots", float64(1+random.IntN(4)), opened))
				if err != nil {
					continue
				}
				own = append(own, booked.Runs[0].ID)
				mu.Lock()
				standing[booked.Runs[0].ID] = true
				mu.Unlock()
			}
		})
	}
	group.Wait()
	stands := b.firing(t, opened.ID)
	riding := map[string]bool{}
	for _, r := range stands.Riders {
		riding[r.RunID] = true
	}
	for id, want := range standing {
		assert.Equal(t, want, riding[id], id)
	}
	assert.NotEmpty(t, riding)
	assert.GreaterOrEqual(t, stands.FreeLiters(), -1e-9)
	assert.GreaterOrEqual(t, stands.FreeGrams(), -1e-6)
	assert.Equal(t, domain.LoadConfirmed, stands.State)
}
