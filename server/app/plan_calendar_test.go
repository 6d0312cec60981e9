package app_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// inZone loads the test studio in a time zone with hours from 8 to 18 on weekdays, less a holiday.
func (b bench) inZone(t *testing.T, name, holiday string) *time.Location {
	t.Helper()
	load := testStudio()
	load.Studio.TimeZone = name
	for i := range load.Equipment {
		if hours := load.Equipment[i].Hours; hours != nil {
			hours.Weekly = []domain.WeeklyHours{{Days: []time.Weekday{1, 2, 3, 4, 5}, OpensMinute: 8 * 60, ClosesMinute: 18 * 60}}
			hours.Exceptions = []domain.DateHours{{Date: holiday}}
		}
	}
	for i := range load.Recipes {
		for k := range load.Recipes[i].Stages {
			load.Recipes[i].Stages[k].MaxWaitMinutes = 5 * 24 * 60 // over a long weekend
		}
	}
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), load)
	require.NoError(t, err)
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	return zone
}

// TestPlansAcrossClockChangesAndHolidays: people come by the clock on the wall, and a firing takes as many minutes whatever the
// clock does meanwhile. In Berlin clocks go forward on 28 March 2027 and back on 31 October 2027.
func TestPlansAcrossClockChangesAndHolidays(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ from, holiday string }{
		"forward": {"2027-03-26", "2027-03-29"},
		"back":    {"2027-10-29", "2027-11-01"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			zone := b.inZone(t, "Europe/Berlin", c.holiday)
			friday, err := time.ParseInLocation("2006-01-02 15:04", c.from+" 13:00", zone)
			require.NoError(t, err)
			require.Equal(t, time.Friday, friday.Weekday())
			answer := b.plan(t, request("blue", 1), friday)
			require.Equal(t, app.PlanOptimal, answer.Status, "%v", answer.Blames)
			require.Empty(t, b.blocks(t, answer.Run))
			ordinary := b.plan(t, request("blue", 1), friday.AddDate(0, 0, -14))
			require.Equal(t, app.PlanOptimal, ordinary.Status)
			_, before := friday.Zone()
			_, after := answer.End.In(zone).Zone()
			require.NotEqual(t, before, after, "the plan lies across the change")
			for i, window := range answer.Run.Windows {
				for k, phase := range window.Phases {
					if window.Furnace == ordinary.Run.Windows[i].Furnace && phase.Kind != heat.Wait {
						assert.Equal(t, ordinary.Run.Windows[i].Phases[k].Window.Minutes(), phase.Window.Minutes(), "%s %s", window.Stage, phase.Kind)
					}
					if phase.Kind != heat.Charge && phase.Kind != heat.Draw && phase.Kind != heat.Work {
						continue
					}
					start, end := phase.Window.Start.In(zone), phase.Window.End.In(zone)
					assert.NotContains(t, []time.Weekday{0, 6}, start.Weekday())
					assert.NotEqual(t, c.holiday, start.Format(time.DateOnly))
					assert.GreaterOrEqual(t, start.Hour(), 8)
					assert.False(t, end.After(time.Date(start.Year(), start.Month(), start.Day(), 18, 0, 0, 0, zone)), "%v", phase)
				}
			}
		})
	}
}

// TestAStageLongerThanAStaffedDay: with somebody in the room throughout no day is long enough, and the answer says which.
func TestAStageLongerThanAStaffedDay(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	load := testStudio()
	load.Recipes[1].Stages[0].FireWatch = heat.InRoom
	load.Recipes[1].Stages[0].Program.Segments[0].HoldMinutes = 17 * 60
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), load)
	require.NoError(t, err)
	answer := b.plan(t, request("red", 1), monday)
	require.Equal(t, app.PlanInfeasible, answer.Status)
	require.Len(t, answer.Blames, 1, "%v", answer.Blames)
	assert.Equal(t, "STAFFED_HOURS", answer.Blames[0].Code)
	assert.Contains(t, answer.Blames[0].Message, "the longest is 960", "from 7 to 23")
	assert.True(t, answer.BlamesMinimal)
}

// TestAHorizonWithoutAnAnswer says by when it could be.
func TestAHorizonWithoutAnAnswer(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	in := many(request("blue", 1), request("blue", 1))
	in.Window.End = monday.AddDate(0, 0, 2)
	answer, err := b.planInput(in)
	require.NoError(t, err)
	require.Equal(t, app.PlanInfeasible, answer.Status)
	assert.Empty(t, answer.Runs)
	require.NotEmpty(t, answer.Blames)
	assert.Equal(t, "HORIZON", answer.Blames[0].Code)
}

// TestTheEndThatWouldDoCountsWhatHasBegun: what a stage under way leaves is not forgotten beyond the window's end.
func TestTheEndThatWouldDoCountsWhatHasBegun(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("blue", 1), monday), "")
	require.NoError(t, err)
	run := booked.Runs[0]
	late := b.at(run.Loads[0].Window.Start.Add(time.Hour))
	again := request("blue", 1)
	again.ID = run.ID
	from := run.Loads[0].Window.Start.Add(2 * time.Hour)
	short := app.PlanInput{StudioID: "test", Runs: []app.RunRequest{again}, Window: domain.Window{Start: from, End: from.Add(4 * time.Hour)}}
	answer, err := late.planInput(short)
	require.NoError(t, err)
	require.Equal(t, app.PlanInfeasible, answer.Status)
	require.Equal(t, "HORIZON", answer.Blames[0].Code)
	_, clock, said := strings.Cut(answer.Blames[0].Message, "could be by ")
	require.True(t, said, answer.Blames[0].Message)
	enough, err := time.Parse("Mon 2 Jan 15:04 2006", clock+" 2027")
	require.NoError(t, err)
	for less, status := range map[time.Duration]app.PlanStatus{0: app.PlanOptimal, time.Minute: app.PlanInfeasible} {
		short.Window.End = enough.Add(-less)
		answer, err := late.planInput(short)
		require.NoError(t, err)
		assert.Equal(t, status, answer.Status, "%v less", less)
	}

	// The recipe's lag lets pack begin a day after the calcine at most, and from then on nobody can be there for a week.
	load := testStudio()
	load.Recipes[0].Lags = []chem.Lag{{FromStage: "calcine", ToStage: "pack", MaxMinutes: 24 * 60}}
	_, err = b.LoadStudio(b.ctx, call("LoadStudio"), load)
	require.NoError(t, err)
	booked, err = b.book(b.plan(t, request("blue", 1), monday.AddDate(0, 0, 7)), "")
	require.NoError(t, err)
	run = booked.Runs[0]
	late = b.at(run.Loads[0].Window.Start.Add(time.Hour))
	b.close(t, domain.KindFurnace, "dust-hood", domain.Window{Start: run.Loads[0].Window.Start, End: run.Loads[0].Window.End.AddDate(0, 0, 7)})
	again.ID, from = run.ID, run.Loads[0].Window.Start.Add(2*time.Hour)
	answer, err = late.planInput(app.PlanInput{StudioID: "test", Runs: []app.RunRequest{again}, Window: domain.Window{Start: from, End: from.AddDate(0, 0, 28)}})
	require.NoError(t, err)
	require.Equal(t, app.PlanInfeasible, answer.Status)
	for _, blame := range answer.Blames {
		assert.NotEqual(t, "HORIZON", blame.Code, blame.Message)
	}
}
