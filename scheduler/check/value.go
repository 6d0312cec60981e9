package check

import (
	"slices"

	"saggar/scheduler/plan"
)

// Value is what an objective amounts to in a solution that respects the problem.
func Value(problem plan.Problem, solution plan.Solution, objective plan.Objective) int {
	v := verifier{problem: problem, solution: solution}
	sum := 0
	for _, placement := range solution.Tasks {
		task, end := problem.Tasks[placement.Task], placement.EndMinute()
		switch {
		case objective == plan.Change:
			sum += moved(task.Present, placement)
		case placement.Omitted():
			if objective == plan.Omission {
				sum += task.OmissionWeight
			}
		case objective == plan.Completion:
			sum += task.CompletionWeight * end
		case objective == plan.Lateness:
			sum += task.LatenessWeight * max(end-task.DueMinute, 0)
		case objective == plan.Energy:
			sum += v.energy(placement)
		}
	}
	switch objective {
	case plan.Makespan:
		return solution.MakespanMinute()
	case plan.Visits:
		return v.visits()
	}
	return sum
}

func moved(present *plan.Present, placement plan.Placement) int {
	if present == nil {
		return 0
	}
	sum := 0
	if placement.Mode != present.Mode {
		sum += present.ModeWeight
	}
	if !placement.Omitted() {
		sum += present.MinuteWeight * max(placement.StartMinute-present.StartMinute, present.StartMinute-placement.StartMinute)
	}
	return sum
}

// energy is that of a firing: a batch's counts with its first member, a hot start's saving once.
func (v *verifier) energy(placement plan.Placement) int {
	if !v.leads(placement) {
		return 0
	}
	mode := v.mode(placement)
	if mode.Unary < 0 {
		return mode.Energy
	}
	unary := v.problem.Unaries[mode.Unary]
	hot := func(end int) bool {
		return end <= placement.StartMinute && placement.StartMinute-end <= unary.HotMinutes
	}
	for _, held := range unary.Held {
		if hot(held.End) {
			return mode.Energy - unary.HotSaving
		}
	}
	for _, other := range v.solution.Tasks {
		if other.Task != placement.Task && !other.Omitted() && v.mode(other).Unary == mode.Unary && hot(other.EndMinute()) {
			return mode.Energy - unary.HotSaving
		}
	}
	return mode.Energy
}

// visits counts the days that any visit touches.
func (v *verifier) visits() int {
	days := 0
	for _, day := range v.problem.Days {
		if slices.ContainsFunc(v.solution.Tasks, func(p plan.Placement) bool { return v.visitedOn(p, day) }) {
			days++
		}
	}
	return days
}

func (v *verifier) visitedOn(placement plan.Placement, day plan.Interval) bool {
	if placement.Omitted() {
		return false
	}
	for i, phase := range v.mode(placement).Phases {
		taken := placement.Phases[i]
		if phase.Visit && taken.Start < taken.End && taken.Start < day.End && day.Start < taken.End {
			return true
		}
	}
	return false
}
