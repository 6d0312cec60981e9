package scheduler

import (
	"saggar/scheduler/engine"
)

// brancher settles the task that can start first, the one that must start first among equals: it is present, takes the mode
// that can end first and starts at its least start. When all tasks are settled, it settles waits and what objectives count.
type brancher struct {
	x    *encoding
	rest int // the variable to look at first among the rest
}

// Next is the next statement to try; engine.True when all is settled.
func (b *brancher) Next(s *engine.Solver) engine.Lit {
	first := -1
	for i := range b.x.tasks {
		t := &b.x.tasks[i]
		if s.Fails(t.present) || b.settled(s, t) {
			continue
		}
		if first < 0 || b.sooner(s, t, &b.x.tasks[first]) {
			first = i
		}
	}
	if first >= 0 {
		return b.settle(s, &b.x.tasks[first])
	}
	for i := range b.x.tasks {
		for _, start := range b.x.tasks[i].blocks {
			if lo := s.MinOf(start); lo < s.MaxOf(start) {
				return start.AtMost(lo)
			}
		}
	}
	for _, term := range b.x.hurry {
		if lo := s.MinOf(term); lo < s.MaxOf(term) {
			return term.AtMost(lo)
		}
	}
	return b.other(s)
}

// other settles what is left of the variables, from where the last one was found.
func (b *brancher) other(s *engine.Solver) engine.Lit {
	count := s.Vars()
	for range count {
		if b.rest >= count {
			b.rest = 0
		}
		v := engine.View(2 * b.rest)
		if lo := s.Min(v); lo < s.Max(v) {
			return engine.AtMost(v, lo)
		}
		b.rest++
	}
	return engine.True
}

func (b *brancher) settled(s *engine.Solver, t *taskTerms) bool {
	if !s.Holds(t.present) || s.MinOf(t.blocks[0]) < s.MaxOf(t.blocks[0]) {
		return false
	}
	for _, lit := range t.lits {
		if s.Holds(lit) {
			return true
		}
	}
	return false
}

func (b *brancher) sooner(s *engine.Solver, t, than *taskTerms) bool {
	a, c := s.MinOf(t.blocks[0]), s.MinOf(than.blocks[0])
	return a < c || a == c && s.MaxOf(t.blocks[0]) < s.MaxOf(than.blocks[0])
}

func (b *brancher) settle(s *engine.Solver, t *taskTerms) engine.Lit {
	if !s.Holds(t.present) {
		return t.present
	}
	best, earliest := engine.True, 0
	for way, lit := range t.lits {
		if s.Holds(lit) {
			best = engine.True
			break
		}
		if s.Fails(lit) {
			continue
		}
		if end := b.ends(s, t, way); best == engine.True || end < earliest {
			best, earliest = lit, end
		}
	}
	if best != engine.True {
		return best
	}
	return t.blocks[0].AtMost(s.MinOf(t.blocks[0]))
}

// ends is about when a mode could end.
func (b *brancher) ends(s *engine.Solver, t *taskTerms, way int) int {
	mode := &b.x.model.modes[t.modes[way]]
	unit := b.x.blocks[mode.firstBlock].unit
	left := b.x.state.starts[mode.firstBlock].atLeast(ceilDiv(s.MinOf(t.blocks[0]), unit))
	if left.empty() {
		return far
	}
	return left.lo*unit + mode.least
}
