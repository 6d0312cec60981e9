package scheduler

import (
	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// distance is at least how many minutes after one task another starts.
type distance struct{ first, second, minutes int }

// separations keeps tasks apart in time.
func (x *encoding) separations() {
	for i, s := range x.problem.Separations {
		if !x.meter.spend(workPerStatement) {
			return
		}
		if !x.skip[group{KindSeparation, i}] {
			x.separation(s)
		}
	}
}

// separation states that one of the two modes is not taken, or the second task follows the first at its distance, or the
// first the second. What the windows of the modes decide is not stated. Each distance has a statement of its own, so that
// bounds deny it whatever the modes; what is left then follows from the clause.
func (x *encoding) separation(s plan.Separation) {
	first, early := x.inMode(s.First, s.FirstMode)
	second, late := x.inMode(s.Second, s.SecondMode)
	least, most := late.lo-early.hi, late.hi-early.lo
	if first == engine.False || second == engine.False || least >= s.ToMinutes || most <= s.FromMinutes {
		return
	}
	words := []engine.Lit{first.Not(), second.Not()}
	if most >= s.ToMinutes {
		words = append(words, x.follows(distance{s.First, s.Second, s.ToMinutes}))
	}
	if least <= s.FromMinutes {
		words = append(words, x.follows(distance{s.Second, s.First, -s.FromMinutes}))
	}
	x.solver.AddClause(words...)
	x.rivals[s.First] = append(x.rivals[s.First], s.Second)
	x.rivals[s.Second] = append(x.rivals[s.Second], s.First)
}

// inMode says that a task is done in one of its modes, in whichever with -1, and from when to when it may then start.
func (x *encoding) inMode(task, mode int) (engine.Lit, span) {
	t := &x.tasks[task]
	starts := span{far, 0}
	taken := engine.False
	for way, m := range t.modes {
		if mode < 0 || x.model.modes[m].index == mode {
			lo, hi := x.window(x.model.modes[m].firstBlock)
			starts, taken = span{min(starts.lo, lo), max(starts.hi, hi)}, t.lits[way]
		}
	}
	if mode < 0 {
		taken = t.present
	}
	return taken, starts
}

// follows says that the second task starts at the distance after the first, or later. Only one of the two may be done.
func (x *encoding) follows(d distance) engine.Lit {
	lit, ok := x.follow[d]
	if !ok {
		lit = x.either()
		x.follow[d] = lit
		x.idle[lit.View()] = true
		x.solver.AddDifference(x.tasks[d.first].blocks[0], x.tasks[d.second].blocks[0], d.minutes, lit)
	}
	return lit
}
