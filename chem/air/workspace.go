package air

import (
	"slices"
	"sync"
)

// workspace lends the long lists that one check works with, and has them back at its end for the next check, so that little is
// left to clear away: nothing that a check answers with may hold on to one. It is for one goroutine. None, nil, makes every list anew.
type workspace struct {
	changes  lender[change]
	segments lender[segment]
	sums     lender[float64]
}

var workspaces = sync.Pool{New: func() any { return new(workspace) }}

func borrow() *workspace { return workspaces.Get().(*workspace) }

func (w *workspace) giveBack() {
	w.changes.lent, w.segments.lent, w.sums.lent = 0, 0, 0
	workspaces.Put(w)
}

// lender lends parts of one list, the next of a longer one when it is used up.
type lender[T any] struct {
	whole []T
	lent  int
}

// lend is an empty list with room for so many; what is appended beyond that goes elsewhere.
func (l *lender[T]) lend(count int) []T {
	if len(l.whole)-l.lent < count {
		l.whole, l.lent = make([]T, max(count, 2*len(l.whole))), 0
	}
	from := l.lent
	l.lent += count
	return slices.Clip(l.whole[from:l.lent])[:0]
}

func (w *workspace) changeList(count int) []change {
	if w == nil {
		return make([]change, 0, count)
	}
	return w.changes.lend(count)
}

func (w *workspace) segmentList(count int) []segment {
	if w == nil {
		return make([]segment, 0, count)
	}
	return w.segments.lend(count)
}

// sumList is as long as is asked, and holds anything.
func (w *workspace) sumList(count int) []float64 {
	if w == nil {
		return make([]float64, count)
	}
	return w.sums.lend(count)[:count]
}
