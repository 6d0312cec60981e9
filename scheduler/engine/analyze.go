package engine

// analysis is the set of statements that a conflict comes down to: for each view the greatest bound needed.
type analysis struct {
	need   []int   // by view, where in is set
	pos    []int32 // by view: the trail entry that made it true
	in     []bool
	listed []bool
	views  []View // those in the set, or that were
	now    int    // how many are of the present level
	lits   []Lit
	stamp  []int // by level, for counting levels
	mark   int
}

func (a *analysis) grow(views int) {
	for len(a.in) < views {
		a.need, a.pos = append(a.need, 0), append(a.pos, 0)
		a.in, a.listed = append(a.in, false), append(a.listed, false)
	}
}

// position is the trail entry at which l became true; -1 where it held from the beginning.
func (s *Solver) position(l Lit) int32 {
	v, b := l.View(), l.Bound()
	i := s.last[v]
	for i >= 0 && s.trail[i].prev >= b {
		i = s.trail[i].before
	}
	return i
}

func (s *Solver) levelOf(l Lit) int32 {
	i := s.position(l)
	if i < 0 {
		return 0
	}
	return s.trail[i].level
}

// need adds a true statement to the set. What a stronger one about the same view says already, is left out.
func (s *Solver) need(l Lit, level int32) {
	a := &s.analysis
	v, b := l.View(), l.Bound()
	if a.in[v] && a.need[v] >= b {
		return
	}
	at := s.position(l)
	if at < 0 || s.trail[at].level == 0 {
		return
	}
	if a.in[v] {
		if s.trail[a.pos[v]].level >= level {
			a.now--
		}
	} else {
		a.in[v] = true
		if !a.listed[v] {
			a.listed[v] = true
			a.views = append(a.views, v)
		}
	}
	a.need[v], a.pos[v] = b, at
	if s.trail[at].level >= level {
		a.now++
	}
}

// conflictLevel is the highest level that the conflict needs.
func (s *Solver) conflictLevel() int32 {
	level := int32(0)
	for _, l := range s.conflict {
		level = max(level, s.levelOf(l))
	}
	return level
}

// analyze turns the conflict into a clause that it teaches, its first literal to be set after going back to the level
// returned (first unique implication point). It uses up the trail of the present level. False: no solution.
func (s *Solver) analyze() (back int32, ok bool) {
	level := s.conflictLevel()
	if level == 0 {
		return 0, false
	}
	s.backTo(level)
	a := &s.analysis
	a.now, a.views = 0, a.views[:0]
	for _, l := range s.conflict {
		s.need(l, level)
	}
	for {
		s.work++
		at := int32(len(s.trail) - 1)
		e := s.trail[at]
		s.shrink(int(at))
		if !a.in[e.view] || a.need[e.view] <= e.prev {
			continue
		}
		l := AtLeast(e.view, a.need[e.view])
		s.atoms.bump(l)
		if a.now == 1 {
			return s.conclude(l), true
		}
		a.in[e.view] = false
		a.now--
		if e.why.clause != nil {
			e.why.clause.activity += float32(s.stats.Conflicts)
		}
		s.buffer = s.explain(s.buffer[:0], l, e.why, at)
		s.work += 4 * len(s.buffer)
		for _, r := range s.buffer {
			s.need(r, level)
		}
	}
}

// conclude writes the learnt clause into the analysis, the literal of the highest level but the first second.
func (s *Solver) conclude(first Lit) int32 {
	a := &s.analysis
	a.lits = append(a.lits[:0], first.Not())
	for _, v := range a.views {
		if a.in[v] && v != first.View() && !s.redundant(v) {
			a.lits = append(a.lits, AtLeast(v, a.need[v]).Not())
		}
	}
	back := int32(0)
	for i := 1; i < len(a.lits); i++ {
		l := a.lits[i].Not()
		s.atoms.bump(l)
		if at := s.trail[a.pos[l.View()]].level; at > back {
			back = at
			a.lits[1], a.lits[i] = a.lits[i], a.lits[1]
		}
	}
	for _, v := range a.views {
		a.in[v], a.listed[v] = false, false
	}
	return back
}

// mostWords is the longest explanation that is worth looking at to spare a literal.
const mostWords = 40

// redundant says whether the statement about the view follows from earlier ones in the set at one remove.
func (s *Solver) redundant(v View) bool {
	a := &s.analysis
	e := &s.trail[a.pos[v]]
	if e.why.clause == nil && e.why.kind == byDecision {
		return false
	}
	s.buffer = s.explain(s.buffer[:0], AtLeast(v, a.need[v]), e.why, a.pos[v])
	s.work += 4 + len(s.buffer)
	if len(s.buffer) > mostWords {
		return false
	}
	for _, l := range s.buffer {
		w := l.View()
		if a.in[w] && a.pos[w] < a.pos[v] && a.need[w] >= l.Bound() {
			continue
		}
		if at := s.position(l); at >= 0 && s.trail[at].level > 0 {
			return false
		}
	}
	return true
}

// learn adds the analysed clause after going back, and sets its first literal.
func (s *Solver) learn(back int32) {
	a := &s.analysis
	lits := append([]Lit(nil), a.lits...)
	lbd := s.countLevels(lits)
	s.backTo(back)
	s.stats.Learnt++
	if s.onLearn != nil {
		s.onLearn(lits)
	}
	if len(lits) == 1 {
		if !s.set(lits[0], reason{kind: byDecision}) {
			s.broken = true
		}
		return
	}
	c := &clause{lits: lits, lbd: lbd, activity: float32(s.stats.Conflicts)}
	s.learnt = append(s.learnt, c)
	s.attach(c)
	s.set(lits[0], reason{clause: c})
}

// countLevels is how many decision levels the clause's literals stem from.
func (s *Solver) countLevels(lits []Lit) int32 {
	a := &s.analysis
	a.mark++
	levels := int32(1)
	for _, l := range lits[1:] {
		level := int(s.levelOf(l.Not()))
		for len(a.stamp) <= level {
			a.stamp = append(a.stamp, 0)
		}
		if a.stamp[level] != a.mark {
			a.stamp[level] = a.mark
			levels++
		}
	}
	return levels
}
