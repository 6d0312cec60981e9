package check_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"saggar/scheduler/check"
	"saggar/scheduler/plan"
)

// shop is two tasks of three phases each, with every kind of constraint, none of them idle.
func shop() plan.Problem {
	mode := plan.Mode{
		Unary:           0,
		ForbiddenStarts: []plan.Interval{{Start: 15, End: 20}},
		Phases: []plan.Phase{
			{Minutes: 10, Calendar: 0, Demands: []plan.Demand{{Cumulative: 0, Amount: 2}, {Cumulative: 0, Amount: 1}}},
			{Minutes: 5, MaxMinutes: 40, Calendar: -1},
			{Minutes: 5, Calendar: 0, Demands: []plan.Demand{{Cumulative: 0, Amount: 1}}},
		},
	}
	other := mode
	other.Unary = 1
	return plan.Problem{
		HorizonMinutes: 200,
		StepMinutes:    5,
		Tasks: []plan.Task{
			{ReleaseMinute: 5, Modes: []plan.Mode{mode}},
			{Modes: []plan.Mode{mode, other}},
		},
		Lags:    []plan.Lag{{From: 0, To: 1, MinMinutes: 5, MaxMinutes: 60}},
		Unaries: []plan.Unary{{Busy: []plan.Interval{{Start: 140, End: 150}}}, {}},
		Cumulatives: []plan.Cumulative{{Capacity: 3, Used: []plan.Step{
			{Interval: plan.Interval{Start: 70, End: 75}, Amount: 1},
			{Interval: plan.Interval{Start: 100, End: 110}, Amount: 9},
		}}},
		Calendars: []plan.Calendar{{Open: []plan.Interval{{Start: -20, End: 50}, {Start: 50, End: 90}, {Start: 95, End: 300}}}},
	}
}

// placed is a placement by the ends of its phases.
func placed(task, mode, start int, ends ...int) plan.Placement {
	p := plan.Placement{Task: task, Mode: mode, StartMinute: start}
	at := start
	for _, end := range ends {
		p.Phases = append(p.Phases, plan.Interval{Start: at, End: end})
		at = end
	}
	return p
}

func breach(rule check.Rule, task, index, got, limit int) check.Violation {
	return check.Violation{Rule: rule, Task: task, Index: index, Got: got, Limit: limit}
}

func right() []plan.Placement {
	return []plan.Placement{placed(0, 0, 5, 15, 20, 25), placed(1, 0, 30, 40, 75, 80)}
}

func TestRightSolutions(t *testing.T) {
	cases := map[string][]plan.Placement{
		"plain":                                 right(),
		"phase across touching openings":        {placed(0, 0, 5, 15, 20, 25), placed(1, 0, 45, 55, 75, 80)},
		"used above the capacity while waiting": {placed(0, 0, 5, 15, 20, 25), placed(1, 0, 80, 90, 112, 117)},
		"demand up to the capacity":             {placed(0, 0, 20, 30, 60, 65), placed(1, 0, 75, 85, 95, 100)},
		"from the end of what is busy":          {placed(0, 0, 80, 90, 113, 118), placed(1, 0, 150, 160, 195, 200)},
		"up to the start of what is busy":       {placed(0, 0, 20, 30, 60, 65), placed(1, 0, 110, 120, 135, 140)},
	}
	for name, placements := range cases {
		t.Run(name, func(t *testing.T) {
			require.Empty(t, check.Verify(shop(), plan.Solution{Tasks: placements}))
		})
	}
}

// TestWrongSolutions has a hand-made solution for each rule that breaks this rule and no other.
func TestWrongSolutions(t *testing.T) {
	first, second := right()[0], right()[1]
	gap := placed(1, 0, 30, 40, 75, 80)
	gap.Phases[2] = plan.Interval{Start: 76, End: 81}
	backwards := placed(1, 0, 30, 40, 75, 74)
	cases := map[string]struct {
		placements []plan.Placement
		want       check.Violation
	}{
		"task missing":    {[]plan.Placement{first}, breach(check.RuleTasks, -1, -1, 1, 2)},
		"task twice":      {[]plan.Placement{first, first}, breach(check.RuleTasks, 1, -1, 0, 1)},
		"no such mode":    {[]plan.Placement{first, placed(1, 2, 30, 40, 75, 80)}, breach(check.RuleMode, 1, -1, 2, 2)},
		"negative mode":   {[]plan.Placement{first, placed(1, -2, 30, 40, 75, 80)}, breach(check.RuleMode, 1, -1, -2, 2)},
		"phase missing":   {[]plan.Placement{first, placed(1, 0, 30, 40, 75)}, breach(check.RulePhases, 1, -1, 2, 3)},
		"gap":             {[]plan.Placement{first, gap}, breach(check.RulePhases, 1, 2, 76, 75)},
		"backwards":       {[]plan.Placement{first, backwards}, breach(check.RulePhases, 1, 2, 75, 75)},
		"too short":       {[]plan.Placement{first, placed(1, 0, 30, 39, 75, 80)}, breach(check.RuleDuration, 1, 0, 9, 10)},
		"too long":        {[]plan.Placement{first, placed(1, 0, 30, 40, 81, 86)}, breach(check.RuleDuration, 1, 1, 41, 40)},
		"wait too short":  {[]plan.Placement{first, placed(1, 0, 30, 40, 44, 49)}, breach(check.RuleDuration, 1, 1, 4, 5)},
		"not released":    {[]plan.Placement{placed(0, 0, 0, 10, 20, 25), second}, breach(check.RuleRelease, 0, -1, 0, 5)},
		"off the grid":    {[]plan.Placement{first, placed(1, 0, 31, 41, 76, 81)}, breach(check.RuleStep, 1, -1, 31, 5)},
		"forbidden start": {[]plan.Placement{placed(0, 0, 15, 25, 30, 35), placed(1, 0, 40, 50, 75, 80)}, breach(check.RuleForbidden, 0, -1, 15, 20)},
		"closed":          {[]plan.Placement{first, placed(1, 0, 45, 55, 86, 91)}, breach(check.RuleCalendar, 1, 2, 90, 91)},
		"across a break":  {[]plan.Placement{first, placed(1, 1, 85, 95, 110, 115)}, breach(check.RuleCalendar, 1, 0, 90, 95)},
		"busy": {[]plan.Placement{placed(0, 0, 20, 30, 60, 65), placed(1, 0, 115, 125, 136, 141)},
			breach(check.RuleBusy, 1, 0, 115, 150)},
		"lag too short": {[]plan.Placement{first, placed(1, 1, 25, 35, 60, 65)}, breach(check.RuleLagMinimum, 1, 0, 0, 5)},
		"lag too long": {[]plan.Placement{placed(0, 0, 5, 15, 20, 25), placed(1, 1, 110, 120, 125, 130)},
			breach(check.RuleLagMaximum, 1, 0, 85, 60)},
		"above the capacity": {[]plan.Placement{first, placed(1, 0, 65, 75, 80, 85)}, breach(check.RuleCumulative, -1, 0, 4, 3)},
		"after the horizon": {[]plan.Placement{placed(0, 0, 80, 90, 120, 125), placed(1, 1, 180, 190, 196, 201)},
			breach(check.RuleHorizon, 1, -1, 201, 200)},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, []check.Violation{c.want}, check.Verify(shop(), plan.Solution{Tasks: c.placements}))
		})
	}
}

// TestWrongTogether has what needs a problem of its own.
func TestWrongTogether(t *testing.T) {
	p := shop()
	p.Lags, p.Cumulatives[0].Capacity = nil, 6
	same := []plan.Placement{placed(0, 0, 5, 15, 20, 25), placed(1, 0, 20, 30, 35, 40)}
	require.Equal(t, []check.Violation{breach(check.RuleShared, 1, 0, 20, 25)}, check.Verify(p, plan.Solution{Tasks: same}))

	apart := []plan.Placement{placed(0, 0, 5, 15, 20, 25), placed(1, 1, 10, 20, 25, 30)}
	require.Empty(t, check.Verify(p, plan.Solution{Tasks: apart}), "another unary, and power for both")
	p.Cumulatives[0].Capacity = 5
	require.Equal(t, []check.Violation{breach(check.RuleCumulative, -1, 0, 6, 5)}, check.Verify(p, plan.Solution{Tasks: apart}))

	p.Tasks[0].ReleaseMinute = 0
	before := []plan.Placement{placed(0, 0, -10, 0, 5, 10), placed(1, 0, 10, 20, 25, 30)}
	found := check.Verify(p, plan.Solution{Tasks: before})
	require.Contains(t, found, breach(check.RuleOrigin, 0, -1, -10, 0))

	p.HorizonMinutes = 0
	require.Equal(t, []check.Violation{breach(check.RuleProblem, -1, -1, 0, 0)}, check.Verify(p, plan.Solution{}))
}

// TestTail: a lag counts from the end of the last phase before the tail, while the unary stays held to the end of all.
func TestTail(t *testing.T) {
	p := shop()
	p.Tasks[0].Modes[0].TailPhases, p.Cumulatives[0].Capacity = 1, 100
	held := placed(0, 0, 5, 15, 20, 25)
	ways := map[string]struct {
		second plan.Placement
		want   []check.Violation
	}{
		"as soon as it may":  {placed(1, 1, 25, 35, 60, 65), nil},
		"as late as it may":  {placed(1, 1, 80, 90, 112, 117), nil},
		"too early":          {placed(1, 1, 20, 30, 60, 65), []check.Violation{breach(check.RuleLagMinimum, 1, 0, 0, 5)}},
		"too late":           {placed(1, 1, 110, 120, 125, 130), []check.Violation{breach(check.RuleLagMaximum, 1, 0, 90, 60)}},
		"after it, not held": {placed(1, 0, 25, 35, 60, 65), nil},
	}
	for name, way := range ways {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, way.want, check.Verify(p, plan.Solution{Tasks: []plan.Placement{held, way.second}}))
		})
	}
	p.Lags[0].MinMinutes = 0
	overlap := []plan.Placement{held, placed(1, 0, 20, 30, 60, 65)}
	require.Equal(t, []check.Violation{breach(check.RuleShared, 1, 0, 20, 25)}, check.Verify(p, plan.Solution{Tasks: overlap}))
}

// TestUsedAtTheEdges: what is used in only the first or the last minute of the plan counts, next to them it does not.
func TestUsedAtTheEdges(t *testing.T) {
	for _, c := range []struct{ start, end, want int }{{0, 5, 0}, {0, 6, 1}, {79, 90, 1}, {80, 90, 0}} {
		p := shop()
		p.Cumulatives[0].Used = []plan.Step{{Interval: plan.Interval{Start: c.start, End: c.end}, Amount: 3}}
		require.Len(t, check.Verify(p, plan.Solution{Tasks: right()}), c.want, "%d to %d", c.start, c.end)
	}
}

// TestEmptyPhaseTakesNothing: a phase of no minutes needs neither its calendar nor its demand.
func TestEmptyPhaseTakesNothing(t *testing.T) {
	p := plan.Problem{
		HorizonMinutes: 10,
		Unaries:        []plan.Unary{{}},
		Calendars:      []plan.Calendar{{}},
		Cumulatives:    []plan.Cumulative{{}},
		Tasks: []plan.Task{{Modes: []plan.Mode{{Phases: []plan.Phase{
			{Minutes: 5, Calendar: -1},
			{MaxMinutes: 3, Calendar: 0, Demands: []plan.Demand{{Amount: 1}}},
		}}}}},
	}
	require.Empty(t, check.Verify(p, plan.Solution{Tasks: []plan.Placement{placed(0, 0, 0, 5, 5)}}))
	found := check.Verify(p, plan.Solution{Tasks: []plan.Placement{placed(0, 0, 0, 5, 6)}})
	require.Len(t, found, 2)
	require.Equal(t, "calendar: task 0, index 1, got 5, limit 6", found[0].String())
}
