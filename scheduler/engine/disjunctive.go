package engine

import "slices"

// Stay is a time on a resource that holds one at a time, while it is present.
type Stay struct {
	From, To Term
	Present  Lit
	Family   int
}

// disjunctive keeps stays apart, with a setup from the earlier to the later, pair by pair. It needs no variable for the
// order: which goes first is deduced from the bounds.
type disjunctive struct {
	worded
	stays []Stay
	apart func(from, to int) int // setup by family
	words []Lit
	here  []int32
}

// AddDisjunctive states that of any two stays that are present one ends, and its setup after it, before the other begins.
func (s *Solver) AddDisjunctive(stays []Stay, apart func(from, to int) int) {
	d := &disjunctive{stays: stays, apart: apart}
	var views []View
	for _, t := range stays {
		views = append(views, t.From.View, t.To.View, t.Present.View())
	}
	slices.Sort(views)
	s.add(d, 0, slices.Compact(views))
}

func (d *disjunctive) propagate(s *Solver) bool {
	d.here = d.here[:0]
	for i := range d.stays {
		if !s.Fails(d.stays[i].Present) {
			d.here = append(d.here, int32(i))
		}
	}
	for k, i := range d.here {
		if s.work += k; s.look() {
			return true
		}
		for _, j := range d.here[:k] {
			a, b := &d.stays[i], &d.stays[j]
			if !d.far(s, a, b) && !d.pair(s, a, b) {
				return false
			}
		}
	}
	return true
}

// far says whether two stays are so far apart that no setup between them can matter.
func (d *disjunctive) far(s *Solver, a, b *Stay) bool {
	return s.MinOf(a.From) >= s.MaxOf(b.To)+d.apart(b.Family, a.Family) || s.MinOf(b.From) >= s.MaxOf(a.To)+d.apart(a.Family, b.Family)
}

// pair deduces what two stays, neither of which is absent, do to each other.
func (d *disjunctive) pair(s *Solver, a, b *Stay) bool {
	before, after := d.cannotPrecede(s, a, b), d.cannotPrecede(s, b, a)
	if !before && !after {
		return true
	}
	sure := s.Holds(a.Present) && s.Holds(b.Present)
	if before && after {
		return d.oneAbsent(s, a, b)
	}
	if !sure {
		return true
	}
	if before {
		return d.precede(s, b, a)
	}
	return d.precede(s, a, b)
}

// cannotPrecede says whether a, with its setup, ends too late for b.
func (d *disjunctive) cannotPrecede(s *Solver, a, b *Stay) bool {
	return s.MinOf(a.To)+d.apart(a.Family, b.Family) > s.MaxOf(b.From)
}

// whyNotBefore appends why a cannot go before b.
func (d *disjunctive) whyNotBefore(s *Solver, out []Lit, a, b *Stay) []Lit {
	end := s.MinOf(a.To)
	return append(out, a.To.AtLeast(end), b.From.AtMost(end+d.apart(a.Family, b.Family)-1))
}

func (d *disjunctive) oneAbsent(s *Solver, a, b *Stay) bool {
	d.words = d.whyNotBefore(s, d.words[:0], a, b)
	d.words = d.whyNotBefore(s, d.words, b, a)
	switch {
	case s.Holds(a.Present):
		return s.setWords(b.Present.Not(), append(d.words, a.Present))
	case s.Holds(b.Present):
		return s.setWords(a.Present.Not(), append(d.words, b.Present))
	}
	return true
}

// precede makes a go first, since b cannot.
func (d *disjunctive) precede(s *Solver, a, b *Stay) bool {
	setup := d.apart(a.Family, b.Family)
	if end := s.MinOf(a.To); end+setup > s.MinOf(b.From) {
		d.words = append(d.whyNotBefore(s, d.words[:0], b, a), a.Present, b.Present, a.To.AtLeast(end))
		if !s.setWords(b.From.AtLeast(end+setup), d.words) {
			return false
		}
	}
	if begin := s.MaxOf(b.From); begin-setup < s.MaxOf(a.To) {
		d.words = append(d.whyNotBefore(s, d.words[:0], b, a), a.Present, b.Present, b.From.AtMost(begin))
		return s.setWords(a.To.AtMost(begin-setup), d.words)
	}
	return true
}
