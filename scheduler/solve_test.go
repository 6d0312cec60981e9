package scheduler_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/scheduler"
)

func solve(t require.TestingT, p scheduler.Problem, o scheduler.Options) scheduler.Result {
	result, err := scheduler.Solve(context.Background(), p, o)
	require.NoError(t, err)
	return result
}

// TestAgreesWithBruteForce compares status and the whole objective, one feature at a time and all together.
func TestAgreesWithBruteForce(t *testing.T) {
	base := shape{tasks: 3, modes: 1, horizon: 18}
	with := func(change func(s *shape)) shape {
		s := base
		change(&s)
		return s
	}
	shapes := map[string]shape{
		"one unary each":    base,
		"busy":              with(func(s *shape) { s.busy = true }),
		"modes":             with(func(s *shape) { s.modes, s.busy = 3, true }),
		"chain lags":        with(func(s *shape) { s.lags, s.busy, s.modes = true, true, 2 }),
		"general lags":      with(func(s *shape) { s.anyLags, s.busy, s.modes = true, true, 2 }),
		"elastic":           with(func(s *shape) { s.elastic, s.busy, s.lags = true, true, true }),
		"calendars":         with(func(s *shape) { s.calendars, s.elastic = true, true }),
		"cumulatives":       with(func(s *shape) { s.cumulatives = true }),
		"elastic demands":   with(func(s *shape) { s.cumulatives, s.elastic, s.tasks = true, true, 2 }),
		"forbidden":         with(func(s *shape) { s.forbidden, s.lags = true, true }),
		"releases":          with(func(s *shape) { s.releases, s.lags = true, true }),
		"grid":              with(func(s *shape) { s.anyStep, s.lags, s.busy, s.elastic = true, true, true, true }),
		"everything":        everything,
		"everything, alone": with(func(s *shape) { *s = everything; s.tasks, s.horizon = 1, 30 }),
	}
	for name, s := range shapes {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				p := drawProblem(t, s)
				want := bruteForce(p)
				got := solve(t, p, scheduler.Options{SkipWhy: true})
				if want == nil {
					require.Equal(t, scheduler.Infeasible, got.Status)
					return
				}
				require.Equal(t, scheduler.Optimal, got.Status)
				require.Equal(t, objective(*want), objective(got.Solution))
				require.Equal(t, want.MakespanMinute(), got.MakespanMinute)
				require.Equal(t, want.MakespanMinute(), got.BoundMinute)
			})
		})
	}
}

func TestSameInputSamePlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, everything)
		require.Equal(t, solve(t, p, scheduler.Options{}), solve(t, p, scheduler.Options{}))
	})
}

// TestShiftingTheOriginChangesNothing moves everything later by whole steps.
func TestShiftingTheOriginChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, everything)
		by := rapid.IntRange(1, 100).Draw(t, "steps") * max(p.StepMinutes, 1)
		before := solve(t, p, scheduler.Options{SkipWhy: true})
		after := solve(t, later(p, by), scheduler.Options{SkipWhy: true})
		require.Equal(t, before.Status, after.Status)
		for i, placement := range before.Solution.Tasks {
			moved := after.Solution.Tasks[i]
			require.Equal(t, placement.Mode, moved.Mode)
			require.Equal(t, placement.StartMinute+by, moved.StartMinute)
			require.Equal(t, moveAll(placement.Phases, by), moved.Phases)
		}
	})
}

func moveAll(intervals []scheduler.Interval, by int) []scheduler.Interval {
	moved := slices.Clone(intervals)
	for i := range moved {
		moved[i].Start += by
		moved[i].End += by
	}
	return moved
}

func later(p scheduler.Problem, by int) scheduler.Problem {
	p.HorizonMinutes += by
	p.Tasks = slices.Clone(p.Tasks)
	for i := range p.Tasks {
		p.Tasks[i].ReleaseMinute += by
		p.Tasks[i].Modes = slices.Clone(p.Tasks[i].Modes)
		for k := range p.Tasks[i].Modes {
			mode := &p.Tasks[i].Modes[k]
			mode.ForbiddenStarts = moveAll(mode.ForbiddenStarts, by)
		}
	}
	p.Unaries = slices.Clone(p.Unaries)
	for i := range p.Unaries {
		p.Unaries[i].Busy = moveAll(p.Unaries[i].Busy, by)
	}
	p.Calendars = slices.Clone(p.Calendars)
	for i := range p.Calendars {
		p.Calendars[i].Open = moveAll(p.Calendars[i].Open, by)
	}
	p.Cumulatives = slices.Clone(p.Cumulatives)
	for i := range p.Cumulatives {
		p.Cumulatives[i].Used = slices.Clone(p.Cumulatives[i].Used)
		for k := range p.Cumulatives[i].Used {
			p.Cumulatives[i].Used[k].Start += by
			p.Cumulatives[i].Used[k].End += by
		}
	}
	return p
}

func TestProblemIsNotChanged(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, everything)
		before := later(p, 0) // a deep copy of all that is sorted or cut
		solve(t, p, scheduler.Options{})
		require.Equal(t, before, later(p, 0))
	})
}

// fixedMode is a mode of one phase that takes an amount of the first cumulative.
func fixedMode(unary, minutes, amount int) scheduler.Mode {
	phase := scheduler.Phase{Minutes: minutes, Calendar: -1}
	if amount > 0 {
		phase.Demands = []scheduler.Demand{{Amount: amount}}
	}
	return scheduler.Mode{Unary: unary, Phases: []scheduler.Phase{phase}}
}

// TestClashEndsWithWhatIsUsed: two tasks exceed the capacity together only as long as something else runs.
func TestClashEndsWithWhatIsUsed(t *testing.T) {
	p := scheduler.Problem{
		HorizonMinutes: 100,
		Unaries:        make([]scheduler.Unary, 2),
		Cumulatives: []scheduler.Cumulative{{Capacity: 4, Used: []scheduler.Step{
			{Interval: scheduler.Interval{Start: 0, End: 6}, Amount: 1},
			{Interval: scheduler.Interval{Start: -4, End: 2}, Amount: 1},
		}}},
		Tasks: []scheduler.Task{
			{Modes: []scheduler.Mode{fixedMode(0, 10, 2)}},
			{Modes: []scheduler.Mode{fixedMode(1, 10, 2)}},
		},
	}
	require.Equal(t, []int{16, 0, 6}, objective(solve(t, p, scheduler.Options{}).Solution)[:3])
}

// TestLowestModesInTaskOrder: the search settles the second task first, which has fewer modes, but the first task comes
// first in the objective.
func TestLowestModesInTaskOrder(t *testing.T) {
	p := scheduler.Problem{
		HorizonMinutes: 100,
		Unaries:        make([]scheduler.Unary, 3),
		Tasks: []scheduler.Task{
			{Modes: []scheduler.Mode{fixedMode(0, 10, 0), fixedMode(1, 10, 0), fixedMode(2, 10, 0)}},
			{Modes: []scheduler.Mode{fixedMode(0, 10, 0), fixedMode(1, 10, 0)}},
		},
	}
	require.Equal(t, []int{10, 0, 0, 10, 10, 0, 1}, objective(solve(t, p, scheduler.Options{}).Solution))
}

// TestCrowdedCumulative is the case where branches that exclude each other must not exclude too much.
func TestCrowdedCumulative(t *testing.T) {
	crowded := shape{tasks: 4, modes: 1, horizon: 14, cumulatives: true, ownUnary: true, certain: true}
	for range 4 {
		rapid.Check(t, func(t *rapid.T) {
			p := drawProblem(t, crowded)
			want := bruteForce(p)
			got := solve(t, p, scheduler.Options{SkipWhy: true})
			if want == nil {
				require.Equal(t, scheduler.Infeasible, got.Status)
				return
			}
			require.Equal(t, objective(*want), objective(got.Solution))
		})
	}
}
