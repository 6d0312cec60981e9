package scheduler

import (
	"math/rand/v2"

	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// optimiser makes the objectives of one encoding least, one after the other.
type optimiser struct {
	*run
	meter      *meter // its own: run's is another thread's
	member     int    // in the team
	goal       engine.Term
	board      *board
	x          *encoding
	branch     *brancher
	ranks      []int   // for branching run by run
	groups     []int   // by task: what lags tie together
	members    [][]int // by group: its tasks; none for numbers that are no group
	random     *rand.Rand
	best       plan.Solution
	bestValues []int // of the engine's variables
	found      bool
	round      int
	size       int // about how many tasks a neighbourhood frees
	patience   int // conflicts after which the search gives up where it has no solution; 0: none
}

// Conflicts in one go: while there is no solution yet, by the round; on improving; in one neighbourhood; on the bound.
const (
	firstSlice   = 100
	improveSlice = 1000
	nearSlice    = 150
	boundSlice   = 300
	restartUnit  = 100
)

func newOptimiser(r *run, x *encoding, member int) *optimiser {
	o := &optimiser{
		run: r, meter: newMeter(r.meter.ctx), member: member, x: x, branch: &brancher{x: x}, size: 8,
		random: rand.New(rand.NewPCG(r.options.Seed, uint64(member)+1)),
	}
	x.meter = o.meter
	o.ranks, o.groups = x.byRun()
	o.members = make([][]int, len(o.groups))
	for i, g := range o.groups {
		o.members[g] = append(o.members[g], i)
	}
	return o
}

func (o *optimiser) met() int { return o.x.solver.Stats().Conflicts }

// spent is the conflicts of this and all earlier searches of the call.
func (o *optimiser) spent() int { return o.run.conflicts + o.met() }

// stop says whether the time is over, or another member has settled the question.
func (o *optimiser) stop() bool { return o.meter.look() || o.board != nil && o.board.over.Load() }

// exhausted says whether the time or the conflicts are used up.
func (o *optimiser) exhausted() bool {
	limit := o.options.ConflictLimit
	return o.stop() || limit > 0 && o.spent() >= limit
}

// descent is the search for the least value of one objective.
type descent struct {
	*optimiser
	at     *ObjectiveValue
	last   bool // no objective follows: what is asserted need not be taken back
	known  bool // there is a solution with the value
	built  *constructor
	stride int // by how much a neighbourhood must improve; more while it is easy
}

// minimise finds the least value of an objective together with others: yes when it is proven, no when there is no solution at
// all. What is found is on the board.
func (o *optimiser) minimise(what plan.Objective, b *board, last bool) answer {
	o.goal, o.board, o.round = o.x.objective(what), b, 0
	if o.stop() {
		return unanswered // and of the objective only a part may be stated
	}
	at := ObjectiveValue{Objective: what, Bound: o.x.solver.MinOf(o.goal)}
	b.raise(o, at.Bound)
	d := descent{optimiser: o, at: &at, last: last, stride: 1}
	b.take(&d)
	if !o.x.solver.Assert(o.goal.AtLeast(at.Bound)) {
		return no
	}
	if o.found {
		d.keep()
	} else {
		d.follow()
		if what == plan.Makespan {
			d.begin()
		}
	}
	for {
		b.take(&d)
		if d.known && at.Value <= at.Bound {
			return yes
		}
		if o.exhausted() || o.patience > 0 && !o.found && o.met() >= o.patience {
			return unanswered
		}
		if answer := d.turn(); answer != unanswered {
			return answer
		}
		o.round++
	}
}

// keep begins with the best solution of the objectives before.
func (d *descent) keep() {
	how := engine.Strategy{Hold: d.hold(make([]bool, len(d.x.tasks)), 0)}
	if d.x.solver.Search(d.branch, how, d.limits(firstSlice)) == engine.Solved {
		d.record()
	}
}

// turn is one slice of search; unanswered when it settles nothing.
func (d *descent) turn() answer {
	if !d.known {
		return d.seek()
	}
	if d.last && !d.x.solver.Assert(d.goal.AtMost(d.at.Value-1)) {
		d.at.Bound = d.at.Value
		return yes
	}
	if answer := d.improve(); answer != unanswered {
		return answer
	}
	if d.built != nil && len(d.x.tasks) >= bredFromSize && len(d.x.problem.Cumulatives) > 0 {
		if starts := d.built.breed(bredInATurn); starts != nil && d.built.kept[0].length < d.at.Value {
			d.accept(starts)
		}
	}
	if (d.round+4*d.member)%8 == 7 {
		d.raise()
	}
	return d.near()
}

// seek looks for a first solution, by time and run by run in turn; once an objective before had one, near that.
func (d *descent) seek() answer {
	how := engine.Strategy{Activity: d.round > 0 || d.found, AlwaysActive: d.found, RestartConflicts: restartUnit, Random: d.random}
	d.branch.rank = nil
	if (d.round%2 == 0) == d.x.roomy {
		d.branch.rank = d.ranks
	}
	return d.search(how, firstSlice<<min(d.round/2, 6))
}

// improve looks for a better solution everywhere.
func (d *descent) improve() answer {
	how := engine.Strategy{Activity: true, AlwaysActive: d.round%4 != 3, RestartConflicts: restartUnit, Random: d.random}
	if d.member > 0 {
		how.RandomShare = 0.02
	}
	if d.x.roomy {
		return d.search(how, improveSlice/10)
	}
	return d.search(how, improveSlice)
}

// near looks for better solutions close to the best, in several neighbourhoods; larger ones where they are soon searched.
func (d *descent) near() answer {
	count := 1 + min(len(d.x.tasks)/16, 10)
	if d.x.roomy {
		count *= 5
	}
	for range count {
		if d.exhausted() || d.at.Value <= d.at.Bound {
			return unanswered
		}
		how := engine.Strategy{Activity: true, RestartConflicts: restartUnit / 2, Random: d.random}
		how.AlwaysActive = !d.x.roomy || d.round%2 == 0
		step := max(min(d.stride, (d.at.Value-d.at.Bound)/20), 1)
		how.Assume, how.Hold = []engine.Lit{d.goal.AtMost(d.at.Value - step)}, d.neighbourhood(d.at.Objective)
		switch d.x.solver.Search(d.branch, how, d.limits(nearSlice)) {
		case engine.Solved:
			d.record()
			d.stride *= 2
		case engine.Exhausted:
			if d.x.solver.Broken() {
				d.at.Bound = d.at.Value
				return yes
			}
			d.size = min(d.size+1, len(d.x.tasks)*3/4)
			d.stride = max(d.stride/2, 1)
		case engine.Stopped:
			d.size = max(d.size-1, 4)
			d.stride = max(d.stride/2, 1)
		}
		d.round++
	}
	return unanswered
}

// raise asks whether the bound itself can be reached, and raises it as long as it cannot (destructive lower bound).
func (d *descent) raise() {
	s := d.x.solver
	for !d.exhausted() && d.at.Bound < d.at.Value {
		how := engine.Strategy{Activity: true, AlwaysActive: true, RestartConflicts: restartUnit, Random: d.random}
		how.Assume = []engine.Lit{d.goal.AtMost(d.at.Bound)}
		switch s.Search(d.branch, how, d.limits(boundSlice)) {
		case engine.Solved:
			d.record()
			return
		case engine.Stopped:
			return
		case engine.Exhausted:
			if s.Broken() {
				return
			}
			d.at.Bound++
			s.Assert(d.goal.AtLeast(d.at.Bound))
			d.board.raise(d.optimiser, d.at.Bound)
		}
	}
}

// search runs one strategy for less than the best value, if there is one.
func (d *descent) search(how engine.Strategy, conflicts int) answer {
	s := d.x.solver
	if d.known && !d.last {
		how.Assume = []engine.Lit{d.goal.AtMost(d.at.Value - 1)}
	}
	switch s.Search(d.branch, how, d.limits(conflicts)) {
	case engine.Solved:
		d.record()
	case engine.Exhausted:
		if !d.known {
			return no
		}
		d.at.Bound = d.at.Value
		return yes
	case engine.Stopped:
		if low := s.MinOf(d.goal); low > d.at.Bound {
			d.at.Bound = low
			if d.known {
				d.at.Bound = min(low, d.at.Value)
			}
			d.board.raise(d.optimiser, d.at.Bound)
		}
	}
	return unanswered
}

// limits are so many conflicts, or what is left of them.
func (o *optimiser) limits(conflicts int) engine.Limits {
	if limit := o.options.ConflictLimit; limit > 0 {
		conflicts = max(min(conflicts, limit-o.spent()), 1)
	}
	return engine.Limits{Stop: o.stop, Conflicts: conflicts}
}

// record keeps the solution at which the solver stands.
func (d *descent) record() {
	s := d.x.solver
	d.best, d.bestValues, d.found, d.known = d.x.solution(), s.Values(), true, true
	d.at.Value = s.MinOf(d.goal)
	s.SetPhases(d.bestValues)
	d.board.offer(d.optimiser, d.at.Value)
}

// ties settles the starts, then the ends, then the modes, each task that must be done after the one before.
func (o *optimiser) ties() bool {
	o.board = nil
	for task := range o.x.tasks {
		if t := &o.x.tasks[task]; !o.x.optional[task] && !o.settle(t.blocks[0], o.best.Tasks[task].StartMinute) {
			return false
		}
	}
	for task := range o.x.tasks {
		if t := &o.x.tasks[task]; !o.x.optional[task] && !o.settle(t.end, o.best.Tasks[task].EndMinute()) {
			return false
		}
	}
	for task := range o.x.tasks {
		if !o.x.optional[task] && !o.settleMode(task) {
			return false
		}
	}
	return true
}

// settle makes a term least and holds it there; false when it was stopped.
func (o *optimiser) settle(goal engine.Term, value int) bool {
	s := o.x.solver
	for {
		if !s.Root(o.stop) || o.exhausted() {
			return false
		}
		if value <= s.MinOf(goal) {
			return s.Assert(goal.AtMost(value))
		}
		how := engine.Strategy{Activity: true, RestartConflicts: restartUnit, Assume: []engine.Lit{goal.AtMost(value - 1)}}
		switch s.Search(o.branch, how, o.limits(improveSlice)) {
		case engine.Solved:
			value = s.MinOf(goal)
			o.best, o.bestValues = o.x.solution(), s.Values()
			s.SetPhases(o.bestValues)
		case engine.Exhausted:
			return s.Assert(goal.AtMost(value)) && s.Assert(goal.AtLeast(value))
		}
	}
}

// settleMode gives the task its first mode with which there still is a solution.
func (o *optimiser) settleMode(task int) bool {
	t := &o.x.tasks[task]
	for way, lit := range t.lits {
		if o.x.model.modes[t.modes[way]].index == o.best.Tasks[task].Mode {
			return o.x.solver.Assert(lit)
		}
		for answered := false; !answered; {
			if o.exhausted() {
				return false
			}
			how := engine.Strategy{Activity: true, RestartConflicts: restartUnit, Assume: []engine.Lit{lit}}
			switch o.x.solver.Search(o.branch, how, o.limits(improveSlice)) {
			case engine.Solved:
				o.best = o.x.solution()
				return o.x.solver.Assert(lit)
			case engine.Exhausted:
				answered = true
			}
		}
	}
	return true
}
