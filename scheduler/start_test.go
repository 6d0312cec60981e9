package scheduler_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/scheduler"
	"saggar/scheduler/studio"
)

// TestStartChangesNothingProven: whatever the search begins with, be it a solution of another problem or none at all.
func TestStartChangesNothingProven(t *testing.T) {
	s := everything
	s.separations, s.optional = true, true
	rapid.Check(t, func(t *rapid.T) {
		s.objectives = nil
		if rapid.Bool().Draw(t, "with objectives") {
			s.objectives = []scheduler.Objective{scheduler.OmissionObjective, scheduler.CompletionObjective}
		}
		p, other := drawProblem(t, s), drawProblem(t, s)
		start := solve(t, other, scheduler.Options{SkipWhy: true}).Solution
		cold := solve(t, p, scheduler.Options{SkipWhy: true})
		warm := solve(t, p, scheduler.Options{SkipWhy: true, Start: &start})
		require.Equal(t, cold.Status, warm.Status)
		require.Equal(t, cold.Objectives, warm.Objectives)
		if len(p.Objectives) == 0 && !p.Tasks[0].Optional {
			require.Equal(t, cold.MakespanMinute, warm.MakespanMinute)
		}
	})
}

// TestStartIsTakenUp: the first plan told of is the one to start with where it holds; where a separation that came in since
// refuses it, a plan that holds follows from it without a search from nothing.
func TestStartIsTakenUp(t *testing.T) {
	p := studio.Draw(5, studio.Size{Runs: 10, Stages: 3, Furnaces: 4, Weeks: 4, Firings: 8})
	start := solve(t, p, scheduler.Options{SkipWhy: true, ConflictLimit: 1500}).Solution
	first := func() *scheduler.Solution {
		var first *scheduler.Solution
		solve(t, p, scheduler.Options{SkipWhy: true, ConflictLimit: 60, Start: &start, OnImprove: func(now scheduler.Progress) {
			if first == nil && len(now.Solution.Tasks) > 0 {
				first = &now.Solution
			}
		}})
		return first
	}
	require.Equal(t, &start, first())

	apart := start.Tasks[2].StartMinute - start.Tasks[1].StartMinute
	p.Separations = []scheduler.Separation{
		{First: 1, FirstMode: -1, Second: 2, SecondMode: start.Tasks[2].Mode, FromMinutes: apart - 30, ToMinutes: apart + 30},
	}
	found, kept := first(), 0
	require.NotNil(t, found)
	for i, placed := range found.Tasks {
		if placed.Mode == start.Tasks[i].Mode && placed.StartMinute == start.Tasks[i].StartMinute {
			kept++
		}
	}
	require.GreaterOrEqual(t, kept, len(start.Tasks)/2)
	require.Less(t, kept, len(start.Tasks))
}
