package scheduler

import (
	"context"

	"saggar/scheduler/plan"
)

// Explain says of a solution of the problem, which must be one that Solve found or that breaks none of its rules, what keeps
// each task from starting earlier, all else being as it is: Result.Reasons without a search. It ends early with the context.
func Explain(ctx context.Context, problem Problem, solution Solution) []Reason {
	m := newMeter(ctx)
	r := run{problem: &problem, meter: m, res: newResources(&problem, m)}
	return r.reasons(plan.Solution(solution))
}
