package check

import (
	"slices"

	"saggar/scheduler/plan"
)

func (v *verifier) omitted(placement plan.Placement) {
	task := v.problem.Tasks[placement.Task]
	if !task.Optional || len(placement.Phases) > 0 || placement.StartMinute != 0 {
		v.add(RuleOmitted, placement.Task, -1, placement.Mode, len(task.Modes))
	}
}

// together says whether two tasks on one unary are members of one batch: the same number and the same times.
func (v *verifier) together(a, b plan.Placement) bool {
	first, second := v.mode(a), v.mode(b)
	return first.Batch > 0 && first.Batch == second.Batch && first.Unary == second.Unary && slices.Equal(a.Phases, b.Phases)
}

// leads says whether the task is the first of its batch, or in none: what a batch asks for counts with its first.
func (v *verifier) leads(placement plan.Placement) bool {
	for _, other := range v.solution.Tasks[:placement.Task] {
		if !other.Omitted() && v.together(other, placement) {
			return false
		}
	}
	return true
}

// setup holds the gap between two tasks that do not overlap against the setup from the earlier to the later.
func (v *verifier) setup(a, b plan.Placement) {
	if b.StartMinute < a.StartMinute {
		a, b = b, a
	}
	unary := v.mode(a).Unary
	between := plan.Interval{Start: a.EndMinute(), End: b.StartMinute}
	need := v.setupMinutes(unary, v.mode(a).Family, v.mode(b).Family)
	if between.Minutes() < need {
		v.add(RuleSetup, b.Task, unary, between.Minutes(), need)
	}
}

func (v *verifier) setupMinutes(unary, from, to int) int {
	minutes := v.problem.Unaries[unary].SetupMinutes
	if len(minutes) == 0 {
		return 0
	}
	return minutes[from][to]
}

// held keeps a task and its setups clear of what is held on its unary.
func (v *verifier) held(placement plan.Placement) {
	mode := v.mode(placement)
	for _, held := range v.problem.Unaries[mode.Unary].Held {
		before, after := placement.EndMinute() <= held.Start, placement.StartMinute >= held.End
		switch {
		case before:
			need := v.setupMinutes(mode.Unary, mode.Family, held.Family)
			if got := held.Start - placement.EndMinute(); got < need {
				v.add(RuleSetup, placement.Task, mode.Unary, got, need)
			}
		case after:
			need := v.setupMinutes(mode.Unary, held.Family, mode.Family)
			if got := placement.StartMinute - held.End; got < need {
				v.add(RuleSetup, placement.Task, mode.Unary, got, need)
			}
		default:
			v.add(RuleBusy, placement.Task, mode.Unary, placement.StartMinute, held.End)
		}
	}
}

// batches adds up the load of each batch.
func (v *verifier) batches() {
	for i, first := range v.solution.Tasks {
		if first.Omitted() || v.mode(first).Batch == 0 || !v.leads(first) {
			continue
		}
		load := v.mode(first).Load
		for _, other := range v.solution.Tasks[i+1:] {
			if !other.Omitted() && v.together(first, other) {
				load += v.mode(other).Load
			}
		}
		unary := v.mode(first).Unary
		if capacity := v.problem.Unaries[unary].BatchCapacity; load > capacity {
			v.add(RuleBatch, i, unary, load, capacity)
		}
	}
}

func (v *verifier) budgets() {
	for i, budget := range v.problem.Budgets {
		sum := 0
		for _, placement := range v.solution.Tasks {
			if placement.Omitted() {
				continue
			}
			for _, use := range v.mode(placement).Uses {
				if use.Budget == i {
					sum += use.Amount
				}
			}
		}
		if sum > budget.Amount {
			v.add(RuleBudget, -1, i, sum, budget.Amount)
		}
	}
}

// crew counts, at the start of every post that the plan adds, the places in which one of the crew must be, and again where
// a post that stands begins while one of the plan's lasts.
func (v *verifier) crew(index int) {
	var own, all []plan.Post
	for _, placement := range v.solution.Tasks {
		if placement.Omitted() || !v.leads(placement) {
			continue
		}
		for i, phase := range v.mode(placement).Phases {
			taken := placement.Phases[i]
			for _, watch := range phase.Watches {
				if watch.Crew == index && taken.Start < taken.End {
					own = append(own, plan.Post{Interval: taken, Place: watch.Place})
				}
			}
		}
	}
	all = append(all, own...)
	all = append(all, v.problem.Crews[index].Posted...)
	for _, at := range all {
		if !covered(own, at.Start) {
			continue
		}
		places := map[int]bool{}
		for _, post := range all {
			if post.Start <= at.Start && at.Start < post.End {
				places[post.Place] = true
			}
		}
		if people := v.problem.Crews[index].People; len(places) > people {
			v.add(RuleCrew, -1, index, len(places), people)
		}
	}
}

func covered(posts []plan.Post, minute int) bool {
	return slices.ContainsFunc(posts, func(p plan.Post) bool { return p.Start <= minute && minute < p.End })
}
