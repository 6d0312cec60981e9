package scheduler

import (
	"cmp"
	"slices"
	"sort"
)

// choice is one branch of a decision: what it adds to a state. All branches of a decision together lose no solution.
type choice struct {
	order  *link  // a task before another
	after  *bound // a point no earlier than a minute
	before []bound
	mode   int // the only mode left to its task; -1: none
}

// bound holds a point at or after a minute, or before it.
type bound struct {
	at     point
	mode   int
	minute int
}

// apply changes the state by the choice and returns it.
func (p *propagator) apply(s *state, c choice) *state {
	if c.order != nil {
		s.orders = append(s.orders, *c.order)
		s.pending = append(s.pending, c.order.from, c.order.to)
	}
	if c.after != nil {
		b := &p.blocks[c.after.at.block]
		lo := ceilDiv(c.after.minute-c.after.at.offset, b.unit)
		s.starts[c.after.at.block] = s.starts[c.after.at.block].atLeast(lo)
		p.touched(s, c.after.mode, c.after.at.block)
	}
	for _, early := range c.before {
		b := &p.blocks[early.at.block]
		hi := floorDiv(early.minute-1-early.at.offset, b.unit)
		s.starts[early.at.block] = s.starts[early.at.block].atMost(hi)
		p.touched(s, early.mode, early.at.block)
	}
	if c.mode >= 0 {
		p.keepOnly(s, c.mode)
	}
	return s
}

func (p *propagator) touched(s *state, mode, block int) {
	if s.starts[block].empty() {
		p.drop(s, mode)
	}
	s.pending = append(s.pending, p.modes[mode].task)
}

func (p *propagator) keepOnly(s *state, mode int) {
	task := p.modes[mode].task
	for m := p.first[task]; m < p.first[task+1]; m++ {
		if m != mode {
			p.drop(s, m)
		}
	}
	s.pending = append(s.pending, task)
}

// held is a task with one mode left, at its least start and end.
type held struct{ task, mode, start, end int }

// decide returns the branches of the next decision, or nil when the least starts are a solution: first a clash between
// tasks whose modes are settled, earliest first, then a mode.
func (p *propagator) decide(s *state) []choice {
	var settled []held
	for task := range p.problem.Tasks {
		if m := p.only(s, task); m >= 0 {
			settled = append(settled, held{task, m, p.startOf(s, m), p.endOf(s, m)})
		}
	}
	slices.SortStableFunc(settled, func(a, b held) int { return cmp.Compare(a.start, b.start) })
	if clash := p.unaryClash(settled); clash != nil {
		return clash
	}
	if clash := p.cumulativeClash(s, settled); clash != nil {
		return clash
	}
	if len(settled) == len(p.problem.Tasks) {
		return nil
	}
	return p.modeChoices(s)
}

// unaryClash finds two tasks on one unary that overlap; either goes first. The tasks come in order of start, so that it is
// enough to look at the one before on the same unary.
func (p *propagator) unaryClash(settled []held) []choice {
	lastOn := make(map[int]held)
	for _, late := range settled {
		unary := p.modes[late.mode].unary
		early, taken := lastOn[unary]
		if taken && p.alone[unary] && late.start < early.end {
			return []choice{
				{mode: -1, order: &link{early.task, late.task, 0, far, true}},
				{mode: -1, order: &link{late.task, early.task, 0, far, true}},
			}
		}
		lastOn[unary] = late
	}
	return nil
}

// taken is a part at its least times.
type taken struct {
	part
	held
	fromMinute, toMinute int
}

// cumulativeClash finds a minute at which the settled tasks together ask for more of a cumulative than is left.
func (p *propagator) cumulativeClash(s *state, settled []held) []choice {
	byCumulative := make(map[int][]taken)
	minute := func(at point) int { return s.starts[at.block].lo*p.blocks[at.block].unit + at.offset }
	for _, h := range settled {
		for _, part := range p.modes[h.mode].parts {
			t := taken{part, h, minute(part.from), minute(part.to)}
			if t.fromMinute < t.toMinute {
				byCumulative[part.cumulative] = append(byCumulative[part.cumulative], t)
			}
		}
	}
	for cumulative := range p.problem.Cumulatives {
		if clash := p.overload(cumulative, byCumulative[cumulative]); clash != nil {
			return clash
		}
	}
	return nil
}

// overload sweeps over the parts' starts and ends for the first minute above the capacity.
func (p *propagator) overload(cumulative int, parts []taken) []choice {
	if len(parts) < 2 {
		return nil
	}
	var changes []level
	for _, part := range parts {
		changes = append(changes, level{part.fromMinute, part.amount}, level{part.toMinute, -part.amount})
	}
	slices.SortFunc(changes, func(a, b level) int { return cmp.Compare(a.from, b.from) })
	sum := 0
	for i := 0; i+1 < len(changes); i++ {
		sum += changes[i].used
		window := span{changes[i].from, changes[i+1].from - 1}
		if sum == 0 || window.lo > window.hi {
			continue
		}
		if at := p.firstAbove(cumulative, window, sum); at >= 0 {
			running := slices.DeleteFunc(parts, func(t taken) bool { return t.fromMinute > at || t.toMinute <= at })
			return p.separate(cumulative, at, running)
		}
	}
	return nil
}

// firstAbove is the first minute in the window at which the sum and what is used exceed the capacity, or -1.
func (p *propagator) firstAbove(cumulative int, window span, sum int) int {
	levels := p.res.levels[cumulative]
	capacity := p.problem.Cumulatives[cumulative].Capacity
	first := sort.Search(len(levels), func(i int) bool { return levels[i].from > window.lo }) - 1
	for i := first; i < len(levels) && levels[i].from <= window.hi; i++ {
		p.meter.spend(1)
		if levels[i].used+sum > capacity {
			return max(window.lo, levels[i].from)
		}
	}
	return -1
}

// separate branches on which part is not running any more when too many are. None can end earlier than its least end, so
// at the last minute at which all run and exceed the capacity one of them must start later. The branches exclude each
// other: each one keeps the parts before it from doing so.
func (p *propagator) separate(cumulative, at int, running []taken) []choice {
	running, until := p.fewest(cumulative, at, running)
	slices.SortStableFunc(running, func(a, b taken) int {
		return cmp.Or(cmp.Compare(b.fromMinute, a.fromMinute), cmp.Compare(b.task, a.task))
	})
	var choices []choice
	var earlier []bound
	for _, part := range running {
		b := bound{at: part.from, mode: part.mode, minute: until}
		choices = append(choices, choice{mode: -1, after: &b, before: slices.Clone(earlier)})
		earlier = append(earlier, b)
	}
	return choices
}

// fewest drops parts, smallest first, as long as the rest still exceeds the capacity at the minute, and returns the rest
// with the end of the stretch over which it does.
func (p *propagator) fewest(cumulative, at int, running []taken) (rest []taken, until int) {
	levels := p.res.levels[cumulative]
	capacity := p.problem.Cumulatives[cumulative].Capacity
	now := sort.Search(len(levels), func(i int) bool { return levels[i].from > at }) - 1
	sum := 0
	for _, part := range running {
		sum += part.amount
	}
	slices.SortStableFunc(running, func(a, b taken) int { return cmp.Compare(a.amount, b.amount) })
	for len(running) > 2 && sum-running[0].amount+levels[now].used > capacity {
		sum -= running[0].amount
		running = running[1:]
	}
	until = far
	for _, part := range running {
		until = min(until, part.toMinute)
	}
	for i := now + 1; i < len(levels) && levels[i].from < until; i++ {
		if levels[i].used+sum <= capacity {
			until = levels[i].from
		}
	}
	return running, until
}

// modeChoices branches on the modes of the task with the fewest left, the one that can end first being tried first.
func (p *propagator) modeChoices(s *state) []choice {
	task, fewest := -1, far
	for t := range p.problem.Tasks {
		left := 0
		for m := p.first[t]; m < p.first[t+1]; m++ {
			if p.alive(s, m) {
				left++
			}
		}
		if left > 1 && left < fewest {
			task, fewest = t, left
		}
	}
	var choices []choice
	for m := p.first[task]; m < p.first[task+1]; m++ {
		if p.alive(s, m) {
			choices = append(choices, choice{mode: m})
		}
	}
	slices.SortStableFunc(choices, func(a, b choice) int {
		return cmp.Compare(p.endOf(s, a.mode), p.endOf(s, b.mode))
	})
	return choices
}
