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
	worded
	ways   []Alternative
	sure   Lit
	starts []Term // shared by all ways, by place in the chain
	least  []int  // over the ways left
	most   []int
	chain  []int // scratch
	words  []Lit
}

// AddAlternatives states that a way that is present has its blocks where they may be. If sure holds, one way is present.
// All ways must share the terms of their starts, as far as they have so many blocks.
func (s *Solver) AddAlternatives(sure Lit, ways []Alternative) {
	a := &alternatives{ways: ways, sure: sure}
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
	a.least, a.most, a.chain = make([]int, len(a.starts)), make([]int, len(a.starts)), make([]int, len(a.starts))
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
		if !a.forward(s, w) || !a.backward(s, w) {
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
		if a.least[k] < far && a.least[k] > s.MinOf(start) && !s.setWords(start.AtLeast(a.least[k]), a.whyLeast(s)) {
			return false
		}
		if a.most[k] > -far && a.most[k] < s.MaxOf(start) && !s.setWords(start.AtMost(a.most[k]), a.whyMost(s)) {
			return false
		}
	}
	return true
}

// forward finds the least starts of a way and takes them into account; without any the way is denied.
func (a *alternatives) forward(s *Solver, w *Alternative) bool {
	for k := range w.Blocks {
		a.chain[k] = s.MinOf(w.Blocks[k].Start)
	}
	late := w.leastStarts(s, a.chain)
	if late < 0 {
		for k := range w.Blocks {
			a.least[k] = min(a.least[k], a.chain[k])
		}
		return true
	}
	a.words = a.words[:0]
	for k := range w.Blocks {
		a.words = append(a.words, w.Blocks[k].Start.AtLeast(s.MinOf(w.Blocks[k].Start)))
	}
	a.words = append(a.words, w.Blocks[late].Start.AtMost(min(a.chain[late]-1, far)))
	return s.setWords(w.Present.Not(), a.words)
}

// backward does the same from the other end.
func (a *alternatives) backward(s *Solver, w *Alternative) bool {
	if s.Fails(w.Present) {
		return true
	}
	for k := range w.Blocks {
		a.chain[k] = s.MaxOf(w.Blocks[k].Start)
	}
	early := w.greatestStarts(s, a.chain)
	if early < 0 {
		for k := range w.Blocks {
			a.most[k] = max(a.most[k], a.chain[k])
		}
		return true
	}
	a.words = a.words[:0]
	for k := range w.Blocks {
		a.words = append(a.words, w.Blocks[k].Start.AtMost(s.MaxOf(w.Blocks[k].Start)))
	}
	a.words = append(a.words, w.Blocks[early].Start.AtLeast(max(a.chain[early]+1, -far)))
	return s.setWords(w.Present.Not(), a.words)
}

// whyLeast is the least starts and the ways that are out. With one block and one way it names no more than the gap.
func (a *alternatives) whyLeast(s *Solver) []Lit {
	a.words = append(a.out(s), a.sure)
	if len(a.starts) == 1 {
		low := -far
		for i := range a.ways {
			if w := &a.ways[i]; !s.Fails(w.Present) {
				low = max(low, w.Blocks[0].Allowed.previous(a.least[0]-1)+1)
			}
		}
		return append(a.words, a.starts[0].AtLeast(low))
	}
	for _, start := range a.starts {
		a.words = append(a.words, start.AtLeast(s.MinOf(start)))
	}
	return a.words
}

func (a *alternatives) whyMost(s *Solver) []Lit {
	a.words = append(a.out(s), a.sure)
	for _, start := range a.starts {
		a.words = append(a.words, start.AtMost(s.MaxOf(start)))
	}
	return a.words
}

func (a *alternatives) out(s *Solver) []Lit {
	a.words = a.words[:0]
	for i := range a.ways {
		if s.Fails(a.ways[i].Present) {
			a.words = append(a.words, a.ways[i].Present.Not())
		}
	}
	return a.words
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
			if at > s.MaxOf(b.Start) {
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
			if at < s.MinOf(b.Start) {
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
