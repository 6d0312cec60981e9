package scheduler

import (
	"slices"
	"sync"
	"sync/atomic"

	"saggar/scheduler/plan"
)

// team is as many searches as there are threads, each on an encoding of its own with a seed of its own. They share the best
// solution and bound of the objective at hand through a board, and what is proven of it.
type team struct {
	*run
	members []*optimiser
	values  []ObjectiveValue // of the objectives begun
}

// board is what the members share of one objective. An encoding is built the same way each time, so that one member's
// variables are another's.
type board struct {
	mutex  sync.Mutex
	known  bool
	at     ObjectiveValue
	best   plan.Solution
	values []int
	over   atomic.Bool // proven, or no solution: the others need not go on
	answer answer
	tell   func(Progress)
	before []ObjectiveValue
}

// offer hands in a solution, if it is better than what is known.
func (b *board) offer(o *optimiser, value int) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	if b.known && b.at.Value <= value {
		return
	}
	b.known, b.at.Value, b.best, b.values = true, value, o.best, o.bestValues
	b.report(o)
}

// raise hands in a bound.
func (b *board) raise(o *optimiser, bound int) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	if bound > b.at.Bound {
		b.at.Bound = bound
		b.report(o)
	}
}

func (b *board) report(o *optimiser) {
	if b.tell != nil {
		b.tell(Progress{Solution: b.best, Objectives: append(slices.Clone(b.before), b.at), Conflicts: o.spent()})
	}
}

// conclude hands in an answer; the first one counts.
func (b *board) conclude(a answer) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	if a == unanswered || b.over.Load() {
		return
	}
	b.answer = a
	if a == yes {
		b.at.Bound = b.at.Value
	}
	b.over.Store(true)
}

// take brings a member up to what the others know.
func (b *board) take(d *descent) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	d.at.Bound = max(d.at.Bound, b.at.Bound)
	if b.known && (!d.known || b.at.Value < d.at.Value) {
		d.known, d.found = true, true
		d.at.Value, d.best, d.bestValues = b.at.Value, b.best, b.values
		d.x.solver.SetPhases(b.values)
	}
}

// all goes through the objectives, then through the ties where the problem names no objective.
func (t *team) all(low int) Result {
	objectives := t.objectives()
	proven := true
	for i, what := range objectives {
		last := i+1 == len(objectives) && len(t.problem.Objectives) > 0
		answer := t.minimise(what, low, last)
		if answer == no {
			return Result{Status: Infeasible}
		}
		if proven = answer == yes; !proven {
			break
		}
		low = 0
	}
	if proven && len(t.problem.Objectives) == 0 {
		proven = t.members[0].ties()
	}
	return t.result(proven)
}

// minimise has all members make one objective least.
func (t *team) minimise(what plan.Objective, low int, last bool) answer {
	b := &board{at: ObjectiveValue{Objective: what, Bound: -far}, tell: t.options.OnImprove, before: t.values, answer: unanswered}
	if what == plan.Makespan {
		b.at.Bound = low
	}
	var group sync.WaitGroup
	for _, o := range t.members[1:] {
		group.Add(1)
		go func() {
			defer group.Done()
			b.conclude(o.minimise(what, b, last))
		}()
	}
	first := t.members[0]
	b.conclude(first.minimise(what, b, last))
	group.Wait()
	if b.known || len(t.values) == 0 {
		t.values = append(t.values, b.at)
	}
	if b.answer != no && b.known {
		for _, o := range t.members {
			o.best, o.bestValues, o.found = b.best, b.values, true
			o.x.solver.SetPhases(b.values)
			if b.answer == yes {
				o.x.solver.Assert(o.goal.AtMost(b.at.Value))
			}
		}
	}
	return b.answer
}

func (t *team) result(proven bool) Result {
	result := Result{Status: Unknown, Objectives: t.values}
	if len(t.values) > 0 && t.values[0].Objective == plan.Makespan {
		result.BoundMinute = t.values[0].Bound
	}
	best := t.members[0]
	if !best.found {
		result.Objectives = nil
		return result
	}
	result.Status = Feasible
	if proven {
		result.Status = Optimal
	}
	result.Solution = best.best
	result.MakespanMinute = best.best.MakespanMinute()
	return result
}
