package engine

// Scaled is a view times a factor above 0.
type Scaled struct {
	Factor int
	View   View
}

// linear keeps a sum of views with factors at most a limit.
type linear struct {
	id    int32
	terms []Scaled
	most  int
}

// AddLinear states that the sum of the terms is at most a limit. Factors below 0 are those of the opposite view.
func (s *Solver) AddLinear(terms []Scaled, most int) {
	l := &linear{id: int32(len(s.props)), most: most}
	var views []View
	for _, t := range terms {
		if t.Factor < 0 {
			t = Scaled{-t.Factor, t.View ^ 1}
		}
		if t.Factor > 0 && t.View > 1 {
			l.terms = append(l.terms, t)
			views = append(views, t.View)
		}
	}
	s.add(l, 0, nil)
	for _, v := range views {
		s.wakes[v] = append(s.wakes[v], l.id)
	}
}

func (l *linear) propagate(s *Solver) bool {
	sum := 0
	for _, t := range l.terms {
		sum += t.Factor * s.lb[t.View]
	}
	s.work += len(l.terms)
	spare := l.most - sum
	if spare < 0 {
		s.conflict = l.reasons(s, s.conflict[:0], lacking{at: int32(len(s.trail)), spare: -spare - 1})
		return false
	}
	for _, t := range l.terms {
		room := spare / t.Factor
		if high := s.lb[t.View] + room; high < -s.lb[t.View^1] {
			if !s.set(AtMost(t.View, high), reason{kind: l.id}) {
				return false
			}
		}
	}
	return true
}

// lacking is what an explanation must show: by how much the least values may be lowered and still suffice.
type lacking struct {
	at    int32
	skip  View
	spare int
}

// explain shows the least values of all other terms, lowered as far as l allows.
func (l *linear) explain(s *Solver, out []Lit, lit Lit, e explanation) []Lit {
	own := lit.View() ^ 1
	need := l.most + 1 // the sum that one more than lit allows would reach
	for _, t := range l.terms {
		if t.View == own {
			need -= t.Factor * (1 - lit.Bound())
		} else {
			need -= t.Factor * s.minAt(t.View, e.at)
		}
	}
	return l.reasons(s, out, lacking{at: e.at, skip: own, spare: -need})
}

func (l *linear) reasons(s *Solver, out []Lit, m lacking) []Lit {
	spare := m.spare
	s.work += 2 * len(l.terms)
	for _, t := range l.terms {
		if t.View == m.skip {
			continue
		}
		low := s.minAt(t.View, m.at)
		first := low
		for i := s.last[t.View]; i >= 0; i = s.trail[i].before {
			first = s.trail[i].prev
		}
		// Lower the bound to nothing if that can be afforded, else as far as possible.
		give := min(low-first, spare/t.Factor)
		spare -= give * t.Factor
		if give < low-first {
			out = append(out, AtLeast(t.View, low-give))
		}
	}
	return out
}
