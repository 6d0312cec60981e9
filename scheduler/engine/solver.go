package engine

// Solver holds variables, constraints and the state of the search. It is for one goroutine.
type Solver struct {
	lb    []int   // by view: least value now
	last  []int32 // by view: its latest entry on the trail, or -1
	trail []entry
	// levels are where on the trail each decision stands; arenas how long the arena was then.
	levels, arenas []int32
	head           int
	watches        [][]watch // by the view whose rise makes the watched literal false
	arcs           [][]int32 // by view: differences that begin there
	conds          [][]condition
	diffs          []difference
	wakes          [][]int32 // by view: propagators to wake when it rises
	touches        [][]touch // by view: parts of propagators to note then
	dirty          [][]int32 // by propagator: parts noted since it ran
	undone         int       // how often the trail was shortened
	props          []propagator
	queued         []bool
	queues         [2]queue // propagators to run, the cheap ones first
	urgency        []int8   // by propagator: index into queues
	arena          []Lit    // explanations kept word for word
	conflict       []Lit    // true statements that cannot hold together
	buffer         []Lit
	broken         bool // no solution at all
	clauses        []*clause
	learnt         []*clause
	analysis       analysis
	atoms          atoms
	best           []int  // by variable: value in the solution that phases are saved from; nil: none
	costs          []View // by variable: the view that activity-based branching only lowers; 0: none
	work           int    // counted since the last look at whether to stop
	stop           func() bool
	stopped        bool
	stats          Stats
	onLearn        func([]Lit) // told of every clause learnt; nil outside of tests
}

// Stats counts what the search did.
type Stats struct {
	Conflicts, Decisions, Restarts, Propagations, Learnt int
}

// entry is a bound that has risen, and why.
type entry struct {
	view        View
	level       int32
	bound, prev int
	before      int32 // the view's entry before this one, or -1
	why         reason
}

// reason says why a bound holds: a clause whose first literal it is, or what kind says.
type reason struct {
	clause *clause
	kind   int32 // a propagator's number, or one of those below
	a      int32
	b      int
}

const (
	byDecision  int32 = -1 - iota
	byArc             // a: the difference
	byCondition       // a: the difference that a condition would break, b: the least value of its from
	byWords           // a: where in the arena, b: how many
)

// propagator is a constraint with an algorithm of its own.
type propagator interface {
	// propagate deduces what it can; false after a conflict.
	propagate(s *Solver) bool
	// explain appends statements that were true before trail position at and imply l.
	explain(s *Solver, out []Lit, l Lit, e explanation) []Lit
}

// explanation is what a propagator noted of a deduction, and when on the trail it was made.
type explanation struct {
	a  int
	b  int
	at int32
}

// New is a solver without constraints.
func New() *Solver {
	s := &Solver{}
	s.atoms.init()
	s.NewVar(0, 0)
	return s
}

// NewVar adds a variable from lo to hi and returns its view.
func (s *Solver) NewVar(lo, hi int) View {
	v := View(len(s.lb))
	s.lb = append(s.lb, lo, -hi)
	s.costs = append(s.costs, 0)
	s.last = append(s.last, -1, -1)
	s.watches = append(s.watches, nil, nil)
	s.arcs = append(s.arcs, nil, nil)
	s.conds = append(s.conds, nil, nil)
	s.wakes = append(s.wakes, nil, nil)
	s.touches = append(s.touches, nil, nil)
	s.analysis.grow(len(s.lb))
	if lo > hi {
		s.broken = true
	}
	return v
}

// NewBool adds a variable that is 0 or 1 and returns the statement that it is 1.
func (s *Solver) NewBool() Lit { return AtLeast(s.NewVar(0, 1), 1) }

// Vars is how many variables there are, the constant 0 among them.
func (s *Solver) Vars() int { return len(s.lb) / 2 }

// Min is the least value of a view now, and Max the greatest.
func (s *Solver) Min(v View) int { return s.lb[v] }

// Max is the greatest value of a view now.
func (s *Solver) Max(v View) int { return -s.lb[v^1] }

// MinOf is the least value of a term now.
func (s *Solver) MinOf(t Term) int { return s.lb[t.View] + t.Off }

// MaxOf is the greatest value of a term now.
func (s *Solver) MaxOf(t Term) int { return t.Off - s.lb[t.View^1] }

// Holds says whether the statement is true now.
func (s *Solver) Holds(l Lit) bool { return s.lb[l.View()] >= l.Bound() }

// Fails says whether the statement is false now.
func (s *Solver) Fails(l Lit) bool { return -s.lb[l.View()^1] < l.Bound() }

// Stats is what was done so far.
func (s *Solver) Stats() Stats { return s.stats }

// Broken says that there is no solution at all.
func (s *Solver) Broken() bool { return s.broken }

func (s *Solver) level() int32 { return int32(len(s.levels)) }

// set makes l true; false when it cannot be, with the conflict noted.
func (s *Solver) set(l Lit, why reason) bool {
	v, b := l.View(), l.Bound()
	if b <= s.lb[v] {
		return true
	}
	if b > -s.lb[v^1] {
		s.conflict = s.explain(s.conflict[:0], l, why, int32(len(s.trail)))
		s.conflict = append(s.conflict, l.Not())
		return false
	}
	s.trail = append(s.trail, entry{v, s.level(), b, s.lb[v], s.last[v], why})
	s.last[v] = int32(len(s.trail) - 1)
	s.lb[v] = b
	return true
}

// setWords is set with the explanation given word for word.
func (s *Solver) setWords(l Lit, words []Lit) bool {
	if s.Holds(l) {
		return true
	}
	start := len(s.arena)
	s.arena = append(s.arena, words...)
	return s.set(l, reason{kind: byWords, a: int32(start), b: len(words)})
}

// fail notes a conflict.
func (s *Solver) fail(words []Lit) bool {
	s.conflict = append(s.conflict[:0], words...)
	return false
}

// explain appends the statements from which l was deduced.
func (s *Solver) explain(out []Lit, l Lit, why reason, at int32) []Lit {
	if why.clause != nil {
		for _, other := range why.clause.lits[1:] {
			out = append(out, other.Not())
		}
		return out
	}
	switch why.kind {
	case byDecision:
		return out
	case byArc:
		d := &s.diffs[why.a]
		return append(append(out, AtLeast(d.from, l.Bound()-d.apart)), d.conds()...)
	case byCondition:
		d := &s.diffs[why.a]
		out = append(out, AtLeast(d.from, why.b), AtMost(d.to, why.b+d.apart-1))
		for _, c := range d.conds() {
			if c != l.Not() {
				out = append(out, c)
			}
		}
		return out
	case byWords:
		return append(out, s.arena[why.a:int(why.a)+why.b]...)
	}
	return s.props[why.kind].explain(s, out, l, explanation{int(why.a), why.b, at})
}

// minAt is the least value of a view just before a trail position.
func (s *Solver) minAt(v View, at int32) int {
	bound := s.lb[v]
	for i := s.last[v]; i >= at; i = s.trail[i].before {
		bound = s.trail[i].prev
	}
	return bound
}

func (s *Solver) heldAt(l Lit, at int32) bool { return s.minAt(l.View(), at) >= l.Bound() }

// decide opens a level with l.
func (s *Solver) decide(l Lit) {
	s.levels = append(s.levels, int32(len(s.trail)))
	s.arenas = append(s.arenas, int32(len(s.arena)))
	s.stats.Decisions++
	s.set(l, reason{kind: byDecision})
}

// backTo undoes all levels above one.
func (s *Solver) backTo(level int32) {
	if s.level() <= level {
		return
	}
	s.shrink(int(s.levels[level]))
	s.arena = s.arena[:s.arenas[level]]
	s.levels, s.arenas = s.levels[:level], s.arenas[:level]
	s.atoms.backTo(level)
	s.clearQueues()
}

// shrink undoes the trail to a length.
func (s *Solver) shrink(length int) {
	for i := len(s.trail) - 1; i >= length; i-- {
		e := &s.trail[i]
		s.lb[e.view], s.last[e.view] = e.prev, e.before
	}
	s.trail = s.trail[:length]
	s.head = length
	s.undone++
}

func (s *Solver) clearQueues() {
	for q := range s.queues {
		for _, p := range s.queues[q].ids[s.queues[q].next:] {
			s.queued[p] = false
		}
		s.queues[q].clear()
	}
}

// queue is propagators in the order in which they were woken.
type queue struct {
	ids  []int32
	next int
}

func (q *queue) clear() { q.ids, q.next = q.ids[:0], 0 }

// workPerLook is how much work may be done between two looks at whether to stop: well below a millisecond's.
const workPerLook = 20_000

// Spend counts work that a brancher did: about a hundred million a second.
func (s *Solver) Spend(work int) { s.work += work }

// look asks whether to stop once enough work is done; the answer stays yes.
func (s *Solver) look() bool {
	if s.work >= workPerLook {
		s.work = 0
		s.stopped = s.stopped || (s.stop != nil && s.stop())
	}
	return s.stopped
}

// propagate runs everything to the fixed point; false after a conflict. When it was stopped the fixed point is not reached.
func (s *Solver) propagate() bool {
	patience := len(s.trail) + 4*len(s.lb) + 1000
	for {
		for s.head < len(s.trail) {
			e := s.trail[s.head]
			s.head++
			if s.head > patience {
				patience += 200
				if s.circle() {
					return false
				}
			}
			s.stats.Propagations++
			s.work += 1 + len(s.watches[e.view])/8
			if !s.followArcs(e) || !s.followClauses(e) {
				return false
			}
			if s.look() {
				return true
			}
			for _, p := range s.wakes[e.view] {
				s.wake(p)
			}
			for _, t := range s.touches[e.view] {
				s.dirty[t.propagator] = append(s.dirty[t.propagator], t.part)
			}
		}
		p, ok := s.nextPropagator()
		if !ok || s.look() {
			return true
		}
		s.work += 4
		if !s.props[p].propagate(s) {
			return false
		}
	}
}

func (s *Solver) wake(p int32) {
	if !s.queued[p] {
		s.queued[p] = true
		q := s.urgency[p]
		s.queues[q].ids = append(s.queues[q].ids, p)
	}
}

func (s *Solver) nextPropagator() (int32, bool) {
	for q := range s.queues {
		if waiting := &s.queues[q]; waiting.next < len(waiting.ids) {
			p := waiting.ids[waiting.next]
			if waiting.next++; waiting.next == len(waiting.ids) {
				waiting.clear()
			}
			s.queued[p] = false
			return p, true
		}
	}
	return 0, false
}

// add registers a propagator that wakes when any bound of the given views changes.
func (s *Solver) add(p propagator, urgency int8, views []View) {
	id := int32(len(s.props))
	s.props = append(s.props, p)
	s.queued = append(s.queued, false)
	s.dirty = append(s.dirty, nil)
	s.urgency = append(s.urgency, urgency)
	for _, v := range views {
		for _, side := range []View{v &^ 1, v | 1} {
			if list := s.wakes[side]; side > 1 && (len(list) == 0 || list[len(list)-1] != id) {
				s.wakes[side] = append(s.wakes[side], id)
			}
		}
	}
	s.wake(id)
}

// touch names a part of a propagator.
type touch struct{ propagator, part int32 }

// note has the propagator told of any change of the views that a part depends on.
func (s *Solver) note(propagator, part int32, views ...View) {
	for _, v := range views {
		for _, side := range []View{v &^ 1, v | 1} {
			if side > 1 {
				s.touches[side] = append(s.touches[side], touch{propagator, part})
			}
		}
	}
}

// worded is part of propagators that give every explanation word for word, and so are never asked for one.
type worded struct{}

func (worded) explain(_ *Solver, out []Lit, _ Lit, _ explanation) []Lit { return out }
