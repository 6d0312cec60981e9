package scheduler

// state is a node of the search: what starts are left for each block, and which tasks must come before which. A mode
// whose blocks have no starts left is out.
type state struct {
	starts []set // by block of the model
	// pending are the tasks whose starts have changed since the last propagation.
	pending []int
}

func (s *state) clone() *state {
	return &state{
		starts:  append([]set(nil), s.starts...),
		pending: append([]int(nil), s.pending...),
	}
}

// propagator brings a state to its fixed point: every start left has a partner in every constraint between two blocks of
// a mode or two tasks. These constraints are closed under taking the smaller of two solutions, so once each task has one
// mode left the least starts together satisfy all of them; and where the lags form a tree, every start left belongs to
// some choice of modes.
type propagator struct {
	*model
	meter  *meter
	queued []bool
	queue  []int
}

func newPropagator(m *model, meter *meter) *propagator {
	return &propagator{model: m, meter: meter, queued: make([]bool, len(m.problem.Tasks))}
}

func (p *propagator) alive(s *state, mode int) bool {
	return !s.starts[p.modes[mode].firstBlock].empty()
}

func (p *propagator) drop(s *state, mode int) {
	for k := p.modes[mode].firstBlock; k <= p.modes[mode].lastBlock; k++ {
		s.starts[k] = set{}
	}
}

// root is the state before any decision.
func (p *propagator) root() *state {
	s := &state{starts: make([]set, len(p.blocks))}
	for k := range p.blocks {
		s.starts[k] = p.blocks[k].starts
	}
	for task := range p.problem.Tasks {
		s.pending = append(s.pending, task)
	}
	return s
}

// run propagates what is pending. It returns false when a task has no mode left, or when the meter stopped it: the caller
// asks the meter before it concludes anything.
func (p *propagator) run(s *state) bool {
	for _, task := range s.pending {
		p.enqueue(task)
	}
	s.pending = s.pending[:0]
	patience := 8 * (len(p.problem.Tasks) + len(p.lags))
	for done := 0; len(p.queue) > 0; done++ {
		task := p.queue[0]
		p.queue, p.queued[task] = p.queue[1:], false
		endless := done == patience && p.endless(s)
		if endless || !p.reviseTask(s, task) || !p.reviseLinks(s, task) || p.meter.stopped {
			p.clearQueue()
			return false
		}
	}
	return true
}

func (p *propagator) enqueue(task int) {
	if !p.queued[task] {
		p.queued[task] = true
		p.queue = append(p.queue, task)
	}
}

func (p *propagator) clearQueue() {
	for _, task := range p.queue {
		p.queued[task] = false
	}
	p.queue = p.queue[:0]
}

// reviseTask makes the blocks of each mode agree, and says whether a mode is left.
func (p *propagator) reviseTask(s *state, task int) bool {
	left := p.optional[task]
	for m := p.first[task]; m < p.first[task+1]; m++ {
		if p.alive(s, m) && p.reviseMode(s, p.modes[m]) {
			left = true
		} else {
			p.drop(s, m)
		}
	}
	return left
}

// reviseMode goes along the chain of blocks and back, which is enough for a chain.
func (p *propagator) reviseMode(s *state, m mode) bool {
	for k := m.firstBlock; k < m.lastBlock; k++ {
		s.starts[k+1] = intersect(s.starts[k+1], p.afterWait(s.starts[k], k))
		if s.starts[k+1].empty() {
			return false
		}
	}
	for k := m.lastBlock - 1; k >= m.firstBlock; k-- {
		s.starts[k] = intersect(s.starts[k], p.beforeWait(s.starts[k+1], k))
		if s.starts[k].empty() {
			return false
		}
	}
	return !s.starts[m.lastBlock].empty()
}

// hop is the way over one wait, forward or backward. The wait's boundary that belongs to the given starts lies shift after
// them, the other one result after what is sought.
type hop struct {
	by            shift
	given, sought int
}

// afterWait is the starts of block k+1 that some start of block k in s can reach.
func (p *propagator) afterWait(s set, k int) set {
	b := &p.blocks[k]
	return p.over(s, b, hop{
		by:    shift{b.minutes + b.waitMin, b.minutes + b.waitMax, b.unit, p.blocks[k+1].unit},
		given: b.minutes,
	})
}

// beforeWait is the starts of block k from which some start of block k+1 in s can be reached.
func (p *propagator) beforeWait(s set, k int) set {
	b := &p.blocks[k]
	return p.over(s, b, hop{
		by:     shift{-b.minutes - b.waitMax, -b.minutes - b.waitMin, p.blocks[k+1].unit, b.unit},
		sought: b.minutes,
	})
}

func (p *propagator) over(s set, b *block, h hop) set {
	ranges := b.waitWithin.between(s.lo*h.by.from+h.given-b.waitMax, s.hi*h.by.from+h.given+b.waitMax)
	spans := make([]span, 0, len(ranges.spans))
	for i := range ranges.spans {
		r := ranges.at(i)
		from := s.between(ceilDiv(r.lo-h.given, h.by.from), floorDiv(r.hi-h.given, h.by.from))
		p.meter.spend(len(from.spans))
		spans = appendShifted(spans, from, h.by, span{r.lo - h.sought, r.hi - h.sought})
	}
	p.meter.spend(4 * (len(spans) + len(ranges.spans)))
	reached := newSet(spans)
	if b.waitMin == 0 {
		none := shift{h.given - h.sought, h.given - h.sought, h.by.from, h.by.to}
		reached = union(reached, shifted(s, none, span{0, far}))
	}
	return reached
}

// reviseLinks takes a changed task's news to the tasks that lags and orders tie it to.
func (p *propagator) reviseLinks(s *state, task int) bool {
	for _, i := range p.lagsOf[task] {
		if !p.reviseLink(s, p.lags[i], task) {
			return false
		}
	}
	return true
}

func (p *propagator) reviseLink(s *state, l link, changed int) bool {
	if l.from == changed {
		return p.reviseTo(s, l)
	}
	return p.reviseFrom(s, l)
}

// origin is the point of the mode from which the link counts.
func (p *propagator) origin(l link, m int) point {
	mode := &p.modes[m]
	if l.fromStart {
		return point{mode.firstBlock, 0}
	}
	return point{mode.lastBlock, p.blocks[mode.lastBlock].minutes - mode.tail}
}

// reviseTo keeps the starts of the later task that some end of the earlier one allows.
func (p *propagator) reviseTo(s *state, l link) bool {
	var allowed set
	unit := max(p.problem.StepMinutes, 1)
	for m := p.first[l.from]; m < p.first[l.from+1]; m++ {
		if !p.alive(s, m) {
			continue
		}
		at := p.origin(l, m)
		ends := s.starts[at.block]
		p.meter.spend(len(ends.spans) + len(allowed.spans))
		by := shift{at.offset + l.lo, at.offset + l.hi, p.blocks[at.block].unit, unit}
		allowed = union(allowed, shifted(ends, by, span{0, p.horizon}))
	}
	for m := p.first[l.to]; m < p.first[l.to+1]; m++ {
		p.keep(s, m, p.modes[m].firstBlock, allowed)
	}
	return p.anyAlive(s, l.to)
}

// reviseFrom keeps the ends of the earlier task that some start of the later one allows.
func (p *propagator) reviseFrom(s *state, l link) bool {
	var starts set
	unit := max(p.problem.StepMinutes, 1)
	for m := p.first[l.to]; m < p.first[l.to+1]; m++ {
		if p.alive(s, m) {
			p.meter.spend(len(starts.spans))
			starts = union(starts, s.starts[p.modes[m].firstBlock])
		}
	}
	for m := p.first[l.from]; m < p.first[l.from+1]; m++ {
		if !p.alive(s, m) {
			continue
		}
		at := p.origin(l, m)
		by := shift{-at.offset - l.hi, -at.offset - l.lo, unit, p.blocks[at.block].unit}
		p.meter.spend(len(starts.spans))
		p.keep(s, m, at.block, shifted(starts, by, span{0, p.horizon}))
	}
	return p.anyAlive(s, l.from)
}

// keep cuts a block's starts down to those allowed and queues its task if that takes something away.
func (p *propagator) keep(s *state, m, block int, allowed set) {
	p.meter.spend(len(s.starts[block].spans))
	kept := intersect(s.starts[block], allowed)
	if kept.same(s.starts[block]) {
		return
	}
	s.starts[block] = kept
	if kept.empty() {
		p.drop(s, m)
	}
	p.enqueue(p.modes[m].task)
}

// anyAlive says whether a mode is left to the task, or none is needed.
func (p *propagator) anyAlive(s *state, task int) bool { return p.optional[task] || p.living(s, task) }

func (p *propagator) living(s *state, task int) bool {
	for m := p.first[task]; m < p.first[task+1]; m++ {
		if p.alive(s, m) {
			return true
		}
	}
	return false
}

// endless says whether lags and durations demand of some task that it starts after itself. Propagation would find
// the same, but only after moving every start to the horizon in small steps.
func (p *propagator) endless(s *state) bool {
	tasks := len(p.problem.Tasks)
	latest := make([]int, 3*tasks) // each task's start, when it is ready and its end
	start, ready, end := 0, tasks, 2*tasks
	raised := true
	raise := func(to, minute int) {
		if minute > latest[to] {
			latest[to], raised = minute, true
		}
	}
	apart := func(from, to int, minutes span) {
		raise(to, latest[from]+minutes.lo)
		raise(from, latest[to]-minutes.hi)
	}
	for round := 0; raised && round <= 3*tasks; round++ {
		raised = false
		for task := range tasks {
			if !p.living(s, task) {
				continue
			}
			beforeTail, tail := p.lengths(s, task)
			apart(start+task, ready+task, beforeTail)
			apart(ready+task, end+task, tail)
		}
		for _, l := range p.lags {
			from := ready + l.from
			if l.fromStart {
				from = start + l.from
			}
			if !p.optional[l.from] && !p.optional[l.to] {
				apart(from, start+l.to, span{l.lo, l.hi})
			}
		}
		if !p.meter.spend(tasks + len(p.lags)) {
			return false
		}
	}
	return raised
}

// lengths is from the least to the most minutes of the task before its tail and in its tail, over the modes left.
func (p *propagator) lengths(s *state, task int) (beforeTail, tail span) {
	beforeTail, tail = span{far, 0}, span{far, 0}
	for m := p.first[task]; m < p.first[task+1]; m++ {
		if p.alive(s, m) {
			mode := &p.modes[m]
			beforeTail.lo = min(beforeTail.lo, mode.least-mode.tail)
			beforeTail.hi = max(beforeTail.hi, mode.most-mode.tail)
			tail = span{min(tail.lo, mode.tail), max(tail.hi, mode.tail)}
		}
	}
	return beforeTail, tail
}

// earliest is the least start and the least end of a task that the state leaves.
func (p *propagator) earliest(s *state, task int) (start, end int) {
	start, end = far, far
	for m := p.first[task]; m < p.first[task+1]; m++ {
		if p.alive(s, m) {
			start = min(start, p.startOf(s, m))
			end = min(end, p.endOf(s, m))
		}
	}
	return start, end
}

func (p *propagator) startOf(s *state, m int) int {
	k := p.modes[m].firstBlock
	return s.starts[k].lo * p.blocks[k].unit
}

func (p *propagator) endOf(s *state, m int) int {
	k := p.modes[m].lastBlock
	return s.starts[k].lo*p.blocks[k].unit + p.blocks[k].minutes
}
