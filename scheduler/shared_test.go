package scheduler_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/scheduler"
)

// TestSharingAgreesWithBruteForce compares status and objectives for what tasks share and for every objective.
func TestSharingAgreesWithBruteForce(t *testing.T) {
	base := shape{tasks: 3, modes: 1, horizon: 16}
	with := func(change func(s *shape)) shape {
		s := base
		change(&s)
		return s
	}
	every := []scheduler.Objective{
		scheduler.OmissionObjective, scheduler.LatenessObjective, scheduler.VisitsObjective, scheduler.EnergyObjective,
		scheduler.ChangeObjective, scheduler.CompletionObjective, scheduler.MakespanObjective,
	}
	shapes := map[string]shape{
		"setups":        with(func(s *shape) { s.setups, s.busy, s.modes = true, true, 2 }),
		"batches":       with(func(s *shape) { s.batches, s.tasks = true, 4 }),
		"batches, more": with(func(s *shape) { s.batches, s.modes, s.cumulatives, s.crews = true, 2, true, true }),
		"budgets":       with(func(s *shape) { s.budgets, s.modes = true, 3 }),
		"crews":         with(func(s *shape) { s.crews, s.elastic, s.noUnary = true, true, true }),
		"optional":      with(func(s *shape) { s.objectives, s.optional, s.lags, s.busy, s.modes = every, true, true, true, 2 }),
		"deadlines":     with(func(s *shape) { s.deadlines, s.anyLags, s.elastic = true, true, true }),
		"from start": with(func(s *shape) {
			s.fromStart, s.lags, s.anyLags, s.noUnary, s.cumulatives = true, true, true, true, true
		}),
		"separations":          with(func(s *shape) { s.separations, s.noUnary, s.horizon = true, true, 22 }),
		"separations of modes": with(func(s *shape) { s.separations, s.modes, s.busy, s.noUnary = true, 2, true, true }),
		"separations and lags": with(func(s *shape) { s.separations, s.anyLags, s.lags, s.elastic, s.anyStep = true, true, true, true, true }),
		"separations, optional": with(func(s *shape) {
			s.separations, s.optional, s.modes, s.objectives, s.batches = true, true, 2, every, true
		}),
		"together": with(func(s *shape) {
			*s = everything
			s.objectives = every
			s.setups, s.batches, s.budgets, s.crews, s.optional, s.deadlines, s.fromStart, s.noUnary = true, true, true, true, true, true, true, true
			s.separations = true
		}),
	}
	for i, objective := range every {
		rest := append([]scheduler.Objective{objective}, every[:i]...)
		shapes[string(objective)] = with(func(s *shape) {
			s.objectives, s.optional, s.modes, s.busy, s.setups, s.batches = rest, true, 2, true, true, true
		})
		shapes[string(objective)+", elastic"] = with(func(s *shape) {
			s.objectives, s.lags, s.elastic, s.calendars, s.tasks = rest, true, true, true, 2
		})
	}
	for name, s := range shapes {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				p := drawProblem(t, s)
				require.NoError(t, p.Validate())
				b := &brute{problem: p}
				want := b.solve()
				got := solve(t, p, scheduler.Options{SkipWhy: true})
				if want == nil {
					require.Equal(t, scheduler.Infeasible, got.Status)
					return
				}
				require.Equal(t, scheduler.Optimal, got.Status)
				require.Equal(t, b.objective(*want), b.objective(got.Solution))
				for i, value := range got.Objectives {
					require.Equal(t, value.Value, value.Bound, "%d", i)
				}
			})
		})
	}
}

// TestReasonsOfWhatIsShared: in a best plan something holds each start, whatever is shared; a task left out has no reason.
func TestReasonsOfWhatIsShared(t *testing.T) {
	s := shape{tasks: 3, modes: 2, horizon: 16, lags: true, busy: true}
	s.setups, s.crews, s.optional, s.deadlines, s.fromStart, s.noUnary, s.batches = true, true, true, true, true, true, true
	s.separations = true
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, s)
		result := solve(t, p, scheduler.Options{})
		if len(result.Solution.Tasks) == 0 {
			return
		}
		held := map[int][]scheduler.Reason{}
		for _, r := range result.Reasons {
			require.False(t, result.Solution.Tasks[r.Task].Omitted())
			require.LessOrEqual(t, r.UntilMinute, result.MakespanMinute)
			held[r.Task] = append(held[r.Task], r)
		}
		for task, placed := range result.Solution.Tasks {
			if !placed.Omitted() && result.Status == scheduler.Optimal && !p.Tasks[task].Optional {
				require.NotEmpty(t, held[task], "something holds each start of a best plan")
			}
		}
	})
}

// TestSetupInReasons: a task waits for the one before it and for the clearing between them.
func TestSetupInReasons(t *testing.T) {
	fire := func(family int) scheduler.Task {
		return scheduler.Task{Modes: []scheduler.Mode{{Family: family, Phases: []scheduler.Phase{{Minutes: 10, Calendar: -1}}}}}
	}
	p := scheduler.Problem{
		HorizonMinutes: 100, Unaries: []scheduler.Unary{{Name: "kiln", SetupMinutes: [][]int{{0, 30}, {5, 0}}}},
		Tasks: []scheduler.Task{fire(0), fire(1)},
		Lags:  []scheduler.Lag{{From: 0, To: 1, MinMinutes: -50, MaxMinutes: -1}, {From: 0, To: 1, MaxMinutes: -1}},
	}
	result := solve(t, p, scheduler.Options{})
	require.Equal(t, 40, result.Solution.Tasks[1].StartMinute)
	require.Contains(t, result.Reasons, scheduler.Reason{
		Task: 1, Kind: scheduler.KindShared, Name: "kiln", OtherTask: -1, Phase: -1, UntilMinute: 40,
	})
}
