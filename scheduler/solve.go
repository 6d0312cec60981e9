package scheduler

import (
	"context"
	"fmt"

	"saggar/scheduler/check"
	"saggar/scheduler/plan"
)

// Solve finds the best solution of the problem by its objectives, one after the other. Without any these are the least
// makespan; among those the least start of the first task, then of the second, and so on; then in the same way the least
// ends and the lowest mode indices. With one thread and no limit but that of conflicts, the same problem and seed always
// give the same result.
//
// A problem without a solution, or a search ended by the context or by the conflict limit, is no error: Result.Status says
// so, and a solution found until then is returned. The search looks at the context every fraction of a millisecond. The
// errors are a *plan.InvalidError for a malformed problem, and a bug error should a solution fail package check. Solve is
// safe for concurrent use.
func Solve(ctx context.Context, problem Problem, options Options) (Result, error) {
	if err := problem.Validate(); err != nil {
		return Result{}, err
	}
	m := newMeter(ctx)
	r := run{problem: &problem, options: options, meter: m, res: newResources(&problem, m)}
	result := r.solve()
	if err := r.verify(result); err != nil {
		return Result{}, err
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

// verify holds a solution against package check, and its values against what the check makes of them.
func (r *run) verify(result Result) error {
	if result.Status != Optimal && result.Status != Feasible {
		return nil
	}
	if violations := check.Verify(*r.problem, result.Solution); len(violations) > 0 {
		return fmt.Errorf("bug in scheduler: its solution breaks %d rule(s), first %s", len(violations), violations[0])
	}
	for _, o := range result.Objectives {
		if value := check.Value(*r.problem, result.Solution, o.Objective); value != o.Value || value < o.Bound {
			return fmt.Errorf("bug in scheduler: %s is %d, not %d of at least %d", o.Objective, value, o.Value, o.Bound)
		}
	}
	return nil
}

// run is one call of Solve.
type run struct {
	problem   *plan.Problem
	options   Options
	meter     *meter
	res       *resources
	conflicts int // used up
}

// objectives are the problem's, or the makespan alone.
func (r *run) objectives() []plan.Objective {
	if len(r.problem.Objectives) == 0 {
		return []plan.Objective{plan.Makespan}
	}
	return r.problem.Objectives
}

// solve tries short horizons first where the makespan comes first: most plans end long before the horizon, and then the
// rest need not be looked at.
func (r *run) solve() Result {
	c := newClosure(buildModel(r.res, nil, nil, r.meter), r.meter)
	root, low := c.root(), 0
	shares := []int{64, 16, 4, 1}
	if r.objectives()[0] != plan.Makespan {
		shares = []int{1}
	}
	for _, share := range shares {
		state := root.clone()
		if share > 1 {
			c.cap(state, c.horizon/share)
		}
		empty := !c.run(state)
		if !empty && !r.meter.stopped {
			result := r.within(c, state, window{low: low, whole: share == 1})
			if result.Status != Infeasible && (result.Status != Unknown || share == 1) {
				return result
			}
			empty = result.Status == Infeasible
		}
		if r.meter.stopped {
			return Result{Status: Unknown, Conflicts: r.conflicts}
		}
		if empty {
			low = c.horizon/share + 1
		}
	}
	return Result{Status: Infeasible, Conflicts: r.conflicts}
}

// windowConflicts is how much may be tried to find a solution in a window before a longer one is looked at.
const windowConflicts = 200

// window is from 0 to a horizon, whole if it is the problem's own; nothing ends before low.
type window struct {
	low   int
	whole bool
}

// within solves below a state at its fixed point.
func (r *run) within(c *closure, state *state, w window) Result {
	low := w.low
	if r.objectives()[0] == plan.Makespan {
		bound, ok := c.lowerBound(state)
		if !ok && !r.meter.stopped {
			return Result{Status: Infeasible}
		}
		low = max(low, bound)
	}
	t := team{run: r}
	for member := range max(r.options.Threads, 1) {
		x := encode(c.model, state, r.meter)
		if r.meter.stopped {
			return Result{Status: Unknown, Conflicts: r.conflicts}
		}
		o := newOptimiser(r, x, member)
		if !w.whole {
			o.patience = windowConflicts
		}
		t.members = append(t.members, o)
	}
	result := t.all(low)
	for _, o := range t.members {
		r.conflicts += o.met()
	}
	r.meter.look()
	result.Conflicts = r.conflicts
	return result
}
