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
	if v.mode(placement).Batch == 0 {
		return true
	}
	for _, other := range v.solution.Tasks[:placement.Task] {
		if !other.Omitted() && v.together(other, placement) {
			return false
		}
	}
	return true
}

// setup holds the gap between two tasks that do not overlap against the setup from the earlier to the later.
func (v *verifier) setup(first, later plan.Placement) {
	unary := v.mode(first).Unary
	between := later.StartMinute - first.EndMinute()
	if need := v.setupMinutes(unary, v.mode(first).Family, v.mode(later).Family); between < need {
		v.add(RuleSetup, later.Task, unary, between, need)
	}
}

func (v *verifier) longestSetup(unary int) int {
	longest := 0
	for _, row := range v.problem.Unaries[unary].SetupMinutes {
		longest = max(longest, slices.Max(row))
	}
	return longest
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

// crew counts, at every minute at which that changes, the places in which one of the crew must be, where the plan needs any
// of them.
func (v *verifier) crew(index int) {
	changes := v.watches(index)
	if len(changes) == 0 {
		return
	}
	for _, posted := range v.problem.Crews[index].Posted {
		changes = append(changes, posting{posted.Start, posted.Place, 1, 0}, posting{posted.End, posted.Place, -1, 0})
	}
	slices.SortFunc(changes, func(a, b posting) int { return a.minute - b.minute })
	people, own := map[int]int{}, 0
	for i, at := range changes {
		own += at.own
		if people[at.place] += at.more; people[at.place] == 0 {
			delete(people, at.place)
		}
		complete := i+1 == len(changes) || changes[i+1].minute != at.minute
		if limit := v.problem.Crews[index].People; complete && own > 0 && len(people) > limit {
			v.add(RuleCrew, -1, index, len(people), limit)
		}
	}
}

// posting is how many more must be in a place from a minute on, and how many more posts of the plan's own there are.
type posting struct{ minute, place, more, own int }

// watches are the posts of the plan's own, those of a batch with its first member.
func (v *verifier) watches(crew int) []posting {
	var changes []posting
	for _, placement := range v.solution.Tasks {
		if placement.Omitted() || !v.leads(placement) {
			continue
		}
		for i, phase := range v.mode(placement).Phases {
			for _, watch := range phase.Watches {
				if taken := placement.Phases[i]; watch.Crew == crew && taken.Start < taken.End {
					changes = append(changes, posting{taken.Start, watch.Place, 1, 1}, posting{taken.End, watch.Place, -1, -1})
				}
			}
		}
	}
	return changes
}
