package scheduler

import (
	"context"
	"fmt"

	"saggar/scheduler/check"
	"saggar/scheduler/plan"
)

// Solve finds the best solution of the problem: the least makespan; among those the least start of the first task, then
// of the second, and so on; then in the same way the least ends and the lowest mode indices. Without a limit reached, the
// same problem always gives the same result.
//
// A problem without a solution, or a search ended by the context or by the node limit, is no error: Result.Status says so,
// and a solution found until then is returned. The search looks at the context every fraction of a millisecond. The errors
// are a *plan.InvalidError for a malformed problem, and a bug error should a solution fail package check. Solve is safe
// for concurrent use.
func Solve(ctx context.Context, problem Problem, options Options) (Result, error) {
	if err := problem.Validate(); err != nil {
		return Result{}, err
	}
	m := newMeter(ctx, options.NodeLimit)
	r := run{problem: &problem, options: options, meter: m, res: newResources(&problem, m)}
	result := r.solve()
	if result.Status == Optimal || result.Status == Feasible {
		if violations := check.Verify(problem, result.Solution); len(violations) > 0 {
			return Result{}, fmt.Errorf("bug in scheduler: its solution breaks %d rule(s), first %s",
				len(violations), violations[0])
		}
	}
	if options.SkipWhy {
		return result, nil
	}
	switch result.Status {
	case Infeasible:
		result.Blame, result.BlameMinimal = r.blame()
	case Optimal, Feasible:
		result.Reasons = r.reasons(result.Solution)
	}
	return result, nil
}

// run is one call of Solve.
type run struct {
	problem *plan.Problem
	options Options
	meter   *meter
	res     *resources
}

func (r *run) solve() Result {
	m := buildModel(r.res, nil, nil, r.meter)
	s := newSearch(m, r.meter)
	root := s.root()
	makespan, proven := s.minimise(root, aim{what: aimMakespan}, far)
	result := Result{Nodes: r.meter.nodes}
	switch {
	case r.meter.stopped:
		result.Status = Unknown
	case !proven:
		result.Status = Infeasible
		return result
	}
	result.BoundMinute = s.floor
	if proven {
		result.BoundMinute = makespan
		s.cap(root, makespan)
		result.Status = Feasible
		if s.refine(root) {
			result.Status = Optimal
		}
	}
	if len(s.best.Tasks) > 0 {
		if result.Status == Unknown {
			result.Status = Feasible
		}
		result.Solution = s.best
		result.MakespanMinute = s.best.MakespanMinute()
	}
	result.Nodes = r.meter.nodes
	return result
}

// refine goes through the rest of the objective with the makespan held by root. It returns false when the meter stopped
// it; best then holds the best found so far.
func (s *search) refine(root *state) bool {
	for _, what := range []aimKind{aimStart, aimEnd} {
		for task := range s.problem.Tasks {
			if !s.settle(root, aim{what, task}) {
				return false
			}
		}
	}
	for task := range s.problem.Tasks {
		if !s.settleMode(root, task) {
			return false
		}
	}
	return true
}

// settle makes the aim's value least and holds root to it. The search is spared where the solution at hand already has
// the least value that propagation allows.
func (s *search) settle(root *state, goal aim) bool {
	s.aim = goal
	if !s.run(root) {
		return false
	}
	value := s.best.Tasks[goal.task].StartMinute
	if goal.what == aimEnd {
		value = s.best.Tasks[goal.task].EndMinute()
	}
	if s.least(root) < value {
		least, ok := s.minimise(root, goal, value)
		if !ok {
			return false
		}
		value = least
	}
	s.aim = goal
	s.cap(root, value)
	return true
}

// settleMode gives the task its first mode with which there still is a solution.
func (s *search) settleMode(root *state, task int) bool {
	if !s.run(root) {
		return false
	}
	for m := s.first[task]; m < s.first[task+1]; m++ {
		if s.modes[m].index == s.best.Tasks[task].Mode {
			s.keepOnly(root, m)
			return true
		}
		if !s.alive(root, m) {
			continue
		}
		trial := root.clone()
		s.keepOnly(trial, m)
		if s.decideAny(trial) {
			s.keepOnly(root, m)
			return true
		}
		if s.meter.stopped {
			return false
		}
	}
	return false
}
