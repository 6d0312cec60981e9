package scheduler

import (
	"slices"

	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// group is a set of constraints that is relaxed or blamed as one.
type group struct {
	kind  Kind
	index int
}

// relaxed is the groups that a model leaves out.
type relaxed map[group]bool

// pin holds a task to one mode and to starts in a window; -1 as mode leaves all.
type pin struct {
	mode   int
	starts span
}

// model is a problem in the form that is searched. A mode is a chain of blocks: phases of fixed length run together into
// one block, and an elastic phase is the wait between two blocks. The only variables are the modes and the blocks' starts.
type model struct {
	problem  *plan.Problem
	res      *resources
	horizon  int
	skip     relaxed
	modes    []mode
	optional []bool // by task
	first    []int  // task -> its first index in modes; one more at the end
	blocks   []block
	lags     []link
	lagsOf   [][]int // task -> indices into lags
	alone    []bool  // unary -> tasks exclude each other on it
}

// mode is one mode of one task. Its blocks are blocks[firstBlock:lastBlock+1].
type mode struct {
	task, index           int // index: among the task's modes
	unary                 int // -1: none
	firstBlock, lastBlock int
	least, most           int // minutes in all
	tail                  int // minutes of the last block that do not count for lags
	parts                 []part
}

// block is a run of phases of fixed length, then, unless it is its mode's last, an elastic wait.
type block struct {
	minutes          int
	unit             int // starts are multiples of it: the problem's step for a mode's first block, else 1
	starts           set // allowed by all that is fixed, in units
	waitMin, waitMax int
	waitWithin       set // where the wait may lie, as closed ranges of its boundaries
	phases           int // how many it has
}

// point is a moment that moves with a block's start.
type point struct{ block, offset int }

// part is the stretch of a mode in which it takes an amount of a cumulative.
type part struct {
	demandOn
	from, to point
}

// link is a difference bound: lo <= start(to) - ready(from) <= hi, or start(from) in place of ready(from); hi at far means
// no most.
type link struct {
	from, to, lo, hi int
	fromStart        bool // counts from the start of from
}

// builder makes a model.
type builder struct {
	*model
	pins  []pin // by task; nil: none
	meter *meter
}

// buildModel makes the model without the groups to skip. Once the meter has stopped it leaves out the rest: a task without
// modes, from which nobody may conclude anything then.
func buildModel(res *resources, skip relaxed, pins []pin, m *meter) *model {
	p := res.problem
	b := &builder{model: &model{problem: p, res: res, horizon: p.HorizonMinutes, skip: skip}, pins: pins, meter: m}
	if skip[group{kind: KindHorizon}] {
		b.horizon = latestUseful(p)
	}
	for u := range p.Unaries {
		b.alone = append(b.alone, !skip[group{KindShared, u}])
	}
	for task := range p.Tasks {
		b.first = append(b.first, len(b.modes))
		b.optional = append(b.optional, p.Tasks[task].Optional)
		for index := range p.Tasks[task].Modes {
			wanted := b.pins == nil || b.pins[task].mode < 0 || b.pins[task].mode == index
			if wanted && !m.stopped {
				b.addMode(task, index)
			}
		}
	}
	b.first = append(b.first, len(b.modes))
	b.addLags()
	return b.model
}

// lastEnd is when the last of some intervals ends, those left out that have no end; 0 for none.
func lastEnd(intervals []plan.Interval) int {
	last := 0
	for _, interval := range intervals {
		if interval.End < plan.MaxMinute {
			last = max(last, interval.End)
		}
	}
	return last
}

// latestUseful is a minute by which everything could be done if anything can: after all that is listed, one task after
// another.
func latestUseful(p *plan.Problem) int {
	last := p.HorizonMinutes
	extend := func(intervals []plan.Interval) { last = max(last, lastEnd(intervals)) }
	setup := 0
	for _, unary := range p.Unaries {
		extend(unary.Busy)
		for _, held := range unary.Held {
			last = max(last, held.End)
		}
		for _, row := range unary.SetupMinutes {
			setup = max(setup, slices.Max(row))
		}
	}
	for _, crew := range p.Crews {
		for _, post := range crew.Posted {
			last = max(last, post.End)
		}
	}
	for _, calendar := range p.Calendars {
		extend(calendar.Open)
	}
	for _, cumulative := range p.Cumulatives {
		for _, step := range cumulative.Used {
			last = max(last, step.End)
		}
	}
	length := max(p.StepMinutes, 1)
	for _, task := range p.Tasks {
		last = max(last, task.ReleaseMinute)
		longest := 0
		for _, mode := range task.Modes {
			extend(mode.ForbiddenStarts)
			minutes := max(p.StepMinutes, 1)
			for _, phase := range mode.Phases {
				minutes += phase.LongestMinutes()
			}
			longest = max(longest, minutes)
		}
		length += longest + setup
	}
	apart := 0
	for _, s := range p.Separations {
		apart = max(apart, s.ToMinutes, -s.FromMinutes)
	}
	length += apart * len(p.Tasks)
	for _, lag := range p.Lags {
		length += max(lag.MinMinutes, -lag.MinMinutes) + max(lag.MaxMinutes, 0)
	}
	return min(last+length+setup, engine.MaxBound/4)
}

func (b *builder) addMode(task, index int) {
	source := b.problem.Tasks[task].Modes[index]
	m := mode{task: task, index: index, unary: source.Unary, firstBlock: len(b.blocks)}
	for _, phase := range source.Phases {
		m.least += phase.Minutes
		m.most += phase.LongestMinutes()
	}
	for _, phase := range source.Phases[len(source.Phases)-source.TailPhases:] {
		m.tail += phase.Minutes
	}
	window := b.startWindow(m)
	b.openBlock(b.unit())
	for _, phase := range source.Phases {
		from := b.now()
		last := &b.blocks[len(b.blocks)-1]
		if phase.LongestMinutes() > phase.Minutes {
			last.waitMin, last.waitMax = phase.Minutes, phase.LongestMinutes()
			last.waitWithin = b.waitWithin(source, phase, span{window.lo, window.hi + m.most})
			b.openBlock(1)
		} else {
			last.minutes += phase.Minutes
			last.phases++
		}
		for _, demand := range b.demands(phase) {
			m.parts = append(m.parts, part{demandOn: demand, from: from, to: b.now()})
		}
	}
	m.lastBlock = len(b.blocks) - 1
	b.limitStarts(m, source, window)
	b.modes = append(b.modes, m)
}

func (b *builder) unit() int { return max(b.problem.StepMinutes, 1) }

func (b *builder) openBlock(unit int) { b.blocks = append(b.blocks, block{unit: unit}) }

// now is the end of what has been added to the last block.
func (b *builder) now() point { return point{len(b.blocks) - 1, b.blocks[len(b.blocks)-1].minutes} }

// demands adds up the phase's demands by cumulative, leaving out what is relaxed or nothing.
func (b *builder) demands(phase plan.Phase) []demandOn {
	var sums []demandOn
next:
	for _, demand := range phase.Demands {
		if demand.Amount == 0 || b.skip[group{KindCumulative, demand.Cumulative}] {
			continue
		}
		for i := range sums {
			if sums[i].cumulative == demand.Cumulative {
				sums[i].amount += demand.Amount
				continue next
			}
		}
		sums = append(sums, demandOn{demand.Cumulative, demand.Amount})
	}
	return sums
}

// minutesFor is the minutes at which the phase may run as far as its calendar and its demands go, each as one set.
func (b *builder) minutesFor(phase plan.Phase) []set {
	var sets []set
	if phase.Calendar >= 0 && !b.skip[group{KindCalendar, phase.Calendar}] {
		sets = append(sets, b.res.open[phase.Calendar])
	}
	for _, demand := range b.demands(phase) {
		sets = append(sets, b.res.roomFor(demand, b.meter))
	}
	return sets
}

// freeOf is the minutes at which the mode's unary is free for its family.
func (b *builder) freeOf(mode plan.Mode) set {
	if mode.Unary < 0 || b.skip[group{KindBusy, mode.Unary}] {
		return always
	}
	return b.res.freeFor(mode.Unary, mode.Family)
}

// latestEnd is the horizon, or the task's deadline if that is earlier.
func (b *builder) latestEnd(task int) int {
	if deadline := b.problem.Tasks[task].DeadlineMinute; deadline > 0 && !b.skip[group{KindDeadline, task}] {
		return min(b.horizon, deadline)
	}
	return b.horizon
}

// waitWithin is where an elastic phase may lie, as closed ranges of its boundaries: minute 5 to 9 is from 5 to 10.
func (b *builder) waitWithin(mode plan.Mode, phase plan.Phase, window span) set {
	minutes := b.freeOf(mode).between(window.lo, min(window.hi, b.horizon))
	for _, other := range b.minutesFor(phase) {
		other = other.between(minutes.lo, minutes.hi)
		b.meter.spend(len(minutes.spans) + len(other.spans))
		minutes = intersect(minutes, other)
	}
	ranges := make([]span, 0, len(minutes.spans))
	for i := range minutes.spans {
		ranges = append(ranges, span{minutes.at(i).lo, minutes.at(i).hi + 1})
	}
	return newSet(ranges)
}

// limitStarts works out, for each block of the mode, the starts that fixed things allow.
func (b *builder) limitStarts(m mode, source plan.Mode, window span) {
	index := 0
	clip := window // moves along the blocks
	free, last := b.freeOf(source), b.latestEnd(m.task)
	for k := m.firstBlock; k <= m.lastBlock; k++ {
		block := &b.blocks[k]
		clip.hi = min(clip.hi, last-block.minutes)
		block.starts = single(ceilDiv(clip.lo, block.unit), floorDiv(clip.hi, block.unit))
		if block.minutes > 0 {
			b.keepStarts(block, clip, startsWithin{free, 0, block.minutes})
		}
		offset := 0
		for range block.phases {
			phase := source.Phases[index]
			if phase.Minutes > 0 {
				for _, minutes := range b.minutesFor(phase) {
					b.keepStarts(block, clip, startsWithin{minutes, offset, phase.Minutes})
				}
			}
			offset += phase.Minutes
			index++
		}
		index++ // the wait
		clip = span{clip.lo + block.minutes + block.waitMin, clip.hi + block.minutes + block.waitMax}
	}
	if !b.skip[group{KindForbidden, m.task}] {
		b.forbid(&b.blocks[m.firstBlock], source.ForbiddenStarts)
	}
}

// startWindow is the range of the mode's starts by release, pin, horizon and what its blocks take at least.
func (b *builder) startWindow(m mode) span {
	window := span{0, b.latestEnd(m.task) - m.least}
	if !b.skip[group{KindRelease, m.task}] {
		window.lo = b.problem.Tasks[m.task].ReleaseMinute
	}
	if b.pins != nil {
		window.lo = max(window.lo, b.pins[m.task].starts.lo)
		window.hi = min(window.hi, b.pins[m.task].starts.hi)
	}
	return window
}

// startsWithin is the starts of a block for which the minutes from offset on, so many, all lie in one span.
type startsWithin struct {
	minutes        set
	offset, length int
}

func (b *builder) keepStarts(block *block, clip span, keep startsWithin) {
	minutes := keep.minutes.between(clip.lo+keep.offset, clip.hi+keep.offset+keep.length)
	b.meter.spend(len(minutes.spans) + len(block.starts.spans))
	starts := make([]span, 0, len(minutes.spans))
	for i := range minutes.spans {
		sp := minutes.at(i)
		starts = appendSpan(starts, ceilDiv(sp.lo-keep.offset, block.unit),
			floorDiv(sp.hi+1-keep.length-keep.offset, block.unit))
	}
	block.starts = intersect(block.starts, newSet(starts))
}

func (b *builder) forbid(block *block, forbidden []plan.Interval) {
	if len(forbidden) == 0 {
		return
	}
	b.meter.spend(len(forbidden) + len(block.starts.spans))
	allowed := complement(sortedMinutes(forbidden))
	block.starts = intersect(block.starts, shifted(allowed, shift{0, 0, 1, block.unit}, span{0, far}))
}

func (b *builder) addLags() {
	b.lagsOf = make([][]int, len(b.problem.Tasks))
	for i, lag := range b.problem.Lags {
		l := link{from: lag.From, to: lag.To, lo: -far, hi: far, fromStart: lag.FromStart}
		if !b.skip[group{KindLagMinimum, i}] {
			l.lo = lag.MinMinutes
		}
		if lag.MaxMinutes >= 0 && !b.skip[group{KindLagMaximum, i}] {
			l.hi = lag.MaxMinutes
		}
		if l.lo == -far && l.hi == far {
			continue
		}
		if !b.optional[l.from] && !b.optional[l.to] {
			b.lagsOf[l.from] = append(b.lagsOf[l.from], len(b.lags))
			b.lagsOf[l.to] = append(b.lagsOf[l.to], len(b.lags))
		}
		b.lags = append(b.lags, l)
	}
}
