package scheduler_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/scheduler"
	"saggar/scheduler/check"
	"saggar/scheduler/studio"
)

// valuesHold holds every value of a progress that has one for its objective against what the plan amounts to.
func valuesHold(t require.TestingT, p scheduler.Problem) func(scheduler.Progress) {
	return func(now scheduler.Progress) {
		if len(now.Solution.Tasks) == 0 {
			return
		}
		for _, o := range now.Objectives {
			if o.Value != 0 {
				require.Equal(t, check.Value(p, now.Solution, o.Objective), o.Value, "%s", o.Objective)
			}
		}
	}
}

// TestProgressIsTrue: each plan told of on the way is worth what is said of it.
func TestProgressIsTrue(t *testing.T) {
	objectives := []scheduler.Objective{
		scheduler.CompletionObjective, scheduler.ChangeObjective, scheduler.EnergyObjective, scheduler.VisitsObjective,
	}
	s := shape{tasks: 6, modes: 2, horizon: 40, busy: true, setups: true, noUnary: true, elastic: true, lags: true, cumulatives: true}
	rapid.Check(t, func(t *rapid.T) {
		s.objectives = rapid.Permutation(objectives).Draw(t, "objectives")
		p := drawProblem(t, s)
		solve(t, p, scheduler.Options{SkipWhy: true, ConflictLimit: 300, OnImprove: valuesHold(t, p)})
	})
	p := studio.Draw(4, studio.Size{Runs: 8, Stages: 3, Furnaces: 4, Weeks: 4, Firings: 8})
	solve(t, p, scheduler.Options{SkipWhy: true, ConflictLimit: 2500, OnImprove: valuesHold(t, p)})
}
