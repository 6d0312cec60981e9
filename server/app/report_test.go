package app_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

func march(b bench, t *testing.T, by ...domain.ReportDimension) app.Report {
	t.Helper()
	report, err := b.GetReport(b.ctx, app.ReportQuery{
		StudioID: "test", Window: domain.Window{Start: monday.AddDate(0, 0, -1), End: monday.AddDate(0, 1, 0)}, GroupBy: by,
	})
	require.NoError(t, err)
	return report
}

func TestAReportAddsUpWhatRunsWereBookedWith(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	plan := b.plan(t, request("blue", 1), monday)
	booked, err := b.book(plan, "")
	require.NoError(t, err)
	run := booked.Runs[0]
	report := march(b, t, domain.ByFurnace)

	held := map[string]int{}
	inRoom := 0
	for _, load := range run.Loads {
		held[load.Firing.Furnace] += load.Window.Minutes()
		for _, p := range load.Firing.Phases {
			if p.Watch == heat.InRoom {
				inRoom += p.PeopleCount * p.Window.Minutes()
			}
		}
	}
	got := map[string]int{}
	for _, row := range report.Rows {
		if row.HeldMinutes > 0 {
			got[row.Furnace] = row.HeldMinutes
		}
	}
	assert.Equal(t, held, got)
	assert.Len(t, report.Rows, 5, "each furnace and station has its row")
	assert.Equal(t, inRoom, report.Total.InRoomMinutes)
	assert.Equal(t, 4, report.Total.FiringCount)
	assert.InDelta(t, plan.KilowattHours, report.Total.EnergyKilowattHours, 0.01, "as the plan said")
	assert.Zero(t, report.Total.UnknownEnergyCount)
	assert.False(t, report.Total.Priced)

	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: run.ID, ExpectRevision: 0})
	require.NoError(t, err)
	after := march(b, t, domain.ByDepartment)
	require.Len(t, after.Rows, 1)
	assert.Equal(t, "ceramics", after.Rows[0].Department)
	assert.Zero(t, after.Rows[0].HeldMinutes)
	assert.Zero(t, after.Rows[0].EnergyKilowattHours)
	assert.Equal(t, report.Total.HeldMinutes, after.Rows[0].CancelledMinutes)
}

func TestAMoveLeavesNothingBehindInAReport(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("red", 1), monday.AddDate(0, 0, 7)), "")
	require.NoError(t, err)
	before := march(b, t)
	moved := b.plan(t, request("red", 1), monday.AddDate(0, 0, 14))
	_, err = b.MoveRuns(b.ctx, call("MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: booked.Runs[0].ID, Windows: moved.Run.Windows}}, Acknowledged: codes(moved),
	})
	require.NoError(t, err)
	after := march(b, t)
	assert.Zero(t, after.Total.CancelledMinutes, "the firing that it left counts nowhere")
	assert.Equal(t, 1, after.Total.FiringCount)
	assert.InDelta(t, before.Total.EnergyKilowattHours, after.Total.EnergyKilowattHours, 1e-9)
}

func TestAReportIsPricedByTheStudiosOwnPrices(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	equipment := testEquipment()
	for _, e := range equipment {
		if e.Kind == domain.KindSupply {
			e.Supply.PricePerKilowattHour = 0.25
		}
		if e.Kind == domain.KindFurnace && e.ID != "dust-hood" {
			e.Furnace.PricePerHour = 2
		}
	}
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{StudioID: "test", Equipment: equipment})
	require.NoError(t, err)
	_, err = b.book(b.plan(t, request("red", 1), monday), "")
	require.NoError(t, err)
	total := march(b, t).Total
	assert.True(t, total.Priced)
	assert.Positive(t, total.EnergyKilowattHours)
	assert.InDelta(t, 0.25*total.EnergyKilowattHours+2*float64(total.HeldMinutes)/60, total.Cost, 1e-9)
}

func TestAReportSaysWhoMissedWhat(t *testing.T) {
	t.Parallel()
	a := newAsked(t)
	a.bench = a.at(a.window.Start.Add(time.Minute))
	_, err := a.CancelRun(a.ctx, as("tom", domain.RoleTechnician, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: a.run.ID, NeverCharged: true})
	require.NoError(t, err)
	rows := march(a.bench, t, domain.ByDepartment, domain.ByMaker).Rows
	require.Len(t, rows, 1)
	assert.Equal(t, []string{"ceramics", "ada"}, []string{rows[0].Department, rows[0].Maker})
	assert.Equal(t, a.window.Minutes(), rows[0].MissedMinutes)
	assert.Positive(t, rows[0].AllMinutes, "of all furnaces")
}

func TestAMonthsRowsAreSplitAtLocalMidnight(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	studio := testStudio().Studio
	studio.TimeZone = "Europe/Lisbon"
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{StudioID: "test", Studio: studio})
	require.NoError(t, err)
	eve := time.Date(2027, 3, 31, 18, 0, 0, 0, time.UTC) // 19:00 in Lisbon, where April begins at 23:00 UTC
	booked, err := b.book(b.plan(t, request("red", 1), eve), "")
	require.NoError(t, err)
	window := booked.Runs[0].Loads[0].Window
	april := time.Date(2027, 3, 31, 23, 0, 0, 0, time.UTC)
	require.True(t, window.Start.Before(april) && april.Before(window.End), "%v", window)
	report, err := b.GetReport(b.ctx, app.ReportQuery{
		StudioID: "test", Window: domain.Window{Start: eve.AddDate(0, 0, -20), End: eve.AddDate(0, 0, 20)},
		GroupBy: []domain.ReportDimension{domain.ByMonth},
	})
	require.NoError(t, err)
	require.Len(t, report.Rows, 2)
	assert.Equal(t, []string{"2027-03", "2027-04"}, []string{report.Rows[0].Month, report.Rows[1].Month})
	assert.Equal(t, int(april.Sub(window.Start).Minutes()), report.Rows[0].HeldMinutes)
	assert.Equal(t, int(window.End.Sub(april).Minutes()), report.Rows[1].HeldMinutes)
	assert.Equal(t, []int{1, 0}, []int{report.Rows[0].FiringCount, report.Rows[1].FiringCount})
	assert.True(t, slices.ContainsFunc(report.Assumptions, func(a string) bool { return len(a) > 0 }))
}
