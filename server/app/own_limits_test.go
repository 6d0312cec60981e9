package app_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// mornings are limits of a maker who comes before noon only, and keeps off one furnace.
var mornings = domain.PlanLimits{
	Attendance:    []domain.WeeklyHours{{Days: []time.Weekday{1, 2, 3, 4, 5, 6, 0}, OpensMinute: 8 * 60, ClosesMinute: 12 * 60}},
	AvoidFurnaces: []string{"kiln"},
}

// bookWithin books a run of red within limits.
func (b bench) bookWithin(t *testing.T, limits domain.PlanLimits) domain.Run {
	t.Helper()
	in := many(request("red", 1))
	in.Limits = []domain.PlanLimits{limits}
	answer, err := b.planInput(in)
	require.NoError(t, err)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	require.Nil(t, findingOf(booked.Findings, "OWN_LIMITS"))
	return booked.Runs[0]
}

// assertMornings says that nobody need come after noon.
func assertMornings(t *testing.T, windows []domain.StageWindow) {
	t.Helper()
	for _, w := range windows {
		assert.NotEqual(t, "kiln", w.Furnace)
		for _, kind := range []heat.PhaseKind{heat.Charge, heat.Draw} {
			assert.LessOrEqual(t, phase(w, kind).End.Sub(phase(w, kind).Start.Truncate(24*time.Hour)), 12*time.Hour, "%s", kind)
		}
	}
}

// TestARunKeepsItsOwnLimits: a replan stays within them, and a move that breaks one is the maker's word.
func TestARunKeepsItsOwnLimits(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	run := b.bookWithin(t, mornings)
	kept, err := b.GetRun(b.ctx, "test", run.ID)
	require.NoError(t, err)
	require.Equal(t, mornings, kept.Inputs.Limits)

	window := run.Loads[0].Window
	b.close(t, domain.KindRoom, "bay", domain.Window{Start: window.Start.Add(-time.Hour), End: window.Start.Add(5 * time.Hour)})
	answer := b.replan(t, call("ReplanRuns"), app.ReplanInput{})
	require.Len(t, answer.Moves, 1, "%v", answer.Blames)
	assertMornings(t, answer.Moves[0].Windows)
	_, err = b.accept(call("MoveRuns"), answer)
	require.NoError(t, err)

	again := request("red", 1)
	again.ID = run.ID
	planned := b.plan(t, again, monday.AddDate(0, 0, 7).Add(6*time.Hour))
	assertMornings(t, planned.Run.Windows)

	move := app.MoveRunsInput{StudioID: "test", Acknowledged: []string{"WATCH_RAISED"}, Moves: []app.RunMove{
		{RunID: run.ID, Windows: shifted(planned.Run.Windows, 4*time.Hour)},
	}}
	_, err = b.MoveRuns(b.ctx, call("MoveRuns"), move)
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	broken := findingOf(refusal.Findings, "OWN_LIMITS")
	require.NotNil(t, broken, "%v", refusal.Findings)
	assert.Equal(t, finding.Warn, broken.Severity)
	assert.Equal(t, "moves[0].stage_windows[0]", broken.Field)
	assert.Contains(t, broken.Message, "is not when steward can be there")
	move.Acknowledged = append(move.Acknowledged, "OWN_LIMITS")
	_, err = b.MoveRuns(b.ctx, call("MoveRuns"), move)
	require.NoError(t, err)
	kept, err = b.GetRun(b.ctx, "test", run.ID)
	require.NoError(t, err)
	assert.Equal(t, mornings, kept.Inputs.Limits, "they stay, though broken once")
}

// TestEveryOwnLimitIsLookedAt: each by itself, and that what is within it passes.
func TestEveryOwnLimitIsLookedAt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.staff(t, domain.Person{ID: "jo", Role: domain.RoleMaker})
	free := b.plan(t, request("red", 1), monday)
	window := free.Run.Windows[0]
	drawn := window.Drawn()
	for name, c := range map[string]struct {
		limits domain.PlanLimits
		says   string
	}{
		"a furnace":      {domain.PlanLimits{AvoidFurnaces: []string{window.Furnace}}, "is to be avoided"},
		"another":        {domain.PlanLimits{AvoidFurnaces: []string{"pot"}}, ""},
		"a later start":  {domain.PlanLimits{Start: window.Window().Start.Add(time.Minute)}, "it starts at"},
		"the start":      {domain.PlanLimits{Start: window.Window().Start}, ""},
		"an earlier end": {domain.PlanLimits{End: drawn.Add(-time.Minute)}, "it is drawn at"},
		"the end":        {domain.PlanLimits{End: drawn}, ""},
		"other days":     {domain.PlanLimits{Attendance: []domain.WeeklyHours{{Days: []time.Weekday{0}, OpensMinute: 0, ClosesMinute: 1440}}}, "can be there"},
		"staffed heat":   {domain.PlanLimits{HeatOnlyWhileStaffed: true}, ""},
	} {
		asked := free.Run
		asked.Limits = c.limits
		found := findingOf(b.check(t, asked).Findings, "OWN_LIMITS")
		if c.says == "" {
			assert.Nil(t, found, name)
		} else if assert.NotNil(t, found, name) {
			assert.Contains(t, found.Message, c.says, name)
		}
	}
	asked := free.Run
	asked.Limits.Attendance = []domain.WeeklyHours{{Days: []time.Weekday{0}, OpensMinute: 0, ClosesMinute: 1440}}
	asked.Windows[0].AttendedBy = "jo"
	assert.Nil(t, findingOf(b.check(t, asked).Findings, "OWN_LIMITS"), "somebody else comes")
}
