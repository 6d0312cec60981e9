package check_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"saggar/scheduler/check"
	"saggar/scheduler/plan"
)

// kiln is three tasks that are each one phase of ten minutes on one furnace, the last of them optional. Setup from family 0
// to family 1 takes seven minutes, back none; the third may share a firing with the second.
func kiln() plan.Problem {
	fire := plan.Phase{Minutes: 10, Calendar: -1, Watches: []plan.Watch{{}}, Demands: []plan.Demand{{Amount: 4}}}
	other := fire
	other.Watches = []plan.Watch{{Place: 1}}
	clean := func(load int) plan.Mode {
		return plan.Mode{Family: 1, Batch: 3, Load: load, Phases: []plan.Phase{fire}, Uses: []plan.Use{{Amount: 2}}, Energy: 9}
	}
	return plan.Problem{
		HorizonMinutes: 100,
		Unaries: []plan.Unary{{
			SetupMinutes: [][]int{{0, 7}, {0, 0}}, BatchCapacity: 5, HotMinutes: 7, HotSaving: 4,
			Held: []plan.Held{{Interval: plan.Interval{Start: 80, End: 85}}},
		}},
		Cumulatives: []plan.Cumulative{{Capacity: 5}},
		Budgets:     []plan.Budget{{Amount: 4}},
		Crews:       []plan.Crew{{People: 1, Posted: []plan.Post{{Interval: plan.Interval{Start: 60, End: 62}, Place: 1}}}},
		Days:        []plan.Interval{{Start: 0, End: 24}, {Start: 24, End: 48}},
		Tasks: []plan.Task{
			{Modes: []plan.Mode{
				{Phases: []plan.Phase{fire}, Energy: 9}, {Unary: -1, Phases: []plan.Phase{other}},
			}, DeadlineMinute: 90, DueMinute: 8, LatenessWeight: 3, CompletionWeight: 2, Present: &plan.Present{
				Mode: 1, StartMinute: 5, MinuteWeight: 2, ModeWeight: 50,
			}},
			{Modes: []plan.Mode{clean(3)}},
			{Modes: []plan.Mode{clean(2)}, Optional: true, OmissionWeight: 11},
		},
	}
}

func omitted(task int) plan.Placement { return plan.Placement{Task: task, Mode: -1} }

// TestSharedFurnace has a wrong solution for each rule of what tasks share, and right ones beside it.
func TestSharedFurnace(t *testing.T) {
	none := []check.Violation(nil)
	one := func(rule check.Rule, task, index, got, limit int) []check.Violation {
		return []check.Violation{breach(rule, task, index, got, limit)}
	}
	cases := map[string]struct {
		placements []plan.Placement
		spoil      func(p *plan.Problem)
		want       []check.Violation
	}{
		"batch after setup":   {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 17, 27), placed(2, 0, 17, 27)}, nil, none},
		"no setup back":       {[]plan.Placement{placed(0, 0, 10, 20), placed(1, 0, 0, 10), omitted(2)}, nil, none},
		"setup short":         {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 16, 26), omitted(2)}, nil, one(check.RuleSetup, 1, 0, 6, 7)},
		"setup after held":    {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 91, 101), omitted(2)}, func(p *plan.Problem) { p.HorizonMinutes = 200 }, one(check.RuleSetup, 1, 0, 6, 7)},
		"clear of held":       {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 70, 80), omitted(2)}, nil, none},
		"on what is held":     {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 71, 81), omitted(2)}, nil, one(check.RuleBusy, 1, 0, 71, 85)},
		"batch too full":      {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 17, 27), placed(2, 0, 17, 27)}, func(p *plan.Problem) { p.Unaries[0].BatchCapacity = 4 }, one(check.RuleBatch, 1, 0, 5, 4)},
		"not at once":         {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 17, 27), placed(2, 0, 18, 28)}, func(p *plan.Problem) { p.Cumulatives = []plan.Cumulative{{Capacity: 8}} }, one(check.RuleShared, 2, 0, 18, 27)},
		"over the budget":     {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 17, 27), placed(2, 0, 17, 27)}, func(p *plan.Problem) { p.Budgets[0].Amount = 3 }, one(check.RuleBudget, -1, 0, 4, 3)},
		"must not be omitted": {[]plan.Placement{omitted(0), placed(1, 0, 17, 27), omitted(2)}, nil, one(check.RuleOmitted, 0, -1, -1, 2)},
		"omitted with times":  {[]plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 17, 27), placed(2, -1, 0, 10)}, nil, one(check.RuleOmitted, 2, -1, -1, 1)},
		"at the deadline":     {[]plan.Placement{placed(0, 1, 80, 90), placed(1, 0, 17, 27), omitted(2)}, nil, none},
		"after the deadline":  {[]plan.Placement{placed(0, 1, 81, 91), placed(1, 0, 17, 27), omitted(2)}, nil, one(check.RuleDeadline, 0, -1, 91, 90)},
		"two places at once":  {[]plan.Placement{placed(0, 1, 0, 10), placed(1, 0, 9, 19), omitted(2)}, func(p *plan.Problem) { p.Cumulatives[0].Capacity = 8 }, one(check.RuleCrew, -1, 0, 2, 1)},
		"two people":          {[]plan.Placement{placed(0, 1, 0, 10), placed(1, 0, 9, 19), omitted(2)}, func(p *plan.Problem) { p.Cumulatives[0].Capacity, p.Crews[0].People = 8, 2 }, none},
		"posted elsewhere":    {[]plan.Placement{placed(0, 1, 0, 10), placed(1, 0, 51, 61), omitted(2)}, nil, one(check.RuleCrew, -1, 0, 2, 1)},
		"posted in the place": {[]plan.Placement{placed(0, 1, 51, 61), placed(1, 0, 0, 10), omitted(2)}, nil, none},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			p := kiln()
			if c.spoil != nil {
				c.spoil(&p)
			}
			require.Equal(t, c.want, check.Verify(p, plan.Solution{Tasks: c.placements}))
		})
	}
}

// TestLagFromStart counts from the start, and a task that is left out has no lags.
func TestLagFromStart(t *testing.T) {
	p := kiln()
	p.Lags = []plan.Lag{
		{From: 0, To: 1, MinMinutes: 18, MaxMinutes: 20, FromStart: true}, {From: 2, To: 1, MinMinutes: 50, MaxMinutes: -1},
	}
	solution := func(start int) plan.Solution {
		return plan.Solution{Tasks: []plan.Placement{placed(0, 0, 0, 10), placed(1, 0, start, start+10), omitted(2)}}
	}
	require.Empty(t, check.Verify(p, solution(18)))
	require.Equal(t, []check.Violation{breach(check.RuleLagMinimum, 1, 0, 17, 18)}, check.Verify(p, solution(17)))
	require.Empty(t, check.Verify(p, solution(20)))
	require.Equal(t, []check.Violation{breach(check.RuleLagMaximum, 1, 0, 21, 20)}, check.Verify(p, solution(21)))
}

// TestSeparation: the second task starts at most 12 minutes before the first or at least 20 after it, in their modes named.
func TestSeparation(t *testing.T) {
	verify := func(firstMode, first, second int) []check.Violation {
		p := kiln()
		p.Cumulatives, p.Crews[0].People = []plan.Cumulative{{Capacity: 99}}, 9
		p.Separations = []plan.Separation{
			{First: 0, FirstMode: 1, Second: 1, SecondMode: -1, FromMinutes: -12, ToMinutes: 20},
			{First: 1, FirstMode: -1, Second: 2, SecondMode: 0, FromMinutes: -90, ToMinutes: 90},
		}
		return check.Verify(p, plan.Solution{Tasks: []plan.Placement{
			placed(0, firstMode, first, first+10), placed(1, 0, second, second+10), omitted(2),
		}})
	}
	require.Empty(t, verify(1, 20, 40))
	require.Equal(t, []check.Violation{breach(check.RuleSeparation, 1, 0, 19, 20)}, verify(1, 20, 39))
	require.Equal(t, []check.Violation{breach(check.RuleSeparation, 1, 0, 0, 20)}, verify(1, 20, 20))
	require.Equal(t, []check.Violation{breach(check.RuleSeparation, 1, 0, -11, 20)}, verify(1, 20, 9))
	require.Empty(t, verify(1, 20, 8))
	require.Empty(t, verify(0, 20, 39), "the first task is in its other mode")
}

// TestValues works every objective out by hand.
func TestValues(t *testing.T) {
	p := kiln()
	for i := range p.Tasks {
		for k := range p.Tasks[i].Modes {
			p.Tasks[i].Modes[k].Phases[0].Visit = true
		}
	}
	apart := plan.Solution{Tasks: []plan.Placement{placed(0, 0, 0, 10), placed(1, 0, 17, 27), omitted(2)}}
	cases := []struct {
		objective plan.Objective
		solution  plan.Solution
		want      int
	}{
		{plan.Makespan, apart, 27}, {plan.Omission, apart, 11}, {plan.Completion, apart, 20}, {plan.Lateness, apart, 6},
		{plan.Visits, apart, 2}, {plan.Energy, apart, 9 + 9 - 4}, {plan.Change, apart, 50 + 2*5},
	}
	for _, c := range cases {
		require.Equal(t, c.want, check.Value(p, c.solution, c.objective), "%s", c.objective)
	}
	shared := plan.Solution{Tasks: []plan.Placement{placed(0, 1, 5, 15), placed(1, 0, 18, 28), placed(2, 0, 18, 28)}}
	require.Equal(t, 9, check.Value(p, shared, plan.Energy), "a batch fires once, and nothing was hot before")
	require.Zero(t, check.Value(p, shared, plan.Change))
	require.Zero(t, check.Value(p, shared, plan.Omission))
	late := plan.Solution{Tasks: []plan.Placement{placed(0, 0, 89, 99), placed(1, 0, 0, 10), omitted(2)}}
	require.Equal(t, 9+9-4, check.Value(p, late, plan.Energy), "hot from what is held")
}
