package engine

import (
	"cmp"
	"slices"
	"sort"
)

// energy looks at windows of time in which parts must do more than a cumulative can give, and moves the starts and ends of
// parts that would overfill one (time-table edge-finding: Vilím 2011; explained as by Schutt, Feydy and Stuckey 2013).
type energy struct {
	worded
	capacity int
	used     []int // of levels: what is used before each, times minutes
	levels   []Level
	sides    [2][]Part // as they are, and in reversed time
	tasks    []stretch
	byFirst  []int32 // tasks by least start
	byLast   []int32 // tasks by greatest end
	before   []int   // by task in byFirst: what is done in any case before its least start, times amount
	beforeL  []int   // by task in byLast: the same before its greatest end
	events   []event
	words    []Lit
}

// stretch is what is known of a part that is present.
type stretch struct {
	part                   int32
	first, last            int // least start, greatest end
	latest, soonest        int // greatest start, least end
	minutes, amount, extra int // extra: energy beyond what is done in any case
}

// event is a change of what is done in any case.
type event struct{ minute, height int }

// AddEnergy states what AddCumulative states, and deduces other things from it. Parts need their Minutes.
func (s *Solver) AddEnergy(capacity int, levels []Level, parts []Part) {
	e := &energy{capacity: capacity, levels: levels}
	var views []View
	for _, p := range parts {
		e.sides[0] = append(e.sides[0], p)
		mirrored := p
		mirrored.From, mirrored.To = p.To.negative(), p.From.negative()
		e.sides[1] = append(e.sides[1], mirrored)
		views = append(views, p.From.View, p.To.View, p.Amount.View, p.Present.View(), p.Minutes.View)
	}
	sum := 0
	for i, at := range levels {
		if i > 0 {
			sum += min(levels[i-1].Used, capacity) * (at.From - levels[i-1].From)
		}
		e.used = append(e.used, sum)
	}
	slices.Sort(views)
	s.add(e, 1, slices.Compact(views))
}

func (t Term) negative() Term { return Term{t.View ^ 1, -t.Off} }

func (e *energy) propagate(s *Solver) bool {
	for side := range e.sides {
		if !e.collect(s, side) {
			return true
		}
		e.sweep()
		if !e.windows(s, side) {
			return false
		}
	}
	return true
}

// collect lists the parts that are present; false when there are too few to exceed anything.
func (e *energy) collect(s *Solver, side int) bool {
	e.tasks, e.events = e.tasks[:0], e.events[:0]
	open := false
	for i := range e.sides[side] {
		p := &e.sides[side][i]
		t := stretch{part: int32(i), minutes: s.MinOf(p.Minutes), amount: s.MinOf(p.Amount)}
		if t.minutes <= 0 || t.amount <= 0 || !s.Holds(p.Present) {
			continue
		}
		t.first, t.last, t.latest, t.soonest = s.MinOf(p.From), s.MaxOf(p.To), s.MaxOf(p.From), s.MinOf(p.To)
		sure := max(t.soonest-t.latest, 0)
		if sure > 0 {
			e.events = append(e.events, event{t.latest, t.amount}, event{t.soonest, -t.amount})
		}
		t.extra = max(t.minutes-sure, 0) * t.amount
		open = open || t.extra > 0
		e.tasks = append(e.tasks, t)
	}
	s.work += 8*len(e.tasks) + len(e.tasks)*len(e.tasks)/4
	return open && len(e.tasks) > 1
}

// sweep sorts the tasks and works out what is done in any case before each window's bounds.
func (e *energy) sweep() {
	n := len(e.tasks)
	e.byFirst, e.byLast = e.byFirst[:0], e.byLast[:0]
	for i := range n {
		e.byFirst, e.byLast = append(e.byFirst, int32(i)), append(e.byLast, int32(i))
	}
	slices.SortFunc(e.byFirst, func(a, b int32) int {
		return cmp.Or(cmp.Compare(e.tasks[a].first, e.tasks[b].first), cmp.Compare(a, b))
	})
	slices.SortFunc(e.byLast, func(a, b int32) int {
		return cmp.Or(cmp.Compare(e.tasks[a].last, e.tasks[b].last), cmp.Compare(a, b))
	})
	slices.SortFunc(e.events, func(a, b event) int { return cmp.Compare(a.minute, b.minute) })
	e.before = e.sums(e.before, e.byFirst, func(t stretch) int { return t.first })
	e.beforeL = e.sums(e.beforeL, e.byLast, func(t stretch) int { return t.last })
}

// sums is, for each task in an order of rising minutes, the energy that is spent in any case before its minute.
func (e *energy) sums(out []int, order []int32, minute func(stretch) int) []int {
	out = out[:0]
	sum, height, at, k := 0, 0, 0, 0
	for _, i := range order {
		until := minute(e.tasks[i])
		for k < len(e.events) && e.events[k].minute <= until {
			sum += height * (e.events[k].minute - at)
			at = e.events[k].minute
			height += e.events[k].height
			k++
		}
		out = append(out, sum+height*(until-at))
	}
	return out
}

// usedIn is what is used of the cumulative already in a window, times minutes.
func (e *energy) usedIn(side, from, to int) int {
	if len(e.levels) == 0 {
		return 0
	}
	if side == 1 {
		from, to = -to, -from
	}
	return e.usedBefore(to) - e.usedBefore(from)
}

func (e *energy) usedBefore(minute int) int {
	i := sort.Search(len(e.levels), func(i int) bool { return e.levels[i].From > minute }) - 1
	if i < 0 {
		return 0
	}
	return e.used[i] + min(e.levels[i].Used, e.capacity)*(minute-e.levels[i].From)
}

// window is from a least start to a greatest end.
type window struct {
	side, from, to int
}

// windows goes through all windows, by end and then from the latest start to the earliest.
func (e *energy) windows(s *Solver, side int) bool {
	for k := len(e.byLast) - 1; k >= 0; k-- {
		to := e.tasks[e.byLast[k]].last
		if k+1 < len(e.byLast) && e.tasks[e.byLast[k+1]].last == to {
			continue
		}
		inside, candidate, most := 0, int32(-1), 0
		for j := len(e.byFirst) - 1; j >= 0; j-- {
			i := e.byFirst[j]
			t := &e.tasks[i]
			if t.first >= to {
				continue
			}
			if t.last <= to {
				inside += t.extra
			} else if more := t.amount * t.beyond(to); more > most {
				candidate, most = i, more
			}
			left := e.capacity*(to-t.first) - (e.beforeL[k] - e.before[j]) - inside
			if left >= most {
				continue
			}
			w := window{side, t.first, to}
			if left -= e.usedIn(side, w.from, w.to); left < 0 {
				return e.overfull(s, w)
			}
			if most > left && !e.move(s, w, candidate, left) {
				return false
			}
		}
	}
	return true
}

// beyond is how many more minutes than in any case the task does before a minute when it starts as soon as it can.
func (t *stretch) beyond(to int) int {
	return min(t.minutes, to-t.first) - t.sureBefore(to)
}

// sureBefore is how many minutes the task does in any case before a minute.
func (t *stretch) sureBefore(to int) int { return max(min(t.soonest, to)-t.latest, 0) }

// least is how many minutes the task does in any case in a window.
func (t *stretch) least(w window) int {
	return max(min(t.minutes, w.to-w.from, t.soonest-w.from, w.to-t.latest), 0)
}

// overfull fails since the window holds too much, if so it does by what each task must do in it.
func (e *energy) overfull(s *Solver, w window) bool {
	if words, ok := e.why(s, w, -1, 0); ok {
		return s.fail(words)
	}
	return true
}

// move has a task start so late that it does no more before the window's end than is left.
func (e *energy) move(s *Solver, w window, task int32, left int) bool {
	t := &e.tasks[task]
	start := w.to - t.sureBefore(w.to) - left/t.amount
	p := &e.sides[w.side][t.part]
	if start <= s.MinOf(p.From) {
		return true
	}
	minutes := w.to - start + 1 // what it would do before the window's end if it started earlier
	words, ok := e.why(s, w, task, minutes)
	if !ok {
		return true
	}
	words = append(words, p.To.AtLeast(w.from+minutes), p.Minutes.AtLeast(minutes), p.Amount.AtLeast(t.amount), p.Present)
	return s.setWords(p.From.AtLeast(start), words)
}

// why appends what each task but one does in the window in any case, loosened as far as the sum allows; false when the sum
// does not exceed the capacity after all. The one does so many minutes.
func (e *energy) why(s *Solver, w window, but int32, minutes int) ([]Lit, bool) {
	spare := e.usedIn(w.side, w.from, w.to) - e.capacity*(w.to-w.from) - 1
	if but >= 0 {
		spare += minutes * e.tasks[but].amount
	}
	for i := range e.tasks {
		if int32(i) != but {
			spare += e.tasks[i].amount * e.tasks[i].least(w)
		}
	}
	if spare < 0 {
		return nil, false
	}
	e.words = e.words[:0]
	for i := range e.tasks {
		t := &e.tasks[i]
		does := t.least(w)
		if int32(i) == but || does == 0 {
			continue
		}
		give := min(spare/t.amount, does)
		spare -= give * t.amount
		if does -= give; does == 0 {
			continue
		}
		p := &e.sides[w.side][t.part]
		e.words = append(e.words, p.From.AtMost(w.to-does), p.To.AtLeast(w.from+does), p.Minutes.AtLeast(does),
			p.Amount.AtLeast(t.amount), p.Present)
	}
	return e.words, true
}
