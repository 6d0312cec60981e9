package engine

// mostConditions is how many conditions a difference holds; more are first made one.
const mostConditions = 4

// difference says to >= from + apart while all its conditions hold. It fits a line of the cache: following differences is
// most of what propagation does.
type difference struct {
	from, to View
	apart    int
	count    int // of conditions
	all      [mostConditions]Lit
}

func (d *difference) conds() []Lit { return d.all[:d.count] }

// condition stands in the list of a view: from the bound on, a condition of the difference holds.
type condition struct {
	bound int
	diff  int32
}

// AddDifference states to >= from + apart, wherever all conditions hold.
func (s *Solver) AddDifference(from, to Term, apart int, conds ...Lit) {
	s.backTo(0)
	open := make([]Lit, 0, 2*mostConditions)
	for _, c := range conds {
		if s.Fails(c) {
			return
		}
		if !s.Holds(c) {
			open = append(open, c)
		}
	}
	apart += from.Off - to.Off
	if from.View == to.View {
		if apart > 0 {
			s.AddClause(negated(open)...)
		}
		return
	}
	if len(open) > mostConditions {
		open = []Lit{s.together(open)}
	}
	id := int32(len(s.diffs))
	d := difference{from: from.View, to: to.View, apart: apart, count: len(open)}
	copy(d.all[:], open)
	back := d
	back.from, back.to = to.View^1, from.View^1
	s.diffs = append(s.diffs, d, back)
	s.arcs[from.View] = append(s.arcs[from.View], id)
	s.arcs[to.View^1] = append(s.arcs[to.View^1], id+1)
	for _, c := range open {
		s.conds[c.View()] = append(s.conds[c.View()], condition{c.Bound(), id})
	}
	if !s.follow(id) || !s.follow(id+1) {
		s.broken = true
	}
}

// together is a new statement that holds where all of some do.
func (s *Solver) together(lits []Lit) Lit {
	all := s.NewBool()
	s.AddClause(append(negated(lits), all)...)
	return all
}

func negated(lits []Lit) []Lit {
	out := make([]Lit, len(lits))
	for i, l := range lits {
		out[i] = l.Not()
	}
	return out
}

// followArcs takes a rise along the differences that begin at its view, and to those of which it makes a condition hold.
func (s *Solver) followArcs(e entry) bool {
	for _, id := range s.arcs[e.view] {
		d := &s.diffs[id]
		if d.count > 0 {
			if !s.follow(id) {
				return false
			}
			continue
		}
		if b := e.bound + d.apart; b > s.lb[d.to] && !s.set(AtLeast(d.to, b), reason{kind: byArc, a: id}) {
			return false
		}
	}
	for _, c := range s.conds[e.view] {
		if e.prev < c.bound && c.bound <= e.bound && (!s.follow(c.diff) || !s.follow(c.diff+1)) {
			return false
		}
	}
	return true
}

// follow applies a difference whose conditions hold, or denies the one condition left open that it would break.
func (s *Solver) follow(id int32) bool {
	d := &s.diffs[id]
	b := s.lb[d.from] + d.apart
	if b <= s.lb[d.to] {
		return true
	}
	open := -1
	for i := range d.count {
		c := d.all[i]
		if s.Holds(c) {
			continue
		}
		if open >= 0 || s.Fails(c) {
			return true
		}
		open = i
	}
	if open < 0 {
		return s.set(AtLeast(d.to, b), reason{kind: byArc, a: id})
	}
	if b > -s.lb[d.to^1] {
		return s.set(d.all[open].Not(), reason{kind: byCondition, a: id, b: s.lb[d.from]})
	}
	return true
}

// circle says whether the latest bound follows from an earlier one of its own along differences alone. They then demand
// without end, and their conditions contradict each other: a conflict that bounds would reach only at the end of time.
func (s *Solver) circle() bool {
	at := int32(s.head - 1)
	need := s.trail[at].bound
	var path []int32
	for at >= 0 && s.trail[at].why.clause == nil && s.trail[at].why.kind == byArc {
		id := s.trail[at].why.a
		for i, passed := range path {
			if passed == id {
				s.conflict = s.conflict[:0]
				for _, arc := range path[i:] {
					s.conflict = append(s.conflict, s.diffs[arc].conds()...)
				}
				return true
			}
		}
		path = append(path, id)
		d := &s.diffs[id]
		need -= d.apart
		at = s.position(AtLeast(d.from, need))
	}
	return false
}
