package scheduler

import (
	"math/rand/v2"
	"slices"

	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// optimiser makes the objectives of one encoding least, one after the other.
type optimiser struct {
	*run
	x      *encoding
	branch *brancher
	random *rand.Rand
	best   plan.Solution
	found  bool
	values []ObjectiveValue // of the objectives begun
	round  int
}

func newOptimiser(r *run, x *encoding) *optimiser {
	return &optimiser{run: r, x: x, branch: &brancher{x: x}, random: rand.New(rand.NewPCG(r.options.Seed, 1))}
}

func (o *optimiser) met() int { return o.x.solver.Stats().Conflicts }

// exhausted says whether the time or the conflicts are used up.
func (o *optimiser) exhausted() bool {
	limit := o.options.ConflictLimit
	return o.meter.look() || limit > 0 && o.spent() >= limit
}

// all goes through the objectives, then through the ties where the problem names no objective.
func (o *optimiser) all(low int) Result {
	objectives := o.objectives()
	proven := true
	for i, what := range objectives {
		goal := o.x.objective(what)
		floor := o.x.solver.MinOf(goal)
		if i == 0 && what == plan.Makespan {
			floor = max(floor, low)
		}
		o.values = append(o.values, ObjectiveValue{Objective: what, Bound: floor})
		last := i+1 == len(objectives) && len(o.problem.Objectives) > 0
		switch o.minimise(goal, last) {
		case yes:
			o.x.solver.Assert(goal.AtMost(o.values[i].Value))
		case no:
			return Result{Status: Infeasible}
		case unanswered:
			proven = false
		}
		if !proven {
			break
		}
	}
	if proven && len(o.problem.Objectives) == 0 {
		proven = o.ties()
	}
	return o.result(proven)
}

func (o *optimiser) result(proven bool) Result {
	result := Result{Status: Unknown, Objectives: o.values}
	if o.values[0].Objective == plan.Makespan {
		result.BoundMinute = o.values[0].Bound
	}
	if !o.found {
		result.Objectives = nil
		return result
	}
	result.Status = Feasible
	if proven {
		result.Status = Optimal
	}
	result.Solution = o.best
	result.MakespanMinute = o.best.MakespanMinute()
	return result
}

// minimise finds the least value of the goal: yes when it is proven, no when there is no solution at all. The value and the
// bound are kept in the last of values.
func (o *optimiser) minimise(goal engine.Term, last bool) answer {
	at := &o.values[len(o.values)-1]
	s := o.x.solver
	if o.found {
		s.SetPhases(s.Values())
	}
	if !s.Assert(goal.AtLeast(at.Bound)) {
		return no
	}
	known := false
	for {
		if known && at.Value <= at.Bound {
			return yes
		}
		if o.exhausted() {
			return unanswered
		}
		how := o.strategy()
		if known && last {
			if !s.Assert(goal.AtMost(at.Value - 1)) {
				at.Bound = at.Value
				return yes
			}
		} else if known {
			how.Assume = append(how.Assume, goal.AtMost(at.Value-1))
		}
		limits := engine.Limits{Stop: o.meter.look, Conflicts: o.slice()}
		switch s.Search(o.branch, how, limits) {
		case engine.Solved:
			o.record(goal)
			known = true
		case engine.Exhausted:
			if !known {
				return no
			}
			at.Bound = at.Value
			return yes
		case engine.Stopped:
			o.round++
			if low := s.MinOf(goal); low > at.Bound {
				at.Bound = low
				o.tell()
			}
		}
	}
}

// slice is how many conflicts one strategy may have.
func (o *optimiser) slice() int {
	slice := 1000
	if limit := o.options.ConflictLimit; limit > 0 {
		slice = min(slice, limit-o.spent())
	}
	return slice
}

func (o *optimiser) strategy() engine.Strategy {
	return engine.Strategy{Activity: true, RestartConflicts: 100, Random: o.random}
}

// record keeps the solution at which the solver stands.
func (o *optimiser) record(goal engine.Term) {
	s := o.x.solver
	o.best, o.found = o.x.solution(), true
	at := &o.values[len(o.values)-1]
	at.Value = s.MinOf(goal)
	s.SetPhases(s.Values())
	o.tell()
}

// tell reports what is known.
func (o *optimiser) tell() {
	if o.options.OnImprove == nil {
		return
	}
	o.options.OnImprove(Progress{
		Solution: o.best, Objectives: slices.Clone(o.values), Conflicts: o.spent(),
	})
}

// ties settles the starts, then the ends, then the modes, each task that must be done after the one before.
func (o *optimiser) ties() bool {
	for task := range o.x.tasks {
		if t := &o.x.tasks[task]; !o.x.optional[task] && !o.settle(t.blocks[0], o.best.Tasks[task].StartMinute) {
			return false
		}
	}
	for task := range o.x.tasks {
		if t := &o.x.tasks[task]; !o.x.optional[task] && !o.settle(t.end, o.best.Tasks[task].EndMinute()) {
			return false
		}
	}
	for task := range o.x.tasks {
		if !o.x.optional[task] && !o.settleMode(task) {
			return false
		}
	}
	return true
}

// settle makes a term least and holds it there; false when it was stopped.
func (o *optimiser) settle(goal engine.Term, value int) bool {
	s := o.x.solver
	for {
		if !s.Root(o.meter.look) || o.exhausted() {
			return false
		}
		if value <= s.MinOf(goal) {
			return s.Assert(goal.AtMost(value))
		}
		how := engine.Strategy{Activity: true, RestartConflicts: 100, Assume: []engine.Lit{goal.AtMost(value - 1)}}
		switch s.Search(o.branch, how, engine.Limits{Stop: o.meter.look, Conflicts: o.slice()}) {
		case engine.Solved:
			value = s.MinOf(goal)
			o.best = o.x.solution()
			s.SetPhases(s.Values())
		case engine.Exhausted:
			return s.Assert(goal.AtMost(value)) && s.Assert(goal.AtLeast(value))
		}
	}
}

// settleMode gives the task its first mode with which there still is a solution.
func (o *optimiser) settleMode(task int) bool {
	t := &o.x.tasks[task]
	for way, lit := range t.lits {
		if o.x.model.modes[t.modes[way]].index == o.best.Tasks[task].Mode {
			return o.x.solver.Assert(lit)
		}
		for answered := false; !answered; {
			if o.exhausted() {
				return false
			}
			how := engine.Strategy{Activity: true, RestartConflicts: 100, Assume: []engine.Lit{lit}}
			switch o.x.solver.Search(o.branch, how, engine.Limits{Stop: o.meter.look, Conflicts: o.slice()}) {
			case engine.Solved:
				o.best = o.x.solution()
				return o.x.solver.Assert(lit)
			case engine.Exhausted:
				answered = true
			}
		}
	}
	return true
}

// spent is the conflicts of this and all earlier searches of the call.
func (o *optimiser) spent() int { return o.run.conflicts + o.met() }
