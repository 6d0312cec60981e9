package scheduler

import (
	"slices"

	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// mostOrders is how many pairs of tasks on one unary may have a variable each for which goes first. With more, the order
// follows from the starts alone.
const mostOrders = 20_000

// encoding is a model as variables and constraints of the engine.
type encoding struct {
	*model
	state   *state
	solver  *engine.Solver
	meter   *meter
	tasks   []taskTerms
	orders  map[[2]int]engine.Lit // by pair of tasks, the lower index first: it goes first
	idle    map[engine.View]bool  // variables that need not be settled
	joins   map[pairOf]engine.Lit
	leaders map[stay]engine.Lit
	follow  map[distance]engine.Lit
	rivals  [][]int       // by task: those that separations keep it from
	roomy   bool          // some task has a wait: runs are better placed one after the other
	hurry   []engine.Term // what is left to settle once modes and starts are, least first
}

// taskTerms is one task as the engine knows it. Modes and lits are those that the closure has left, in one order.
type taskTerms struct {
	present    engine.Lit
	modes      []int // into model.modes
	lits       []engine.Lit
	blocks     []engine.Term // the starts of blocks, which all modes share
	minutes    engine.Term   // of a task whose modes are all rigid
	rigid      bool
	ready, end engine.Term
	last       int // latest end
}

// encode states the model, with the starts that the state has left. Once the meter has stopped it leaves out the rest, and
// nobody may use it then.
func encode(m *model, st *state, meter *meter) *encoding {
	x := &encoding{model: m, state: st, solver: engine.New(), meter: meter, orders: map[[2]int]engine.Lit{}, idle: map[engine.View]bool{},
		joins: map[pairOf]engine.Lit{}, leaders: map[stay]engine.Lit{}, follow: map[distance]engine.Lit{}}
	for task := range m.problem.Tasks {
		x.tasks = append(x.tasks, x.task(task))
		if !meter.spend(workPerStatement * len(x.tasks[task].modes)) {
			return x
		}
	}
	for _, l := range m.lags {
		meter.spend(workPerStatement / 8)
		x.lag(l)
	}
	x.rivals = make([][]int, len(x.tasks))
	x.separations()
	x.unaries()
	if meter.look() {
		return x
	}
	for c := range m.problem.Cumulatives {
		if meter.spend(16*len(x.tasks)) && !m.skip[group{KindCumulative, c}] {
			x.cumulative(c)
		}
	}
	for b := range m.problem.Budgets {
		if !m.skip[group{KindBudget, b}] {
			x.budget(b)
		}
	}
	for c := range m.problem.Crews {
		if meter.spend(16*len(x.tasks)) && !m.skip[group{KindCrew, c}] {
			x.crew(c)
		}
	}
	return x
}

// variable is a term from lo to hi.
func (x *encoding) variable(lo, hi int) engine.Term {
	if lo == hi {
		return engine.Constant(lo)
	}
	return engine.Term{View: x.solver.NewVar(lo, hi)}
}

// either is a new statement that may or may not hold.
func (x *encoding) either() engine.Lit { return x.solver.NewBool() }

func (x *encoding) task(task int) taskTerms {
	t := taskTerms{present: engine.True}
	for m := x.first[task]; m < x.first[task+1]; m++ {
		if !x.state.starts[x.model.modes[m].firstBlock].empty() {
			t.modes = append(t.modes, m)
		}
	}
	if x.optional[task] {
		if len(t.modes) == 0 {
			t.present = engine.False
			return t
		}
		t.present = x.either()
	}
	x.chooseOne(&t)
	x.startVariables(&t)
	x.chains(&t)
	x.endVariables(&t)
	return t
}

// chooseOne has one mode taken if the task is present.
func (x *encoding) chooseOne(t *taskTerms) {
	if len(t.modes) == 1 {
		t.lits = []engine.Lit{t.present}
		return
	}
	one := []engine.Lit{t.present.Not()}
	for i := range t.modes {
		lit := x.either()
		for _, other := range t.lits {
			x.solver.AddClause(lit.Not(), other.Not())
		}
		x.solver.AddClause(lit.Not(), t.present)
		t.lits = append(t.lits, lit)
		one = append(one, t.lits[i])
	}
	x.solver.AddClause(one...)
}

// window is the least and the greatest start of a block, in minutes.
func (x *encoding) window(block int) (lo, hi int) {
	b := &x.blocks[block]
	return x.state.starts[block].lo * b.unit, x.state.starts[block].hi * b.unit
}

// startVariables makes the starts of blocks. All modes share them; a mode with fewer blocks ties the rest to its last.
func (x *encoding) startVariables(t *taskTerms) {
	count := 0
	for _, m := range t.modes {
		count = max(count, x.blockCount(m))
	}
	t.last = 0
	for k := range count {
		lo, hi := far, 0
		for _, m := range t.modes {
			from, to := x.window(x.model.modes[m].firstBlock + min(k, x.blockCount(m)-1))
			lo, hi = min(lo, from), max(hi, to)
		}
		t.blocks = append(t.blocks, x.variable(lo, hi))
	}
	for i, m := range t.modes {
		n := x.blockCount(m)
		for k := n; k < count; k++ {
			x.same(t.blocks[n-1], t.blocks[k], 0, t.lits[i])
		}
	}
}

func (x *encoding) blockCount(m int) int {
	mode := &x.model.modes[m]
	return mode.lastBlock - mode.firstBlock + 1
}

// same states b = a + apart where the condition holds.
func (x *encoding) same(a, b engine.Term, apart int, cond engine.Lit) {
	x.solver.AddDifference(a, b, apart, cond)
	x.solver.AddDifference(b, a, -apart, cond)
}

// chains holds the blocks of each mode in their order and where they may be.
func (x *encoding) chains(t *taskTerms) {
	plain := true
	var ways []engine.Alternative
	for i, m := range t.modes {
		way := engine.Alternative{Present: t.lits[i]}
		mode := &x.model.modes[m]
		for k := mode.firstBlock; k <= mode.lastBlock; k++ {
			b, start := &x.blocks[k], t.blocks[k-mode.firstBlock]
			starts := x.state.starts[k]
			way.Blocks = append(way.Blocks, engine.Block{
				Start: start, Allowed: engine.Allowed{Spans: spansOf(starts), Unit: b.unit},
				Minutes: b.minutes, WaitMin: b.waitMin, WaitMax: b.waitMax, Within: spansOf(b.waitWithin),
			})
			plain = plain && len(starts.spans) == 1 && (b.unit == 1 || starts.lo == starts.hi)
			lo, hi := x.window(k)
			x.solver.AddClause(t.lits[i].Not(), start.AtLeast(lo))
			x.solver.AddClause(t.lits[i].Not(), start.AtMost(hi))
			if k < mode.lastBlock {
				plain = false
				x.solver.AddDifference(start, t.blocks[k+1-mode.firstBlock], b.minutes+b.waitMin, t.lits[i])
				x.solver.AddDifference(t.blocks[k+1-mode.firstBlock], start, -b.minutes-b.waitMax, t.lits[i])
			}
		}
		ways = append(ways, way)
	}
	if !plain {
		x.solver.AddAlternatives(t.present, ways)
	}
}

func spansOf(s set) []engine.Span {
	spans := make([]engine.Span, len(s.spans))
	for i := range s.spans {
		spans[i] = engine.Span{Lo: s.at(i).lo, Hi: s.at(i).hi}
	}
	return spans
}

// endVariables makes the moments at which the task is ready and at which it ends.
func (x *encoding) endVariables(t *taskTerms) {
	t.rigid = len(t.blocks) == 1
	x.roomy = x.roomy || !t.rigid
	var whole, tails []int
	for _, m := range t.modes {
		mode := &x.model.modes[m]
		whole = append(whole, x.blocks[mode.lastBlock].minutes)
		tails = append(tails, mode.tail)
		_, hi := x.window(mode.lastBlock)
		t.last = max(t.last, hi+x.blocks[mode.lastBlock].minutes)
	}
	last := t.blocks[len(t.blocks)-1]
	t.minutes = x.chosen(t, whole)
	t.end = x.sum(last, t.minutes)
	if slices.Max(tails) == 0 {
		t.ready = t.end
		return
	}
	for i := range whole {
		whole[i] -= tails[i]
	}
	t.ready = x.sum(last, x.chosen(t, whole))
}

// chosen is the value of the mode that is taken, of one value for each mode left.
func (x *encoding) chosen(t *taskTerms, values []int) engine.Term {
	lo, hi := slices.Min(values), slices.Max(values)
	if lo == hi {
		return engine.Constant(lo)
	}
	v := x.variable(lo, hi)
	sorted := slices.Compact(slices.Sorted(slices.Values(values)))
	for i, lit := range t.lits {
		x.solver.AddClause(lit.Not(), v.AtLeast(values[i]))
		x.solver.AddClause(lit.Not(), v.AtMost(values[i]))
	}
	for k := 0; k+1 < len(sorted); k++ {
		above := []engine.Lit{v.AtLeast(sorted[k+1]), t.present.Not()}
		below := []engine.Lit{v.AtMost(sorted[k]), t.present.Not()}
		for i, lit := range t.lits {
			if values[i] <= sorted[k] {
				above = append(above, lit)
			} else {
				below = append(below, lit)
			}
		}
		x.solver.AddClause(above...)
		x.solver.AddClause(below...)
		x.solver.AddClause(v.AtMost(sorted[k]), v.AtLeast(sorted[k+1]))
	}
	return v
}

// sum is a term that equals a + b.
func (x *encoding) sum(a, b engine.Term) engine.Term {
	if b.View == 0 {
		return a.Plus(b.Off)
	}
	if a.View == 0 {
		return b.Plus(a.Off)
	}
	s := x.solver
	end := x.variable(s.MinOf(a)+s.MinOf(b), s.MaxOf(a)+s.MaxOf(b))
	s.AddLinear([]engine.Scaled{{Factor: 1, View: a.View}, {Factor: 1, View: b.View}, {Factor: -1, View: end.View}}, -a.Off-b.Off)
	s.AddLinear([]engine.Scaled{{Factor: -1, View: a.View}, {Factor: -1, View: b.View}, {Factor: 1, View: end.View}}, a.Off+b.Off)
	return end
}

// lag states a difference between two tasks that are present.
func (x *encoding) lag(l link) {
	from, to := &x.tasks[l.from], &x.tasks[l.to]
	if len(from.modes) == 0 || len(to.modes) == 0 {
		return
	}
	counted := from.ready
	if l.fromStart {
		counted = from.blocks[0]
	}
	if l.lo > -far {
		x.solver.AddDifference(counted, to.blocks[0], l.lo, from.present, to.present)
	}
	if l.hi < far {
		x.solver.AddDifference(to.blocks[0], counted, -l.hi, from.present, to.present)
	}
}

// point is a moment of a mode of a task.
func (x *encoding) point(t *taskTerms, m int, at point) engine.Term {
	return t.blocks[at.block-x.model.modes[m].firstBlock].Plus(at.offset)
}

// endOfMode is the end of one mode.
func (x *encoding) endOfMode(t *taskTerms, m int) engine.Term {
	last := x.model.modes[m].lastBlock
	return x.point(t, m, point{last, x.blocks[last].minutes})
}

// placement reads where the engine has put a task.
func (x *encoding) placement(task int) plan.Placement {
	t := &x.tasks[task]
	s := x.solver
	if !s.Holds(t.present) {
		return plan.Placement{Task: task, Mode: -1}
	}
	taken := slices.IndexFunc(t.lits, s.Holds)
	mode := &x.model.modes[t.modes[taken]]
	source := x.problem.Tasks[task].Modes[mode.index]
	at := s.MinOf(t.blocks[0])
	placed := plan.Placement{Task: task, Mode: mode.index, StartMinute: at}
	add := func(until int) {
		placed.Phases = append(placed.Phases, plan.Interval{Start: at, End: until})
		at = until
	}
	index := 0
	for k := mode.firstBlock; k <= mode.lastBlock; k++ {
		for range x.blocks[k].phases {
			add(at + source.Phases[index].Minutes)
			index++
		}
		if k < mode.lastBlock {
			add(s.MinOf(t.blocks[k+1-mode.firstBlock]))
			index++
		}
	}
	return placed
}

// solution reads the whole plan.
func (x *encoding) solution() plan.Solution {
	var found plan.Solution
	for task := range x.tasks {
		found.Tasks = append(found.Tasks, x.placement(task))
	}
	return found
}
