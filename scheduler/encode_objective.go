package scheduler

import (
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
	var sum weighted
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
	total := x.variable(lo, hi)
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
	moved := x.variable(0, max(t.last-now.StartMinute, now.StartMinute, 0))
	x.solver.AddDifference(t.blocks[0], moved, -now.StartMinute, t.present)
	// moved >= stands - start: start >= stands - moved.
	x.solver.AddDifference(engine.Term{View: moved.View.Neg(), Off: -moved.Off}, t.blocks[0], now.StartMinute, t.present)
	x.cost(moved)
	sum.addTerm(now.MinuteWeight, moved)
}

// addVisits adds one for each day that a visit touches.
func (x *encoding) addVisits(sum *weighted) {
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

// addEnergy adds the energy of a task's firings, less what hot starts save.
func (x *encoding) addEnergy(sum *weighted, task int) {
	t := &x.tasks[task]
	for way := range t.modes {
		a := stay{task, way}
		mode, leads := x.source(a), x.leads(a)
		sum.add(mode.Energy, leads)
		if mode.Unary < 0 {
			continue
		}
		unary := &x.problem.Unaries[mode.Unary]
		if unary.HotSaving == 0 {
			continue
		}
		if hot := x.hot(a, leads); hot != engine.False {
			sum.add(unary.HotSaving, hot.Not())
			sum.fixed -= unary.HotSaving
			x.cost(engine.Term{View: hot.View().Neg()})
		}
	}
}

// hot says that a firing starts soon enough after another on its unary; False where it never can.
func (x *encoding) hot(a stay, leads engine.Lit) engine.Lit {
	t, unary := &x.tasks[a.task], x.source(a).Unary
	within := x.problem.Unaries[unary].HotMinutes
	ways := []engine.Lit{}
	for _, held := range x.problem.Unaries[unary].Held {
		early, late := t.blocks[0].AtLeast(held.End), t.blocks[0].AtMost(held.End+within)
		if x.solver.Fails(early) || x.solver.Fails(late) {
			continue
		}
		way := x.either()
		x.solver.AddClause(way.Not(), early)
		x.solver.AddClause(way.Not(), late)
		ways = append(ways, way)
	}
	for task := range x.tasks {
		other := &x.tasks[task]
		for k, m := range other.modes {
			if task == a.task || x.model.modes[m].unary != unary || !x.meter.spend(workPerStatement) {
				continue
			}
			way, end := x.either(), x.endOfMode(other, m)
			x.solver.AddClause(way.Not(), other.lits[k])
			x.solver.AddDifference(end, t.blocks[0], 0, way)
			x.solver.AddDifference(t.blocks[0], end, -within, way)
			ways = append(ways, way)
		}
	}
	if len(ways) == 0 {
		return engine.False
	}
	hot := x.either()
	x.solver.AddClause(hot.Not(), leads)
	x.solver.AddClause(append(ways, hot.Not())...)
	for _, way := range ways {
		x.cost(engine.Term{View: way.View().Neg()})
	}
	return hot
}
