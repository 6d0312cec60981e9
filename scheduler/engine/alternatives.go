package engine

import "sort"

// Span is the closed range of whole numbers from Lo to Hi.
type Span struct{ Lo, Hi int }

// Allowed is the multiples of Unit whose quotient lies in a span. The spans rise and do not overlap.
type Allowed struct {
	Spans []Span
	Unit  int
}

// far is above every bound.
const far = MaxBound

// next is the least allowed value from v on, or far.
func (a *Allowed) next(v int) int {
	q := ceilDiv(v, a.Unit)
	i := sort.Search(len(a.Spans), func(i int) bool { return a.Spans[i].Hi >= q })
	if i == len(a.Spans) {
		return far
	}
	return max(q, a.Spans[i].Lo) * a.Unit
}

// previous is the greatest allowed value up to v, or -far.
func (a *Allowed) previous(v int) int {
	q := floorDiv(v, a.Unit)
	i := sort.Search(len(a.Spans), func(i int) bool { return a.Spans[i].Lo > q }) - 1
	if i < 0 {
		return -far
	}
	return min(q, a.Spans[i].Hi) * a.Unit
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func ceilDiv(a, b int) int { return -floorDiv(-a, b) }

// Block is one of the rigid parts of an alternative: where it may start, how long it is, and the wait after it, which lies
// in one of the ranges of Within unless it is of no length.
type Block struct {
	Start            Term
	Allowed          Allowed
	Minutes          int
	WaitMin, WaitMax int
	Within           []Span
}

// Alternative is a chain of blocks, one of several ways, while it is present.
type Alternative struct {
	Present Lit
	Blocks  []Block
}

// alternatives keeps the starts of blocks, which all ways share, to what some way that is left allows.
type alternatives struct {
	id     int32
	ways   []Alternative
	sure   Lit
	starts []Term // shared by all ways, by place in the chain
	least  []int  // over the ways left
	most   []int
	chain  []int // scratch
	from   []int // scratch for explanations
}

// What is deduced, in the low bits of a reason; the rest is the place in the chain or the way.
const (
	startLater = iota
	startEarlier
	wayTooLate
	wayTooEarly
	wayKinds
)

// AddAlternatives states that a way that is present has its blocks where they may be. If sure holds, one way is present.
// All ways must share the terms of their starts, as far as they have so many blocks.
func (s *Solver) AddAlternatives(sure Lit, ways []Alternative) {
	a := &alternatives{id: int32(len(s.props)), ways: ways, sure: sure}
	var views []View
	for _, w := range ways {
		views = append(views, w.Present.View())
		for k, b := range w.Blocks {
			if k == len(a.starts) {
				a.starts = append(a.starts, b.Start)
				views = append(views, b.Start.View)
			}
		}
	}
	views = append(views, sure.View())
	n := len(a.starts)
	a.least, a.most, a.chain, a.from = make([]int, n), make([]int, n), make([]int, n), make([]int, n)
	s.add(a, 0, views)
}

func (a *alternatives) propagate(s *Solver) bool {
	for k := range a.starts {
		a.least[k], a.most[k] = far, -far
	}
	for i := range a.ways {
		w := &a.ways[i]
		if s.Fails(w.Present) {
			continue
		}
		s.work += 8 * len(w.Blocks)
		if !a.forward(s, i) || !a.backward(s, i) {
			return false
		}
		// A way with fewer blocks says nothing of the rest.
		for k := len(w.Blocks); k < len(a.starts); k++ {
			a.least[k], a.most[k] = -far, far
		}
	}
	if !s.Holds(a.sure) {
		return true
	}
	for k, start := range a.starts {
		if a.least[k] < far && a.least[k] > s.MinOf(start) && !s.set(start.AtLeast(a.least[k]), a.why(startLater, k)) {
			return false
		}
		if a.most[k] > -far && a.most[k] < s.MaxOf(start) && !s.set(start.AtMost(a.most[k]), a.why(startEarlier, k)) {
			return false
		}
	}
	return true
}

func (a *alternatives) why(kind, which int) reason {
	return reason{kind: a.id, a: int32(which*wayKinds + kind)}
}

// forward finds the least starts of a way and takes them into account; without any the way is denied.
func (a *alternatives) forward(s *Solver, way int) bool {
	w := &a.ways[way]
	for k := range w.Blocks {
		a.chain[k] = s.MinOf(w.Blocks[k].Start)
	}
	if late := w.leastStarts(s, a.chain); late >= 0 {
		return s.set(w.Present.Not(), reason{kind: a.id, a: int32(way*wayKinds + wayTooLate), b: late})
	}
	for k := range w.Blocks {
		a.least[k] = min(a.least[k], a.chain[k])
	}
	return true
}

// backward does the same from the other end.
func (a *alternatives) backward(s *Solver, way int) bool {
	w := &a.ways[way]
	if s.Fails(w.Present) {
		return true
	}
	for k := range w.Blocks {
		a.chain[k] = s.MaxOf(w.Blocks[k].Start)
	}
	if early := w.greatestStarts(s, a.chain); early >= 0 {
		return s.set(w.Present.Not(), reason{kind: a.id, a: int32(way*wayKinds + wayTooEarly), b: early})
	}
	for k := range w.Blocks {
		a.most[k] = max(a.most[k], a.chain[k])
	}
	return true
}

// explain states the bounds of the starts, each loosened as far as what is explained still follows, and the ways that were
// out.
func (a *alternatives) explain(s *Solver, out []Lit, l Lit, e explanation) []Lit {
	kind, which := e.a%wayKinds, e.a/wayKinds
	s.work += 64 * len(a.ways)
	for k, start := range a.starts {
		if kind == startLater || kind == wayTooLate {
			a.from[k] = s.minAt(start.View, e.at) + start.Off
		} else {
			a.from[k] = start.Off - s.minAt(start.View^1, e.at)
		}
	}
	switch kind {
	case startLater:
		least := l.Bound() + a.starts[which].Off
		return a.loosened(a.out(s, out, e.at), true, func() bool {
			return a.every(s, e.at, func(w *Alternative) bool {
				return !w.chained(a.chain, a.from, true) || a.chain[which] >= least
			})
		})
	case startEarlier:
		most := a.starts[which].Off - l.Bound()
		return a.loosened(a.out(s, out, e.at), false, func() bool {
			return a.every(s, e.at, func(w *Alternative) bool {
				return !w.chained(a.chain, a.from, false) || a.chain[which] <= most
			})
		})
	case wayTooLate:
		w, start := &a.ways[which], a.starts[e.b]
		most := start.Off - s.minAt(start.View^1, e.at)
		out = append(out, start.AtMost(most))
		return a.loosened(out, true, func() bool { return !w.chained(a.chain, a.from, true) || a.chain[e.b] > most })
	default:
		w, start := &a.ways[which], a.starts[e.b]
		least := s.minAt(start.View, e.at) + start.Off
		out = append(out, start.AtLeast(least))
		return a.loosened(out, false, func() bool { return !w.chained(a.chain, a.from, false) || a.chain[e.b] < least })
	}
}

// every says whether something holds of every way that was left.
func (a *alternatives) every(s *Solver, at int32, holds func(w *Alternative) bool) bool {
	for i := range a.ways {
		if !s.heldAt(a.ways[i].Present.Not(), at) && !holds(&a.ways[i]) {
			return false
		}
	}
	return true
}

// out appends that some way is present, and which are not.
func (a *alternatives) out(s *Solver, out []Lit, at int32) []Lit {
	out = append(out, a.sure)
	for i := range a.ways {
		if gone := a.ways[i].Present.Not(); s.heldAt(gone, at) {
			out = append(out, gone)
		}
	}
	return out
}

// loosened appends the starts in from, each loosened as far as it may be for follows to stay true: least starts downwards,
// greatest ones upwards.
func (a *alternatives) loosened(out []Lit, least bool, follows func() bool) []Lit {
	way := 1
	if least {
		way = -1
	}
	for k, start := range a.starts {
		known := a.from[k]
		by := func(minutes int) bool {
			a.from[k] = known + way*minutes
			return follows()
		}
		if a.from[k] = way * far; follows() {
			continue
		}
		can, cannot := 0, 1
		for ; by(cannot); cannot *= 4 {
			can = cannot
		}
		for can+1 < cannot {
			if middle := can + (cannot-can)/2; by(middle) {
				can = middle
			} else {
				cannot = middle
			}
		}
		if a.from[k] = known + way*can; least {
			out = append(out, start.AtLeast(a.from[k]))
		} else {
			out = append(out, start.AtMost(a.from[k]))
		}
	}
	return out
}

// chained works out the least, or greatest, starts of the way that follow from others; false when there are none.
func (w *Alternative) chained(into, from []int, least bool) bool {
	copy(into, from[:len(w.Blocks)])
	if least {
		return w.leastStarts(nil, into) < 0
	}
	return w.greatestStarts(nil, into) < 0
}

// latest is the most that a block may start, without a solver any minute.
func (b *Block) latest(s *Solver) int {
	if s == nil {
		return far - 1
	}
	return s.MaxOf(b.Start)
}

func (b *Block) earliest(s *Solver) int {
	if s == nil {
		return 1 - far
	}
	return s.MinOf(b.Start)
}

// leastStarts raises starts until they are a chain that the way allows. It returns -1, or the block that comes too late.
func (w *Alternative) leastStarts(s *Solver, starts []int) int {
	for changed := true; changed; {
		changed = false
		for k := range w.Blocks {
			b := &w.Blocks[k]
			at := b.Allowed.next(starts[k])
			if k+1 < len(w.Blocks) {
				at = max(at, b.Allowed.next(b.startBefore(at, starts[k+1])))
			}
			if at > b.latest(s) {
				starts[k] = at
				return k
			}
			changed = changed || at != starts[k]
			starts[k] = at
			if k+1 < len(w.Blocks) && at+b.Minutes+b.WaitMin > starts[k+1] {
				starts[k+1], changed = at+b.Minutes+b.WaitMin, true
			}
		}
	}
	return -1
}

// startBefore is the least start from one on, after which the wait can last until the next block's least start.
func (b *Block) startBefore(start, next int) int {
	end := start + b.Minutes
	end = max(end, next-b.WaitMax)
	if b.WaitMin == 0 && end >= next {
		return end - b.Minutes
	}
	i := sort.Search(len(b.Within), func(i int) bool { return b.Within[i].Hi >= max(next, end+b.WaitMin) })
	inside := far
	for ; i < len(b.Within) && inside == far; i++ {
		if from := max(end, b.Within[i].Lo); from+b.WaitMin <= b.Within[i].Hi {
			inside = from
		}
	}
	if b.WaitMin == 0 {
		inside = min(inside, next)
	}
	if inside >= far {
		return far
	}
	return inside - b.Minutes
}

// greatestStarts lowers starts until they are a chain that the way allows. It returns -1, or the block that comes too early.
func (w *Alternative) greatestStarts(s *Solver, starts []int) int {
	for changed := true; changed; {
		changed = false
		for k := len(w.Blocks) - 1; k >= 0; k-- {
			b := &w.Blocks[k]
			at := b.Allowed.previous(starts[k])
			if k > 0 {
				before := &w.Blocks[k-1]
				at = min(at, b.Allowed.previous(before.nextAfter(starts[k-1]+before.Minutes, at)))
			}
			if at < b.earliest(s) {
				starts[k] = at
				return k
			}
			changed = changed || at != starts[k]
			starts[k] = at
			if k > 0 {
				if most := at - w.Blocks[k-1].Minutes - w.Blocks[k-1].WaitMin; most < starts[k-1] {
					starts[k-1], changed = most, true
				}
			}
		}
	}
	return -1
}

// nextAfter is the greatest start of the next block up to one, until which the wait can last since this one's latest end.
func (b *Block) nextAfter(end, next int) int {
	next = min(next, end+b.WaitMax)
	if b.WaitMin == 0 && next <= end {
		return next
	}
	i := sort.Search(len(b.Within), func(i int) bool { return b.Within[i].Lo > min(end, next-b.WaitMin) }) - 1
	inside := -far
	for ; i >= 0 && inside == -far; i-- {
		if until := min(next, b.Within[i].Hi); until-b.WaitMin >= b.Within[i].Lo {
			inside = until
		}
	}
	if b.WaitMin == 0 {
		inside = max(inside, end)
	}
	return inside
}
