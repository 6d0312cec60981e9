package scheduler

import (
	"cmp"
	"slices"

	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// followConflicts is how much may be tried to make a solution of one that does not fit.
const followConflicts = 1000

// follow begins with the solution that the caller has.
func (d *descent) follow() {
	if d.options.Start == nil || d.member > 0 {
		return
	}
	f := newFollower(d.branch, *d.options.Start)
	how := engine.Strategy{RestartConflicts: restartUnit}
	if d.x.solver.Search(f, how, d.limits(followConflicts)) == engine.Solved {
		d.record()
	}
}

// follower settles tasks as a solution has them, in the order of their starts there. What cannot be so starts as early as it
// can.
type follower struct {
	*brancher
	wished plan.Solution
	order  []int
}

func newFollower(b *brancher, wished plan.Solution) *follower {
	f := &follower{brancher: b, wished: wished}
	for i := range min(len(wished.Tasks), len(b.x.tasks)) {
		f.order = append(f.order, i)
	}
	slices.SortStableFunc(f.order, func(i, k int) int {
		return cmp.Compare(wished.Tasks[i].StartMinute, wished.Tasks[k].StartMinute)
	})
	return f
}

// Next is the next statement to try; engine.True when all is settled.
func (f *follower) Next(s *engine.Solver) engine.Lit {
	s.Spend(len(f.order))
	for _, i := range f.order {
		t := &f.x.tasks[i]
		if s.Fails(t.present) || f.settled(s, t) {
			continue
		}
		if l := f.wish(s, t, f.wished.Tasks[i]); l != engine.True {
			return l
		}
		return f.settle(s, t)
	}
	return f.brancher.Next(s)
}

// wish is the next statement that takes a task to where it is wished; True where it cannot be.
func (f *follower) wish(s *engine.Solver, t *taskTerms, wished plan.Placement) engine.Lit {
	if wished.Omitted() && !s.Holds(t.present) {
		return t.present.Not()
	}
	way := slices.IndexFunc(t.modes, func(m int) bool { return f.x.model.modes[m].index == wished.Mode })
	if way < 0 || s.Fails(t.lits[way]) {
		return engine.True
	}
	if !s.Holds(t.lits[way]) {
		return t.lits[way]
	}
	for k, at := range f.x.startsOfBlocks(t.modes[way], wished) {
		start := t.blocks[k]
		lo, hi := s.MinOf(start), s.MaxOf(start)
		switch {
		case lo == hi:
		case at < lo || at > hi:
			return start.AtMost(lo)
		case at < hi:
			return start.AtMost(at)
		default:
			return start.AtLeast(at)
		}
	}
	return engine.True
}

// startsOfBlocks is where the blocks of a mode start in a placement, as far as that has phases.
func (x *encoding) startsOfBlocks(m int, placed plan.Placement) []int {
	mode := &x.model.modes[m]
	starts := []int{placed.StartMinute}
	index := 0
	for k := mode.firstBlock; k < mode.lastBlock; k++ {
		index += x.blocks[k].phases
		if index >= len(placed.Phases) {
			break
		}
		starts = append(starts, placed.Phases[index].End)
		index++
	}
	return starts
}
