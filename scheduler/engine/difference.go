package engine

// difference says to >= from + apart while all its conditions hold.
type difference struct {
	from, to View
	apart    int
	conds    []Lit
	tests    []floor // the conditions, taken apart
}

// floor is a statement taken apart: the view is at least the bound.
type floor struct {
	view  View
	bound int
}

// condition stands in the list of a view: from the bound on, a condition of the difference holds.
type condition struct {
	bound int
	diff  int32
}

// AddDifference states to >= from + apart, wherever all conditions hold.
func (s *Solver) AddDifference(from, to Term, apart int, conds ...Lit) {
	s.backTo(0)
	var open []Lit
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
	id := int32(len(s.diffs))
	tests := make([]floor, len(open))
	for i, c := range open {
		tests[i] = floor{c.View(), c.Bound()}
	}
	s.diffs = append(s.diffs, difference{from.View, to.View, apart, open, tests},
		difference{to.View ^ 1, from.View ^ 1, apart, open, tests})
	s.arcs[from.View] = append(s.arcs[from.View], id)
	s.arcs[to.View^1] = append(s.arcs[to.View^1], id+1)
	for _, c := range open {
		s.conds[c.View()] = append(s.conds[c.View()], condition{c.Bound(), id})
	}
	if !s.follow(id) || !s.follow(id+1) {
		s.broken = true
	}
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
		if len(d.conds) > 0 {
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
	for i, c := range d.tests {
		if s.lb[c.view] >= c.bound {
			continue
		}
		if open >= 0 || -s.lb[c.view^1] < c.bound {
			return true
		}
		open = i
	}
	if open < 0 {
		return s.set(AtLeast(d.to, b), reason{kind: byArc, a: id})
	}
	if b > -s.lb[d.to^1] {
		return s.set(d.conds[open].Not(), reason{kind: byCondition, a: id, b: s.lb[d.from]})
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
					s.conflict = append(s.conflict, s.diffs[arc].conds...)
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
