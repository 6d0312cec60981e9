package app_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// refit changes the furnaces of the test studio.
func (b bench) refit(t *testing.T, change func(f *heat.Furnace)) {
	t.Helper()
	equipment := slices.DeleteFunc(testEquipment(), func(e domain.Equipment) bool { return e.Kind != domain.KindFurnace || e.ID == "dust-hood" })
	for _, e := range equipment {
		change(e.Furnace)
	}
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{StudioID: "test", Equipment: equipment})
	require.NoError(t, err)
}

// ofCode are the findings of a code.
func ofCode(findings []finding.Finding, code string) []finding.Finding {
	return slices.DeleteFunc(slices.Clone(findings), func(f finding.Finding) bool { return f.Code != code })
}

func TestABookingAsksForWhatCutsTheHeatWhenTheFanStops(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	blue := b.plan(t, request("blue", 1), monday)
	assert.Empty(t, ofCode(blue.Findings, "FAN_INTERLOCK_MISSING"))
	check := func(run app.RunRequest) []finding.Finding {
		c := call("CheckRun")
		c.ValidateOnly = true
		checked, err := b.BookRun(b.ctx, c, app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{run}})
		require.NoError(t, err)
		return checked.Findings
	}
	late := postponed(blue.Run, 300*24*time.Hour) // tested on 5 October, so it counts until the next one
	due := ofCode(check(late), "FAN_INTERLOCK_DUE")
	require.NotEmpty(t, due)
	assert.Equal(t, finding.Warn, due[0].Severity)
	assert.Contains(t, due[0].Field, "runs[0].stage_windows[")

	b.refit(t, func(f *heat.Furnace) { f.FanInterlock = heat.FanInterlock{Kind: heat.NoInterlock} })
	found := ofCode(check(blue.Run), "FAN_INTERLOCK_MISSING")
	require.NotEmpty(t, found)
	assert.True(t, slices.ContainsFunc(found, func(f finding.Finding) bool { return f.Severity == finding.Warn && f.About == "pot" }), "%v", found)
	_, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{blue.Run}, Acknowledged: codes(blue)})
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, []string{"FAN_INTERLOCK_MISSING"}, refusal.Unacknowledged)
	red := b.plan(t, request("red", 1), monday)
	assert.Empty(t, ofCode(check(red.Run), "FAN_INTERLOCK_MISSING"), "nothing comes off but steam")
}

func TestStopStepsAreMissedWhereWhatComesOffIsDangerousToLife(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("blue", 1), monday), "")
	require.NoError(t, err)
	clean, err := b.book(b.plan(t, request("red", 1), monday), "")
	require.NoError(t, err)
	missed := func(run domain.Run) []finding.Finding {
		risk, err := b.GetRiskAssessment(b.ctx, "test", run.ID)
		require.NoError(t, err)
		return ofCode(risk.Assessment.Findings, "STOP_STEPS_MISSING")
	}
	found := missed(booked.Runs[0])
	require.NotEmpty(t, found)
	assert.Equal(t, finding.Warn, found[0].Severity)
	assert.NotEmpty(t, found[0].Source)
	assert.Empty(t, missed(clean.Runs[0]), "steam only")
	pot := slices.IndexFunc(booked.Runs[0].Loads, func(l domain.Load) bool { return l.Firing != nil && l.Firing.Furnace == "pot" })
	sheet, err := b.GetDaySheet(b.ctx, app.DaySheetQuery{StudioID: "test", Date: booked.Runs[0].Loads[pot].Window.Start.Format(time.DateOnly)})
	require.NoError(t, err)
	assert.True(t, slices.ContainsFunc(sheet.Jobs, func(j domain.DayJob) bool { return hasCode(j.Findings, "STOP_STEPS_MISSING") }))
	b.refit(t, func(f *heat.Furnace) { f.StopSteps = []string{"Heat off at the switch"} })
	assert.Empty(t, missed(booked.Runs[0]))
}

func TestWhatFallsDueIsListedWithTheRunsThatNeedIt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	due, err := b.GetDueChecks(b.ctx, app.DueChecksQuery{StudioID: "test", Until: "2027-03-01"})
	require.NoError(t, err)
	assert.Empty(t, due.Checks, "all was tested and measured in time, and nothing is booked")
	soon, err := b.GetDueChecks(b.ctx, app.DueChecksQuery{StudioID: "test"})
	require.NoError(t, err)
	assert.Equal(t, "2027-03-31", soon.Until)
	require.Len(t, soon.Checks, 2, "the gas alarms, tested on 22 February")
	assert.Equal(t, []string{"2027-03-24", "2027-03-24"}, []string{soon.Checks[0].DueOn, soon.Checks[1].DueOn})

	blue := b.plan(t, request("blue", 1), monday)
	late := postponed(blue.Run, 300*24*time.Hour)
	checking := call("CheckRun")
	checking.ValidateOnly = true
	checked, err := b.BookRun(b.ctx, checking, app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{late}})
	require.NoError(t, err)
	var all []string
	for _, f := range checked.Findings {
		all = append(all, f.Code)
	}
	booked, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{late}, Acknowledged: all})
	require.NoError(t, err)
	due, err = b.GetDueChecks(b.ctx, app.DueChecksQuery{StudioID: "test", Until: "2027-03-01"})
	require.NoError(t, err)
	kinds := map[domain.DueKind]bool{}
	for _, c := range due.Checks {
		kinds[c.Kind] = true
		assert.Equal(t, []string{booked.Runs[0].ID}, c.Runs, "%v", c)
		assert.False(t, c.FirstTime.IsZero())
		assert.False(t, c.Overdue, "not today")
	}
	assert.Equal(t, map[domain.DueKind]bool{domain.DueDetector: true, domain.DueInterlock: true, domain.DueCapture: true, domain.DueFlow: true}, kinds)
	_, err = b.GetDueChecks(b.ctx, app.DueChecksQuery{StudioID: "test", Until: "2027-02-30"})
	assert.Equal(t, "until", finding.FaultsOf(err)[0].Field)

	sheet, err := b.GetDaySheet(b.ctx, app.DaySheetQuery{StudioID: "test", Date: "2027-10-05", Room: "bay"})
	require.NoError(t, err)
	require.NotEmpty(t, sheet.Due)
	for _, c := range sheet.Due {
		assert.LessOrEqual(t, c.DueOn, "2027-10-05")
		assert.Equal(t, c.Kind == domain.DueDetector, c.Overdue, "the others count for the last time on this day")
	}
}
