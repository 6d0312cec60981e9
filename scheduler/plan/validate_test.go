package plan_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"saggar/scheduler/plan"
)

// sound is a small problem without a fault.
func sound() plan.Problem {
	mode := plan.Mode{Phases: []plan.Phase{
		{Minutes: 5, Calendar: -1, Demands: []plan.Demand{{Amount: 1}}},
		{MaxMinutes: 4, Calendar: 0},
	}, ForbiddenStarts: []plan.Interval{{Start: -4, End: 3}}}
	return plan.Problem{
		HorizonMinutes: 100,
		Tasks:          []plan.Task{{Modes: []plan.Mode{mode}}, {ReleaseMinute: 3, Modes: []plan.Mode{mode}}},
		Lags:           []plan.Lag{{From: 0, To: 1, MinMinutes: -3, MaxMinutes: -1}, {From: 1, To: 0, MaxMinutes: 0}},
		Separations:    []plan.Separation{{First: 1, FirstMode: -1, Second: 0, FromMinutes: -5, ToMinutes: -3}},
		Unaries:        []plan.Unary{{Busy: []plan.Interval{{Start: -9, End: 400}, {Start: -20, End: 5}}}},
		Cumulatives:    []plan.Cumulative{{Used: []plan.Step{{Interval: plan.Interval{Start: 1, End: 2}, Amount: 7}}}},
		Calendars:      []plan.Calendar{{Open: []plan.Interval{{Start: -5, End: 5}, {Start: 5, End: 500}}}, {}},
	}
}

func TestValidateAccepts(t *testing.T) {
	p := sound()
	require.NoError(t, p.Validate())
	p.HorizonMinutes, p.StepMinutes = plan.MaxMinute, 15
	require.NoError(t, p.Validate())
	p.Tasks[0].Modes[0].Phases[1].Minutes, p.Tasks[0].Modes[0].Phases[1].MaxMinutes = 4, 4
	p.Tasks[0].Modes[0].TailPhases = 1
	require.NoError(t, p.Validate(), "a most that is the least is not elastic")
}

func TestValidateRejects(t *testing.T) {
	cases := map[string]struct {
		spoil func(p *plan.Problem)
		field string
		value int
	}{
		"no horizon":            {func(p *plan.Problem) { p.HorizonMinutes = 0 }, "horizon_minutes", 0},
		"horizon too far":       {func(p *plan.Problem) { p.HorizonMinutes = plan.MaxMinute + 1 }, "horizon_minutes", plan.MaxMinute + 1},
		"negative step":         {func(p *plan.Problem) { p.StepMinutes = -1 }, "step_minutes", -1},
		"no modes":              {func(p *plan.Problem) { p.Tasks[1].Modes = nil }, "tasks[1].modes", 0},
		"negative release":      {func(p *plan.Problem) { p.Tasks[0].ReleaseMinute = -2 }, "tasks[0].release_minute", -2},
		"unary":                 {func(p *plan.Problem) { p.Tasks[0].Modes[0].Unary = 1 }, "tasks[0].modes[0].unary", 1},
		"negative unary":        {func(p *plan.Problem) { p.Tasks[0].Modes[0].Unary = -2 }, "tasks[0].modes[0].unary", -2},
		"no phases":             {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases = nil }, "tasks[0].modes[0].phases", 0},
		"no minutes":            {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[0].Minutes = 0 }, "tasks[0].modes[0].phases", 0},
		"negative minutes":      {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[1].Minutes = -1 }, "tasks[0].modes[0].phases[1].minutes", -1},
		"negative most":         {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[1].MaxMinutes = -1 }, "tasks[0].modes[0].phases[1].max_minutes", -1},
		"most below least":      {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[0].MaxMinutes = 4 }, "tasks[0].modes[0].phases[0].max_minutes", 4},
		"calendar":              {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[1].Calendar = 2 }, "tasks[0].modes[0].phases[1].calendar", 2},
		"negative calendar":     {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[1].Calendar = -2 }, "tasks[0].modes[0].phases[1].calendar", -2},
		"cumulative":            {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[0].Demands[0].Cumulative = 1 }, "tasks[0].modes[0].phases[0].demands[0].cumulative", 1},
		"negative demand":       {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[0].Demands[0].Amount = -1 }, "tasks[0].modes[0].phases[0].demands[0].amount", -1},
		"negative tail":         {func(p *plan.Problem) { p.Tasks[0].Modes[0].TailPhases = -1 }, "tasks[0].modes[0].tail_phases", -1},
		"tail of all":           {func(p *plan.Problem) { p.Tasks[0].Modes[0].TailPhases = 1 }, "tasks[0].modes[0].tail_phases", 1},
		"elastic tail":          {func(p *plan.Problem) { m := &p.Tasks[0].Modes[0]; m.Phases[1].Minutes, m.TailPhases = 3, 1 }, "tasks[0].modes[0].phases[1].max_minutes", 4},
		"empty forbidden":       {func(p *plan.Problem) { p.Tasks[0].Modes[0].ForbiddenStarts[0].End = -4 }, "tasks[0].modes[0].forbidden_starts[0].end", -4},
		"lag from":              {func(p *plan.Problem) { p.Lags[0].From = 2 }, "lags[0].from", 2},
		"lag to":                {func(p *plan.Problem) { p.Lags[0].To = -1 }, "lags[0].to", -1},
		"lag to itself":         {func(p *plan.Problem) { p.Lags[0].To = 0 }, "lags[0].to", 0},
		"lag most below":        {func(p *plan.Problem) { p.Lags[1].MinMinutes = 1 }, "lags[1].max_minutes", 0},
		"lag absurd":            {func(p *plan.Problem) { p.Lags[0].MinMinutes = -plan.MaxMinute - 1 }, "lags[0].min_minutes", -plan.MaxMinute - 1},
		"separation of itself":  {func(p *plan.Problem) { p.Separations[0].Second = 1 }, "separations[0].second", 1},
		"separation of nothing": {func(p *plan.Problem) { p.Separations[0].First = -1 }, "separations[0].first", -1},
		"separation of no task": {func(p *plan.Problem) { p.Separations[0].Second, p.Separations[0].SecondMode = 2, 7 }, "separations[0].second", 2},
		"separated mode":        {func(p *plan.Problem) { p.Separations[0].FirstMode = -2 }, "separations[0].first_mode", -2},
		"other separated mode":  {func(p *plan.Problem) { p.Separations[0].SecondMode = 1 }, "separations[0].second_mode", 1},
		"separation of nought":  {func(p *plan.Problem) { p.Separations[0].ToMinutes = -5 }, "separations[0].to_minutes", -5},
		"separation absurd":     {func(p *plan.Problem) { p.Separations[0].FromMinutes = -plan.MaxMinute - 1 }, "separations[0].from_minutes", -plan.MaxMinute - 1},
		"empty busy":            {func(p *plan.Problem) { p.Unaries[0].Busy[1].End = -20 }, "unaries[0].busy[1].end", -20},
		"busy absurd":           {func(p *plan.Problem) { p.Unaries[0].Busy[0].End = plan.MaxMinute + 1 }, "unaries[0].busy[0].end", plan.MaxMinute + 1},
		"negative capacity":     {func(p *plan.Problem) { p.Cumulatives[0].Capacity = -1 }, "cumulatives[0].capacity", -1},
		"negative used":         {func(p *plan.Problem) { p.Cumulatives[0].Used[0].Amount = -1 }, "cumulatives[0].used[0].amount", -1},
		"empty used":            {func(p *plan.Problem) { p.Cumulatives[0].Used[0].End = 0 }, "cumulatives[0].used[0].end", 0},
		"calendar overlaps":     {func(p *plan.Problem) { p.Calendars[0].Open[1].Start = 4 }, "calendars[0].open[1].start", 4},
		"negative deadline":     {func(p *plan.Problem) { p.Tasks[0].DeadlineMinute = -1 }, "tasks[0].deadline_minute", -1},
		"weight absurd":         {func(p *plan.Problem) { p.Tasks[0].LatenessWeight = plan.MaxWeight + 1 }, "tasks[0].lateness_weight", plan.MaxWeight + 1},
		"present mode":          {func(p *plan.Problem) { p.Tasks[0].Present = &plan.Present{Mode: 1} }, "tasks[0].present.mode", 1},
		"no such family":        {func(p *plan.Problem) { p.Tasks[0].Modes[0].Family = 1 }, "tasks[0].modes[0].family", 1},
		"setups not square":     {func(p *plan.Problem) { p.Unaries[0].SetupMinutes = [][]int{{0, 1}} }, "unaries[0].setup_minutes[0]", 2},
		"negative setup":        {func(p *plan.Problem) { p.Unaries[0].SetupMinutes = [][]int{{-1}} }, "unaries[0].setup_minutes[0][0]", -1},
		"held backwards":        {func(p *plan.Problem) { p.Unaries[0].Held = []plan.Held{{}} }, "unaries[0].held[0].end", 0},
		"no such budget":        {func(p *plan.Problem) { p.Tasks[0].Modes[0].Uses = []plan.Use{{}} }, "tasks[0].modes[0].uses[0].budget", 0},
		"negative budget":       {func(p *plan.Problem) { p.Budgets = []plan.Budget{{Amount: -1}} }, "budgets[0].amount", -1},
		"no such crew":          {func(p *plan.Problem) { p.Tasks[0].Modes[0].Phases[0].Watches = []plan.Watch{{}} }, "tasks[0].modes[0].phases[0].watches[0].crew", 0},
		"negative people":       {func(p *plan.Problem) { p.Crews = []plan.Crew{{People: -1}} }, "crews[0].people", -1},
		"batch differs": {func(p *plan.Problem) {
			p.Tasks[0].Modes[0].Batch = 1
			m := &p.Tasks[1].Modes[0]
			m.Batch = 1
			m.Phases[0].Minutes = 6
		}, "tasks[1].modes[0].batch", 1},
		"unknown objective":  {func(p *plan.Problem) { p.Objectives = []plan.Objective{plan.Makespan, "beauty"} }, "objectives[1]", 1},
		"objective twice":    {func(p *plan.Problem) { p.Objectives = []plan.Objective{plan.Makespan, plan.Makespan} }, "objectives[1]", 1},
		"calendar backwards": {func(p *plan.Problem) { p.Calendars[0].Open[0].End = -6 }, "calendars[0].open[0].end", -6},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			p := sound()
			// The two tasks share their mode, so each is given its own.
			p.Tasks[1].Modes = sound().Tasks[1].Modes
			c.spoil(&p)
			invalid, ok := errors.AsType[*plan.InvalidError](p.Validate())
			require.True(t, ok)
			require.Len(t, invalid.Faults, 1)
			require.Equal(t, c.field, invalid.Faults[0].Field)
			require.Equal(t, c.value, invalid.Faults[0].Value)
			require.Contains(t, invalid.Error(), c.field)
		})
	}
}

func TestValidateNamesEveryFault(t *testing.T) {
	err := (&plan.Problem{StepMinutes: -1, Lags: make([]plan.Lag, 30)}).Validate()
	invalid, ok := errors.AsType[*plan.InvalidError](err)
	require.True(t, ok)
	require.Len(t, invalid.Faults, 3+3*30, "horizon, step, tasks, and from, to and the same task for each lag")
	require.Equal(t, 1+20+1, len(strings.Split(err.Error(), "\n")))
	require.True(t, strings.HasSuffix(err.Error(), "and 73 more"))
}

func TestPlacementReady(t *testing.T) {
	phases := []plan.Interval{{Start: 4, End: 9}, {Start: 9, End: 12}, {Start: 12, End: 30}}
	placement := plan.Placement{StartMinute: 4, Phases: phases}
	for tail, want := range []int{30, 12, 9, 4, 4} {
		require.Equal(t, want, placement.ReadyMinute(plan.Mode{TailPhases: tail}), "%d", tail)
	}
}

func TestPlacementEnds(t *testing.T) {
	placement := plan.Placement{StartMinute: 4, Phases: []plan.Interval{{Start: 4, End: 9}, {Start: 9, End: 9}}}
	require.Equal(t, 9, placement.EndMinute())
	require.Equal(t, 4, plan.Placement{StartMinute: 4}.EndMinute())
	require.Equal(t, 9, plan.Solution{Tasks: []plan.Placement{placement, {StartMinute: 5}}}.MakespanMinute())
	require.Zero(t, plan.Solution{}.MakespanMinute())
	require.Equal(t, 5, placement.Phases[0].Minutes())
}
