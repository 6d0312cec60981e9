package scheduler_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/scheduler"
	"saggar/scheduler/studio"
)

// TestThreadsAgree: however many threads, what is proven is the same, and progress comes one at a time and only improves.
func TestThreadsAgree(t *testing.T) {
	s := everything
	s.objectives = []scheduler.Objective{scheduler.LatenessObjective, scheduler.MakespanObjective}
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, s)
		alone := solve(t, p, scheduler.Options{SkipWhy: true})
		busy := false
		var last []scheduler.ObjectiveValue
		together := solve(t, p, scheduler.Options{SkipWhy: true, Threads: 3, Seed: 5, OnImprove: func(now scheduler.Progress) {
			assert.False(t, busy)
			busy = true
			if len(now.Objectives) == len(last) && len(now.Solution.Tasks) > 0 {
				i := len(last) - 1
				assert.GreaterOrEqual(t, now.Objectives[i].Bound, last[i].Bound)
			}
			last, busy = now.Objectives, false
		}})
		require.Equal(t, alone.Status, together.Status)
		require.Equal(t, alone.Objectives, together.Objectives)
	})
}

// TestSameSeedSamePlan on a studio too large to be proven best.
func TestSameSeedSamePlan(t *testing.T) {
	p := studio.Draw(3, studio.Size{Runs: 12, Stages: 3, Furnaces: 4, Weeks: 4, Firings: 12})
	options := scheduler.Options{SkipWhy: true, ConflictLimit: 400, Seed: 9}
	first := solve(t, p, options)
	require.NotEmpty(t, first.Solution.Tasks)
	require.Equal(t, first, solve(t, p, options))
}
