package engine

import "slices"

// clause says that at least one of its literals holds. The first two are watched.
type clause struct {
	lits     []Lit
	activity float32
	lbd      int32 // how many decision levels its literals had when it was learnt
	deleted  bool
}

// watch stands in the list of the view whose rise to falseFrom makes a watched literal false.
type watch struct {
	falseFrom int
	blocker   Lit
	clause    *clause
}

// AddClause states that at least one literal holds. Only before the search or between searches.
func (s *Solver) AddClause(lits ...Lit) {
	s.backTo(0)
	var kept []Lit
	for _, l := range lits {
		if s.Holds(l) {
			return
		}
		if !s.Fails(l) && !slices.Contains(kept, l) {
			kept = append(kept, l)
		}
	}
	switch len(kept) {
	case 0:
		s.broken = true
	case 1:
		s.broken = s.broken || !s.set(kept[0], reason{kind: byDecision})
	default:
		c := &clause{lits: kept}
		s.clauses = append(s.clauses, c)
		s.attach(c)
	}
}

func (s *Solver) attach(c *clause) {
	for i := range 2 {
		l := c.lits[i]
		at := l.View() ^ 1
		s.watches[at] = append(s.watches[at], watch{1 - l.Bound(), c.lits[1-i], c})
	}
}

// followClauses visits the clauses of which the entry made a watched literal false.
func (s *Solver) followClauses(e entry) bool {
	list := s.watches[e.view]
	kept := 0
	for i := range list {
		w := list[i]
		if w.falseFrom <= e.prev || w.falseFrom > e.bound {
			list[kept] = w
			kept++
			continue
		}
		if w.clause.deleted {
			continue
		}
		if s.Holds(w.blocker) {
			list[kept] = w
			kept++
			continue
		}
		moved, ok := s.visit(w, e.view)
		if !moved {
			w.blocker = w.clause.lits[0]
			list[kept] = w
			kept++
		}
		if !ok {
			kept += copy(list[kept:], list[i+1:])
			s.watches[e.view] = list[:kept]
			return false
		}
	}
	s.watches[e.view] = list[:kept]
	return true
}

// visit seeks another literal to watch; without one the first must hold.
func (s *Solver) visit(w watch, risen View) (moved, ok bool) {
	c := w.clause
	gone := AtLeast(risen^1, 1-w.falseFrom)
	if c.lits[0] == gone {
		c.lits[0], c.lits[1] = c.lits[1], c.lits[0]
	}
	first := c.lits[0]
	if s.Holds(first) {
		return false, true
	}
	for k := 2; k < len(c.lits); k++ {
		if l := c.lits[k]; !s.Fails(l) {
			c.lits[1], c.lits[k] = l, c.lits[1]
			at := l.View() ^ 1
			s.watches[at] = append(s.watches[at], watch{1 - l.Bound(), first, c})
			return true, true
		}
	}
	if s.Fails(first) {
		s.conflict = s.conflict[:0]
		for _, l := range c.lits {
			s.conflict = append(s.conflict, l.Not())
		}
		return false, false
	}
	return false, s.set(first, reason{clause: c})
}

// forget drops the half of the learnt clauses that is least likely to be of use, and all that hold whatever comes. At
// level 0 only, where no clause is the reason of anything that is still asked about.
func (s *Solver) forget() {
	slices.SortStableFunc(s.learnt, func(a, b *clause) int {
		if a.lbd <= 2 || b.lbd <= 2 || a.activity == b.activity {
			return int(a.lbd) - int(b.lbd)
		}
		if a.activity > b.activity {
			return -1
		}
		return 1
	})
	kept := s.learnt[:0]
	for i, c := range s.learnt {
		if slices.ContainsFunc(c.lits, s.Holds) || (i > len(s.learnt)/2 && c.lbd > 2 && len(c.lits) > 2) {
			c.deleted = true
			continue
		}
		kept = append(kept, c)
	}
	s.learnt = kept
	for v := range s.watches {
		s.watches[v] = slices.DeleteFunc(s.watches[v], func(w watch) bool { return w.clause.deleted })
	}
}
