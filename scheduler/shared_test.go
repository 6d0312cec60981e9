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
		"together": with(func(s *shape) {
			*s = everything
			s.objectives = every
			s.setups, s.batches, s.budgets, s.crews, s.optional, s.deadlines, s.fromStart, s.noUnary = true, true, true, true, true, true, true, true
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
