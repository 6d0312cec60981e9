package scheduler

import (
	"saggar/scheduler/engine"
)

// brancher settles the task that can start first, the one that must start first among equals: it is present, takes the mode
// that can end first, starts at its least start and waits as little as it can. When all tasks are settled, it settles what
// objectives count.
type brancher struct {
	x    *encoding
	rest int // the variable to look at first among the rest
	// rank, if not nil, puts tasks of lower rank before all others: whole runs, one after the other.
	rank []int
}

// byRun ranks tasks by what lags tie together, the group that is due first before the others.
// It returns the ranks and the groups.
func (x *encoding) byRun() (rank, groups []int) {
	group := make([]int, len(x.tasks))
	for i := range group {
		group[i] = i
	}
	find := func(i int) int {
		for group[i] != i {
			i = group[i]
		}
		return i
	}
	for _, l := range x.lags {
		group[find(l.from)] = find(l.to)
	}
	urgency := make([]int, len(x.tasks))
	for i := range urgency {
		urgency[i] = far
	}
	for i := range x.tasks {
		source := &x.problem.Tasks[i]
		due := x.tasks[i].last
		if source.LatenessWeight > 0 {
			due = min(due, source.DueMinute)
		}
		if g := find(i); due < urgency[g] {
			urgency[g] = due
		}
	}
	rank, groups = make([]int, len(x.tasks)), make([]int, len(x.tasks))
	for i := range rank {
		g := find(i)
		groups[i] = g
		rank[i] = min(urgency[g], 1<<40)*len(x.tasks) + g
	}
	return rank, groups
}

// Next is the next statement to try; engine.True when all is settled.
func (b *brancher) Next(s *engine.Solver) engine.Lit {
	first := -1
	s.Spend(len(b.x.tasks))
	for i := range b.x.tasks {
		t := &b.x.tasks[i]
		if s.Fails(t.present) || b.settled(s, t) {
			continue
		}
		if first < 0 || b.before(s, i, first) {
			first = i
		}
	}
	if first >= 0 {
		return b.settle(s, &b.x.tasks[first])
	}
	for _, term := range b.x.hurry {
		if lo := s.MinOf(term); lo < s.MaxOf(term) {
			return term.AtMost(lo)
		}
	}
	return b.other(s)
}

// other settles what is left of the variables, from where the last one was found. Which of two tasks goes first follows from
// their starts where it matters.
func (b *brancher) other(s *engine.Solver) engine.Lit {
	count := s.Vars()
	for range count {
		s.Spend(1)
		if b.rest >= count {
			b.rest = 0
		}
		v := engine.View(2 * b.rest)
		if lo := s.Min(v); lo < s.Max(v) && !b.x.idle[v] {
			return engine.AtMost(v, lo)
		}
		b.rest++
	}
	return engine.True
}

func (b *brancher) settled(s *engine.Solver, t *taskTerms) bool {
	if !s.Holds(t.present) {
		return false
	}
	for _, start := range t.blocks {
		if s.MinOf(start) < s.MaxOf(start) {
			return false
		}
	}
	for _, lit := range t.lits {
		if s.Holds(lit) {
			return true
		}
	}
	return false
}

func (b *brancher) before(s *engine.Solver, task, other int) bool {
	if b.rank != nil && b.rank[task] != b.rank[other] {
		return b.rank[task] < b.rank[other]
	}
	return b.sooner(s, &b.x.tasks[task], &b.x.tasks[other])
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
	for _, start := range t.blocks {
		if lo := s.MinOf(start); lo < s.MaxOf(start) {
			return start.AtMost(lo)
		}
	}
	return engine.True
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
