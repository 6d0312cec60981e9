package scheduler

import (
	"cmp"
	"slices"

	"saggar/scheduler/engine"
)

// constructor builds plans of rigid tasks of one mode that follow each other and share capacities, without search: serial
// generation with sampled priorities (Kolisch 1996), each plan moved right and left again as long as it gains (Li and Willis
// 1992). It serves to begin with a good solution.
type constructor struct {
	o          *optimiser
	minutes    []int
	needs      [][]need
	capacities []int
	used       [][]int // by capacity, by minute
	after      [][]apart
	before     [][]apart
	release    []int
	tail       []int // by task: the longest way from its start to the end of all
	order      []int // each task after those that it follows
	horizon    int
	kept       []constructed // the shortest first
}

// constructed is a plan as starts, its tasks in order of start, and when it ends.
type constructed struct {
	starts, order []int
	length        int
}

// need is an amount of a capacity; unaries come after cumulatives and are of one.
type need struct{ capacity, amount int }

// apart is the other task of a lag, and how much after the start of the one the other's is at least.
type apart struct{ task, minutes int }

// The most that construction looks at, and how many plans it draws.
const (
	mostConstructed  = 50_000
	constructedPlans = 300
	mostFilled       = 1_000_000 // minutes in all plans made in one go
)

// newConstructor is nil where the problem has more to it than the constructor knows.
func newConstructor(o *optimiser) *constructor {
	p := o.problem
	c := &constructor{o: o}
	if len(p.Crews)+len(p.Budgets)+len(p.Separations) > 0 || p.StepMinutes > 1 || len(p.Tasks) < 3 {
		return nil
	}
	for i := range p.Tasks {
		if !c.addTask(i) {
			return nil
		}
	}
	if c.horizon > mostConstructed || !c.addLags() || !c.sortTasks() {
		return nil
	}
	for k, cumulative := range p.Cumulatives {
		if len(o.res.levels[k]) > 1 {
			return nil
		}
		c.capacities = append(c.capacities, cumulative.Capacity)
	}
	for _, unary := range p.Unaries {
		if len(unary.Busy)+len(unary.Held)+len(unary.SetupMinutes) > 0 {
			return nil
		}
		c.capacities = append(c.capacities, 1)
	}
	for range c.capacities {
		c.used = append(c.used, make([]int, 2*c.horizon+2))
	}
	return c
}

// addTask takes a task as it is; false where it is none of those that the constructor knows.
func (c *constructor) addTask(i int) bool {
	t, x := &c.o.x.tasks[i], c.o.x
	if len(t.modes) != 1 || t.present != engine.True || !t.rigid || c.o.problem.Tasks[i].DeadlineMinute > 0 {
		return false
	}
	mode := &x.model.modes[t.modes[0]]
	source := x.source(stay{i, 0})
	if len(x.state.starts[mode.firstBlock].spans) != 1 || mode.tail > 0 || source.Batch > 0 || mode.least == 0 {
		return false
	}
	var needs []need
	for k := range c.o.problem.Cumulatives {
		for _, p := range mergedParts(mode.parts, k) {
			if p.from.offset != 0 || p.to.offset != mode.least {
				return false
			}
			needs = append(needs, need{k, p.amount})
		}
	}
	if mode.unary >= 0 {
		needs = append(needs, need{len(c.o.problem.Cumulatives) + mode.unary, 1})
	}
	c.needs, c.minutes = append(c.needs, needs), append(c.minutes, mode.least)
	c.release = append(c.release, c.o.problem.Tasks[i].ReleaseMinute)
	c.horizon += mode.least
	return true
}

// addLags takes lags with a least alone, and none that reaches back.
func (c *constructor) addLags() bool {
	n := len(c.minutes)
	c.after, c.before = make([][]apart, n), make([][]apart, n)
	for _, l := range c.o.x.lags {
		minutes := l.lo
		if !l.fromStart {
			minutes += c.minutes[l.from]
		}
		if l.hi < far || minutes < 0 {
			return false
		}
		c.after[l.from] = append(c.after[l.from], apart{l.to, minutes})
		c.before[l.to] = append(c.before[l.to], apart{l.from, minutes})
		c.horizon += max(minutes-c.minutes[l.from], 0)
	}
	return true
}

// sortTasks puts each task after those that it follows, and works out tails; false where lags go in circles.
func (c *constructor) sortTasks() bool {
	n := len(c.minutes)
	left := make([]int, n)
	for i := range n {
		left[i] = len(c.before[i])
		if left[i] == 0 {
			c.order = append(c.order, i)
		}
		c.horizon = max(c.horizon, c.release[i]+c.minutes[i])
	}
	for k := 0; k < len(c.order); k++ {
		for _, next := range c.after[c.order[k]] {
			if left[next.task]--; left[next.task] == 0 {
				c.order = append(c.order, next.task)
			}
		}
	}
	if len(c.order) < n {
		return false
	}
	c.tail = make([]int, n)
	for _, i := range slices.Backward(c.order) {
		c.tail[i] = c.minutes[i]
		for _, next := range c.after[i] {
			c.tail[i] = max(c.tail[i], next.minutes+c.tail[next.task])
		}
	}
	return true
}

// within is how many plans may be made of so many wanted: fewer where one takes long, by the minutes that it fills.
func (c *constructor) within(wanted int) int {
	minutes := 1
	for i, needs := range c.needs {
		minutes += c.minutes[i] * len(needs)
	}
	return min(wanted, 10+mostFilled/minutes)
}

// drawn is the shortest of the plans that it draws, as starts; it stops at the bound. The better ones are kept to breed from.
func (c *constructor) drawn(bound int) []int {
	for sample := range c.within(constructedPlans) {
		if c.o.stop() || len(c.kept) > 0 && c.kept[0].length <= bound {
			break
		}
		c.add(c.serial(c.keys(sample)))
	}
	if len(c.kept) == 0 {
		return nil
	}
	return c.kept[0].starts
}

// add moves the tasks of a plan and keeps it if it is good enough; it says whether it is the shortest. A plan that was begun
// when the time was over is dropped.
func (c *constructor) add(starts []int) bool {
	return !c.o.meter.stopped && c.keep(c.improved(starts))
}

// keys draws priorities: the longest tail first, with more and more left to chance.
func (c *constructor) keys(sample int) []float64 {
	keys := make([]float64, len(c.tail))
	blur := 0.4 * float64(sample%20) / 20
	for i, tail := range c.tail {
		keys[i] = float64(tail) * (1 + blur*(2*c.o.random.Float64()-1))
	}
	return keys
}

// serial places tasks one after the other, of those that may come next the one of the highest key.
func (c *constructor) serial(keys []float64) []int {
	n := len(c.minutes)
	starts, left := make([]int, n), make([]int, n)
	c.clear()
	var open []int
	for i := range n {
		if left[i] = len(c.before[i]); left[i] == 0 {
			open = append(open, i)
		}
	}
	for len(open) > 0 && !c.o.meter.stopped {
		k := 0
		for j := range open {
			if keys[open[j]] > keys[open[k]] {
				k = j
			}
		}
		i := open[k]
		open = slices.Delete(open, k, k+1)
		starts[i] = c.earliest(i, starts)
		c.take(i, starts[i], 1)
		for _, next := range c.after[i] {
			if left[next.task]--; left[next.task] == 0 {
				open = append(open, next.task)
			}
		}
	}
	return starts
}

func (c *constructor) clear() {
	for _, minutes := range c.used {
		clear(minutes)
	}
}

func (c *constructor) take(i, start, sign int) {
	for _, n := range c.needs[i] {
		for minute := start; minute < start+c.minutes[i]; minute++ {
			c.used[n.capacity][minute] += sign * n.amount
		}
	}
}

// clash is the last minute of a task, were it placed so, at which a capacity does not suffice; -1 where all do.
func (c *constructor) clash(i, start int) int {
	last := -1
	c.o.meter.spend(c.minutes[i] / 2)
	for _, n := range c.needs[i] {
		used, most := c.used[n.capacity], c.capacities[n.capacity]-n.amount
		for minute := start + c.minutes[i] - 1; minute >= start && minute > last; minute-- {
			if used[minute] > most {
				last = minute
				break
			}
		}
	}
	return last
}

// earliest is the first start after all that comes before.
func (c *constructor) earliest(i int, starts []int) int {
	start := c.release[i]
	for _, prior := range c.before[i] {
		start = max(start, starts[prior.task]+prior.minutes)
	}
	for {
		last := c.clash(i, start)
		if last < 0 {
			return start
		}
		start = last + 1
	}
}

// latest is the last start before all that comes after; -1 where there is none after the release.
func (c *constructor) latest(i int, starts []int, end int) int {
	start := end - c.minutes[i]
	for _, next := range c.after[i] {
		start = min(start, starts[next.task]-next.minutes)
	}
	for start >= c.release[i] && c.clash(i, start) >= 0 {
		start--
	}
	if start < c.release[i] {
		return -1
	}
	return start
}

func (c *constructor) length(starts []int) int {
	end := 0
	for i, start := range starts {
		end = max(end, start+c.minutes[i])
	}
	return end
}

// improved moves all tasks as far right as they go, the latest end first, and back left, the earliest start first, as long
// as the plan becomes shorter and there is time.
func (c *constructor) improved(starts []int) constructed {
	length := c.length(starts)
	for {
		moved := slices.Clone(starts)
		for _, i := range c.sorted(func(i int) int { return -moved[i] - c.minutes[i] }) {
			if c.o.meter.stopped {
				break
			}
			c.take(i, moved[i], -1)
			if at := c.latest(i, moved, length); at >= 0 {
				moved[i] = at
			}
			c.take(i, moved[i], 1)
		}
		for _, i := range c.sorted(func(i int) int { return moved[i] }) {
			if c.o.meter.stopped {
				break
			}
			c.take(i, moved[i], -1)
			moved[i] = c.earliest(i, moved)
			c.take(i, moved[i], 1)
		}
		shorter := c.length(moved)
		if shorter >= length || c.o.meter.stopped {
			return constructed{starts, c.sorted(func(i int) int { return starts[i] }), length}
		}
		starts, length = moved, shorter
	}
}

func (c *constructor) sorted(key func(i int) int) []int {
	order := slices.Clone(c.order)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(key(a), key(b)) })
	return order
}

// begin hands the best plan that can be constructed to the engine.
func (d *descent) begin() {
	if d.built = newConstructor(d.optimiser); d.built != nil {
		starts := d.built.drawn(d.at.Bound)
		if !d.known || len(d.built.kept) > 0 && d.built.kept[0].length < d.at.Value {
			d.accept(starts)
		}
	}
}

// accept hands a constructed plan to the engine, which takes it as a solution if it is one.
func (d *descent) accept(starts []int) {
	var held []engine.Lit
	for i, start := range starts {
		if at := d.x.tasks[i].blocks[0]; at.View != 0 {
			held = append(held, at.AtLeast(start), at.AtMost(start))
		}
	}
	if d.x.solver.Search(d.branch, engine.Strategy{Hold: held}, d.limits(firstSlice)) == engine.Solved {
		d.record()
	}
}
