package scheduler

import (
	"saggar/scheduler/engine"
)

// addEnergy adds the energy of a task's firing, less what a hot start saves: one term for the task, so that what each mode left
// needs at least counts before one is taken.
func (x *encoding) addEnergy(sum *weighted, task int) {
	t := &x.tasks[task]
	if len(t.modes) == 0 {
		return
	}
	var ways []firing
	var least []int
	lo, hi := far, 0
	for way := range t.modes {
		f := x.firing(stay{task, way})
		ways, least = append(ways, f), append(least, f.least)
		lo, hi = min(lo, f.least), max(hi, f.cold)
	}
	if t.present != engine.True {
		lo = min(lo, 0)
	}
	energy := x.variable(lo, hi)
	x.cost(energy)
	x.solver.AddClause(t.present, energy.AtLeast(0))
	for way, f := range ways {
		x.solver.AddClause(f.leads.Not(), f.hot, energy.AtLeast(f.cold))
		x.solver.AddClause(f.leads.Not(), energy.AtLeast(f.warm))
		x.solver.AddClause(t.lits[way].Not(), f.leads, energy.AtLeast(0))
	}
	x.atLeastOf(t, energy, least)
	sum.addTerm(1, energy)
}

// firing is what a mode needs when it is the first of its batch, started cold or hot, and at least.
type firing struct {
	leads, hot        engine.Lit
	cold, warm, least int
}

func (x *encoding) firing(a stay) firing {
	mode := x.source(a)
	f := firing{leads: x.leads(a), hot: engine.False, cold: mode.Energy, warm: mode.Energy}
	if mode.Unary >= 0 && x.problem.Unaries[mode.Unary].HotSaving > 0 {
		if f.hot = x.hot(a, f.leads); f.hot != engine.False {
			f.warm -= x.problem.Unaries[mode.Unary].HotSaving
			x.cost(engine.Term{View: f.hot.View().Neg()})
		}
	}
	f.least = f.warm
	if f.leads != x.tasks[a.task].lits[a.way] {
		f.least = min(f.warm, 0) // another of the batch may come first
	}
	return f
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
