package scheduler

import (
	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// source is the mode as the problem states it.
func (x *encoding) source(a stay) *plan.Mode {
	mode := &x.model.modes[x.tasks[a.task].modes[a.way]]
	return &x.problem.Tasks[mode.task].Modes[mode.index]
}

// together says whether two modes may share a firing.
func (x *encoding) together(a, b stay) bool {
	first, second := x.source(a), x.source(b)
	return first.Batch > 0 && first.Batch == second.Batch && first.Unary == second.Unary && a.task != b.task
}

// pairOf names two stays, that of the lower task first.
type pairOf struct{ a, b stay }

func pairKey(a, b stay) pairOf {
	if b.task < a.task {
		a, b = b, a
	}
	return pairOf{a, b}
}

// joined says that two modes are taken and share a firing: all their blocks start together.
func (x *encoding) joined(a, b stay) engine.Lit {
	key := pairKey(a, b)
	if lit, ok := x.joins[key]; ok {
		return lit
	}
	lit := x.either()
	x.joins[key] = lit
	first, second := &x.tasks[a.task], &x.tasks[b.task]
	x.solver.AddClause(lit.Not(), first.lits[a.way])
	x.solver.AddClause(lit.Not(), second.lits[b.way])
	for k := range x.blockCount(first.modes[a.way]) {
		x.same(first.blocks[k], second.blocks[k], 0, lit)
	}
	return lit
}

// leads says that a mode is taken and is the first of its batch, or in none.
func (x *encoding) leads(a stay) engine.Lit {
	taken := x.tasks[a.task].lits[a.way]
	if x.source(a).Batch == 0 || !x.alone[x.source(a).Unary] {
		return taken
	}
	if lit, ok := x.leaders[a]; ok {
		return lit
	}
	follows := []engine.Lit{taken.Not()}
	x.meter.spend(a.task)
	for task := range a.task {
		for way := range x.tasks[task].modes {
			if other := (stay{task, way}); x.together(other, a) {
				follows = append(follows, x.joined(other, a))
			}
		}
	}
	lead := taken
	if len(follows) > 1 {
		lead = x.either()
		x.solver.AddClause(lead.Not(), taken)
		for _, joined := range follows[1:] {
			x.solver.AddClause(lead.Not(), joined.Not())
		}
		x.solver.AddClause(append(follows, lead)...)
	}
	x.leaders[a] = lead
	return lead
}

// batches keeps the loads of each batch within the capacity of its unary.
func (x *encoding) batches(on [][]stay) {
	for u, stays := range on {
		capacity := x.problem.Unaries[u].BatchCapacity
		for _, a := range stays {
			if x.source(a).Batch == 0 || !x.meter.spend(8*len(stays)) {
				continue
			}
			var sum weighted
			sum.add(x.source(a).Load, x.tasks[a.task].lits[a.way])
			for _, b := range stays {
				if x.together(a, b) {
					sum.add(x.source(b).Load, x.joined(a, b))
				}
			}
			x.solver.AddLinear(sum.terms, capacity-sum.fixed)
		}
	}
}

// weighted is a sum of terms and of statements that count when they hold.
type weighted struct {
	terms []engine.Scaled
	fixed int
	least int // of the whole sum, as far as something else says so
}

func (w *weighted) add(weight int, lit engine.Lit) {
	switch {
	case weight == 0 || lit == engine.False:
	case lit == engine.True:
		w.fixed += weight
	case lit.Bound() == 1: // the view is 1 when it holds
		w.terms = append(w.terms, engine.Scaled{Factor: weight, View: lit.View()})
	default: // the view is 0 when it holds, -1 when it does not
		w.fixed += weight
		w.terms = append(w.terms, engine.Scaled{Factor: weight, View: lit.View()})
	}
}

func (w *weighted) addTerm(weight int, t engine.Term) {
	w.fixed += weight * t.Off
	if t.View != 0 && weight > 0 {
		w.terms = append(w.terms, engine.Scaled{Factor: weight, View: t.View})
	}
}
