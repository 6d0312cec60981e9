package scheduler

import (
	"slices"

	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// phaseSpan is a phase of a mode, from one term to another.
type phaseSpan struct {
	phase    *plan.Phase
	from, to engine.Term
}

// phaseSpans are the phases of a mode that last at least a minute, or may.
func (x *encoding) phaseSpans(t *taskTerms, m int) []phaseSpan {
	mode := &x.model.modes[m]
	source := &x.problem.Tasks[mode.task].Modes[mode.index]
	var spans []phaseSpan
	at := point{mode.firstBlock, 0}
	for i := range source.Phases {
		phase := &source.Phases[i]
		from := at
		if phase.LongestMinutes() > phase.Minutes {
			at = point{at.block + 1, 0}
		} else {
			at.offset += phase.Minutes
		}
		if from != at {
			spans = append(spans, phaseSpan{phase, x.point(t, m, from), x.point(t, m, at)})
		}
	}
	return spans
}

// objective is a term that is at least what the objective amounts to, and can be as little.
func (x *encoding) objective(what plan.Objective) engine.Term {
	if what == plan.Makespan {
		return x.makespan()
	}
	sum := weighted{least: -far}
	for task := range x.tasks {
		if !x.meter.spend(workPerStatement) {
			break
		}
		switch what {
		case plan.Omission:
			sum.add(x.problem.Tasks[task].OmissionWeight, x.tasks[task].present.Not())
		case plan.Completion:
			x.addLate(&sum, task, x.problem.Tasks[task].CompletionWeight, 0)
		case plan.Lateness:
			x.addLate(&sum, task, x.problem.Tasks[task].LatenessWeight, x.problem.Tasks[task].DueMinute)
		case plan.Energy:
			x.addEnergy(&sum, task)
		case plan.Change:
			x.addChange(&sum, task)
		}
	}
	if what == plan.Visits {
		x.addVisits(&sum)
	}
	return x.total(sum)
}

func (x *encoding) makespan() engine.Term {
	lo, hi := 0, 0
	for i := range x.tasks {
		t := &x.tasks[i]
		hi = max(hi, t.last)
		if t.present == engine.True {
			lo = max(lo, x.solver.MinOf(t.end))
		}
	}
	end := x.variable(lo, hi)
	for i := range x.tasks {
		if t := &x.tasks[i]; len(t.modes) > 0 {
			x.solver.AddDifference(t.end, end, 0, t.present)
		}
	}
	x.cost(end)
	return end
}

// cost has a term that others only bound from below settled as low as they allow.
func (x *encoding) cost(t engine.Term) {
	x.hurry = append(x.hurry, t)
	x.solver.OnlyLower(t)
}

// total is a term for a sum.
func (x *encoding) total(sum weighted) engine.Term {
	lo, hi := 0, 0
	for _, t := range sum.terms {
		lo += t.Factor * x.solver.Min(t.View)
		hi += t.Factor * x.solver.Max(t.View)
	}
	total := x.variable(min(max(lo, sum.least-sum.fixed), hi), hi)
	if total.View != 0 {
		x.solver.AddLinear(append(sum.terms, engine.Scaled{Factor: -1, View: total.View}), 0)
		x.cost(total)
	}
	return total.Plus(sum.fixed)
}

// addLate adds the minutes that a task ends after one, times a weight.
func (x *encoding) addLate(sum *weighted, task, weight, due int) {
	t := &x.tasks[task]
	if weight == 0 || len(t.modes) == 0 || t.last <= due {
		return
	}
	if due == 0 && t.present == engine.True {
		sum.addTerm(weight, t.end)
		return
	}
	late := x.variable(0, t.last-due)
	x.solver.AddDifference(t.end, late, -due, t.present)
	x.cost(late)
	sum.addTerm(weight, late)
}

// addChange adds what moving a task from where it stands counts.
func (x *encoding) addChange(sum *weighted, task int) {
	t, now := &x.tasks[task], x.problem.Tasks[task].Present
	if now == nil {
		return
	}
	kept := engine.False
	for way, m := range t.modes {
		if x.model.modes[m].index == now.Mode {
			kept = t.lits[way]
		}
	}
	sum.add(now.ModeWeight, kept.Not())
	if now.MinuteWeight == 0 || len(t.modes) == 0 {
		return
	}
	least := x.farFrom(t, now.StartMinute)
	moved := x.variable(0, max(t.last-now.StartMinute, now.StartMinute, 0))
	for way, lit := range t.lits {
		x.solver.AddClause(lit.Not(), moved.AtLeast(least[way]))
	}
	x.atLeastOf(t, moved, least)
	x.solver.AddDifference(t.blocks[0], moved, -now.StartMinute, t.present)
	// moved >= stands - start: start >= stands - moved.
	x.solver.AddDifference(engine.Term{View: moved.View.Neg(), Off: -moved.Off}, t.blocks[0], now.StartMinute, t.present)
	x.cost(moved)
	sum.addTerm(now.MinuteWeight, moved)
}

// farFrom is by mode how far from a minute it must start at least.
func (x *encoding) farFrom(t *taskTerms, minute int) []int {
	var least []int
	for _, m := range t.modes {
		first := x.model.modes[m].firstBlock
		starts, unit := x.state.starts[first], x.blocks[first].unit
		distance := far
		if after := starts.atLeast(ceilDiv(minute, unit)); !after.empty() {
			distance = after.lo*unit - minute
		}
		if before := starts.atMost(floorDiv(minute, unit)); !before.empty() {
			distance = min(distance, minute-before.hi*unit)
		}
		least = append(least, distance)
	}
	return least
}

// atLeastOf states that a term is at least the least value of the modes that are left to a task.
func (x *encoding) atLeastOf(t *taskTerms, v engine.Term, least []int) {
	sorted := slices.Compact(slices.Sorted(slices.Values(least)))
	for k, value := range sorted {
		words := []engine.Lit{t.present.Not(), v.AtLeast(value)}
		for way, lit := range t.lits {
			if k > 0 && least[way] < value {
				words = append(words, lit)
			}
		}
		x.solver.AddClause(words...)
	}
}

// addVisits adds one for each day that a visit touches.
func (x *encoding) addVisits(sum *weighted) {
	sum.least = x.fewestDays()
	visited := make([]engine.Lit, len(x.problem.Days))
	for i := range x.tasks {
		t := &x.tasks[i]
		for way, m := range t.modes {
			for _, p := range x.phaseSpans(t, m) {
				if p.phase.Visit {
					x.visit(visited, p, t.lits[way])
				}
			}
		}
	}
	for _, day := range visited {
		if day != engine.True { // the zero value: no visit can touch the day
			sum.add(1, day)
			x.cost(engine.Term{View: day.View()})
		}
	}
}

func (x *encoding) visit(visited []engine.Lit, p phaseSpan, taken engine.Lit) {
	if !x.meter.spend(len(x.problem.Days)) {
		return
	}
	for d, day := range x.problem.Days {
		before, after := p.to.AtMost(day.Start), p.from.AtLeast(day.End)
		if x.solver.Holds(before) || x.solver.Holds(after) {
			continue
		}
		if visited[d] == engine.True {
			visited[d] = x.either()
		}
		x.solver.AddClause(taken.Not(), before, after, visited[d])
	}
}
