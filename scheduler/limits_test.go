package scheduler_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/scheduler"
	"saggar/scheduler/studio"
)

// lookLimit is a context that ends at the so-manieth look at it, whatever the time.
type lookLimit struct {
	context.Context
	left  int
	after int // looks since it ended
}

func (c *lookLimit) Err() error {
	if c.left > 0 {
		c.left--
		return nil
	}
	c.after++
	return context.Canceled
}

// jobs is so many tasks of different lengths, each on any of three furnaces, that also share a panel: far too many ways to
// try.
func jobs(count int) scheduler.Problem {
	p := scheduler.Problem{
		HorizonMinutes: 1 << 20,
		Unaries:        make([]scheduler.Unary, 3),
		Cumulatives:    []scheduler.Cumulative{{Capacity: 10}},
	}
	for i := range count {
		task := scheduler.Task{}
		for unary := range p.Unaries {
			task.Modes = append(task.Modes, scheduler.Mode{Unary: unary, Phases: []scheduler.Phase{
				{Minutes: 7 + (i*13+unary*5)%17, Calendar: -1, Demands: []scheduler.Demand{{Amount: 2 + i%4}}},
				{MaxMinutes: 10, Calendar: -1},
				{Minutes: 3, Calendar: -1, Demands: []scheduler.Demand{{Amount: 5}}},
			}})
		}
		p.Tasks = append(p.Tasks, task)
	}
	return p
}

func TestContextEndsTheSearch(t *testing.T) {
	for _, looks := range []int{1, 2, 3, 5, 20, 100} {
		ctx := &lookLimit{Context: context.Background(), left: looks}
		result, err := scheduler.Solve(ctx, jobs(40), scheduler.Options{})
		require.NoError(t, err)
		require.Contains(t, []scheduler.Status{scheduler.Feasible, scheduler.Unknown}, result.Status)
		require.LessOrEqual(t, ctx.after, 4, "no work goes on after the context ended")
		if result.Status == scheduler.Feasible {
			require.Len(t, result.Solution.Tasks, 40)
			require.LessOrEqual(t, result.BoundMinute, result.MakespanMinute)
		}
	}
}

// TestContextLeavesTheBestFound: once one solution is known, a context that ends gives it, however late it ends.
func TestContextLeavesTheBestFound(t *testing.T) {
	known := false
	for looks := 1; looks <= 256; looks *= 2 {
		ctx := &lookLimit{Context: context.Background(), left: looks}
		result, err := scheduler.Solve(ctx, jobs(25), scheduler.Options{})
		require.NoError(t, err)
		if known {
			require.Equal(t, scheduler.Feasible, result.Status, "after %d looks", looks)
		}
		if result.Status == scheduler.Feasible {
			known = true
			require.Len(t, result.Solution.Tasks, 25)
			require.Equal(t, result.Solution.MakespanMinute(), result.MakespanMinute)
		}
	}
	require.True(t, known)
}

// TestContextEndsBetweenObjectives: wherever the context ends, what is said of each objective begun holds.
func TestContextEndsBetweenObjectives(t *testing.T) {
	p := studio.Draw(2, studio.Size{Runs: 2, Stages: 2, Furnaces: 2, Weeks: 2, Firings: 2})
	p.Objectives = []scheduler.Objective{
		scheduler.LatenessObjective, scheduler.EnergyObjective, scheduler.VisitsObjective, scheduler.CompletionObjective,
	}
	p.Days = []scheduler.Interval{{Start: 0, End: 7 * day}, {Start: 7 * day, End: 14 * day}}
	for u := range p.Unaries {
		p.Unaries[u].HotMinutes, p.Unaries[u].HotSaving = 60, 2
	}
	for i := range p.Tasks {
		for k := range p.Tasks[i].Modes {
			p.Tasks[i].Modes[k].Energy, p.Tasks[i].Modes[k].Phases[0].Visit = 3+k, true
		}
	}
	begun := map[int]bool{}
	for looks := range 60 {
		result, err := scheduler.Solve(&lookLimit{Context: context.Background(), left: looks}, p, scheduler.Options{SkipWhy: true})
		require.NoError(t, err, "%d looks", looks)
		begun[len(result.Objectives)] = true
	}
	require.Greater(t, len(begun), 3, begun)
}

func TestConflictLimitIsDeterministic(t *testing.T) {
	for _, limit := range []int{1, 50, 2500} {
		first := solve(t, jobs(25), scheduler.Options{ConflictLimit: limit, SkipWhy: true})
		require.Equal(t, first, solve(t, jobs(25), scheduler.Options{ConflictLimit: limit, SkipWhy: true}))
		require.LessOrEqual(t, first.Conflicts, limit)
		require.NotEqual(t, scheduler.Optimal, first.Status)
	}
	last := solve(t, jobs(25), scheduler.Options{ConflictLimit: 2500, SkipWhy: true})
	require.Equal(t, scheduler.Feasible, last.Status)
}

// TestLimitedAnswersAreHonest: whatever the limit, what is claimed agrees with brute force.
func TestLimitedAnswersAreHonest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, everything)
		best := bruteForce(p)
		limit := rapid.IntRange(1, 12).Draw(t, "conflicts")
		result := solve(t, p, scheduler.Options{ConflictLimit: limit})
		switch result.Status {
		case scheduler.Optimal:
			require.Equal(t, objective(*best), objective(result.Solution))
		case scheduler.Infeasible:
			require.Nil(t, best)
		case scheduler.Feasible:
			require.GreaterOrEqual(t, result.MakespanMinute, best.MakespanMinute())
			require.LessOrEqual(t, result.BoundMinute, best.MakespanMinute())
		case scheduler.Unknown:
			require.Zero(t, result.Solution)
		}
	})
}

// TestBoundAboveTheTasksOwn: the second task ends earliest in its first mode, at 1010, the third if the second is in its
// other mode, at 1050; both at once is impossible. So the bound must rise above what the tasks' own earliest ends say.
func TestBoundAboveTheTasksOwn(t *testing.T) {
	fixed := func(unary, minutes int) scheduler.Mode {
		return scheduler.Mode{Unary: unary, Phases: []scheduler.Phase{{Minutes: minutes, Calendar: -1}}}
	}
	for i := range 34 {
		later := i / 2 // every way to halve the range of the bound
		horizon := 100_000
		if i%2 == 1 {
			horizon = 64 * (1988 + later) // the best is a minute beyond the first short horizon tried
		}
		p := scheduler.Problem{
			HorizonMinutes: horizon,
			Unaries:        []scheduler.Unary{{}, {Busy: []scheduler.Interval{{Start: 0, End: 1000 + later}}}, {}, {}},
			Tasks: []scheduler.Task{
				{Modes: []scheduler.Mode{fixed(0, 50)}},
				{Modes: []scheduler.Mode{fixed(1, 10), fixed(2, 1939+later)}},
				{Modes: []scheduler.Mode{fixed(3, 1000)}},
			},
			Lags: []scheduler.Lag{{From: 0, To: 1, MaxMinutes: 10}, {From: 0, To: 2, MaxMinutes: -1}},
		}
		result := solve(t, p, scheduler.Options{})
		require.Equal(t, scheduler.Optimal, result.Status)
		require.Equal(t, []int{1989 + later, 0, 50, 50}, objective(result.Solution)[:4], "one minute before the other way")
		require.Zero(t, result.Conflicts, "the bound is reached without trying anything below it")
	}
}

// TestEndlessLags: each lag of a cycle asks for another minute, so that without a look for cycles every start would creep
// to a horizon of two thousand million minutes.
func TestEndlessLags(t *testing.T) {
	p := jobs(3)
	p.HorizonMinutes, p.Cumulatives[0].Capacity = 1<<31, 100
	p.Lags = []scheduler.Lag{
		{From: 0, To: 1, MinMinutes: -20, MaxMinutes: -1},
		{From: 1, To: 2, MinMinutes: -20, MaxMinutes: -1},
		{From: 2, To: 0, MinMinutes: 15, MaxMinutes: -1},
	}
	result := solve(t, p, scheduler.Options{ConflictLimit: 1000})
	require.Equal(t, scheduler.Infeasible, result.Status)
	require.True(t, result.BlameMinimal)
	require.Len(t, result.Blame, 3)
}

// TestEndlessLagsBeforeTails: the lags leave no time for what comes before the tail of either mode, whichever is taken.
func TestEndlessLagsBeforeTails(t *testing.T) {
	p := scheduler.Problem{
		HorizonMinutes: 1 << 31,
		Unaries:        make([]scheduler.Unary, 3),
		Tasks: []scheduler.Task{
			{Modes: []scheduler.Mode{fixedMode(0, 100, 0), fixedMode(1, 110, 0)}},
			{Modes: []scheduler.Mode{fixedMode(2, 20, 0)}},
		},
		Lags: []scheduler.Lag{{From: 0, To: 1, MaxMinutes: -1}, {From: 1, To: 0, MinMinutes: -110, MaxMinutes: -1}},
	}
	withTail := &p.Tasks[0].Modes[1]
	withTail.Phases = append(withTail.Phases, scheduler.Phase{Name: "burn off", Minutes: 90, Calendar: -1})
	withTail.TailPhases = 1
	result := solve(t, p, scheduler.Options{})
	require.Equal(t, scheduler.Infeasible, result.Status)
	require.True(t, result.BlameMinimal)
	require.Len(t, result.Blame, 2)
}

func TestInvalidProblemIsRefused(t *testing.T) {
	_, err := scheduler.Solve(context.Background(), scheduler.Problem{}, scheduler.Options{})
	require.ErrorContains(t, err, "horizon_minutes")
}

// TestManyTasks: what is far too much to be proven best is still placed when the ways to place it do not clash.
func TestManyTasks(t *testing.T) {
	p := scheduler.Problem{HorizonMinutes: 1 << 20}
	for i := range 300 {
		p.Unaries = append(p.Unaries, scheduler.Unary{})
		p.Tasks = append(p.Tasks, scheduler.Task{Modes: []scheduler.Mode{
			{Unary: i, Phases: []scheduler.Phase{{Minutes: 10 + i, Calendar: -1}}},
		}})
	}
	result := solve(t, p, scheduler.Options{SkipWhy: true})
	require.Equal(t, scheduler.Optimal, result.Status)
	require.Equal(t, 309, result.MakespanMinute)
}
