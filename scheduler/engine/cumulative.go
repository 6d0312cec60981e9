package engine

import (
	"cmp"
	"slices"
	"sort"
)

// Part takes an amount of a cumulative from one moment to another, while it is present. Minutes is how long at least, for
// AddEnergy.
type Part struct {
	From, To Term
	Amount   Term
	Minutes  Term
	Present  Lit
}

// Level is what is used of a cumulative from a minute on, until the next level.
type Level struct{ From, Used int }

// cumulative keeps the amounts of parts at every minute within a capacity, by the profile of what must run whatever is
// decided (timetable), each deduction explained by one minute (Schutt, Feydy, Stuckey and Wallace 2011).
type cumulative struct {
	id       int32
	capacity int
	levels   []Level
	parts    []Part
	state    []must  // by part
	begins   []int32 // parts that must run, by the beginning and by the end of the stretch
	ends     []int32
	profile  []segment
	highest  int
	undone   int     // the solver's count when all parts were last looked at; -1 after a failure
	loose    []int32 // parts that were not settled then
	moved    []int32 // parts that have changed since the last run
	others   []other // scratch for explanations
}

// must is the stretch over which a part runs whatever is decided; of no amount where there is none.
type must struct {
	from, to, amount int
	listed           bool
}

// other is a part that runs at the minute of an explanation.
type other struct {
	part   int32
	amount int
}

// segment is a stretch over which what must run is of one height.
type segment struct{ from, to, height int }

// What is deduced of a part, in the low bits of a reason.
const (
	partLater = iota
	partEarlier
	partAbsent
	partSmaller
	partKinds
)

// AddCumulative states that the amounts of the parts and what is used stay within the capacity at every minute at which a
// part runs. Levels are in rising order.
func (s *Solver) AddCumulative(capacity int, levels []Level, parts []Part) {
	c := &cumulative{id: int32(len(s.props)), capacity: capacity, levels: levels, parts: parts}
	var views []View
	c.state, c.undone = make([]must, len(parts)), -1
	for _, p := range parts {
		views = append(views, p.From.View, p.To.View, p.Amount.View, p.Present.View())
	}
	slices.Sort(views)
	s.add(c, 0, slices.Compact(views))
	for i, p := range parts {
		of := []View{p.From.View, p.To.View, p.Amount.View, p.Present.View()}
		slices.Sort(of)
		s.note(c.id, int32(i), slices.Compact(of)...)
	}
}

func (c *cumulative) propagate(s *Solver) bool {
	changed := c.refresh(s)
	if len(c.begins) == 0 {
		return true
	}
	if changed {
		c.highest = c.build()
		s.work += 4 * len(c.begins)
		if !c.checkHeights(s) {
			c.undone = -1
			return false
		}
	}
	if !c.filterAll(s, changed) {
		c.undone = -1
		return false
	}
	return true
}

// filterAll looks at all parts that may still move, or at those that have changed where the profile is as it was.
func (c *cumulative) filterAll(s *Solver, changed bool) bool {
	list := c.loose
	if !changed {
		list = c.moved
	}
	s.work += 4 * len(list)
	for _, i := range list {
		p := &c.parts[i]
		most := s.MaxOf(p.Amount)
		if most <= 0 || most+c.highest <= c.capacity || s.Fails(p.Present) {
			continue
		}
		if !c.filter(s, i) {
			return false
		}
	}
	return true
}

// refresh brings what must run up to date, and says whether it is otherwise than before: by the parts that were noted, or by
// all parts after the trail was shortened.
func (c *cumulative) refresh(s *Solver) bool {
	noted := s.dirty[c.id]
	s.dirty[c.id] = noted[:0]
	c.moved = append(c.moved[:0], noted...)
	changed := false
	if c.undone != s.undone {
		c.undone = s.undone
		changed = true
		c.loose = c.loose[:0]
		for i := range c.parts {
			p := &c.parts[i]
			c.update(s, int32(i))
			fixed := s.MinOf(p.From) == s.MaxOf(p.From) && s.MinOf(p.To) == s.MaxOf(p.To) &&
				s.Holds(p.Present) && s.MinOf(p.Amount) == s.MaxOf(p.Amount)
			if !fixed && !s.Fails(p.Present) {
				c.loose = append(c.loose, int32(i))
			}
		}
		s.work += len(c.parts)
		c.drop()
	} else {
		for _, i := range c.moved {
			changed = c.update(s, i) || changed
		}
	}
	if changed {
		c.mend()
	}
	return changed
}

// update works out what a part must do, and says whether that has changed.
func (c *cumulative) update(s *Solver, i int32) bool {
	p, m := &c.parts[i], &c.state[i]
	now := must{listed: m.listed}
	if s.Holds(p.Present) {
		now.from, now.to = s.MaxOf(p.From), s.MinOf(p.To)
		if now.from < now.to {
			now.amount = max(s.MinOf(p.Amount), 0)
		}
	}
	if now.amount == 0 {
		now.from, now.to = 0, 0
	}
	if now == *m {
		return false
	}
	if now.amount > 0 && !now.listed {
		now.listed = true
		c.begins, c.ends = append(c.begins, i), append(c.ends, i)
	}
	*m = now
	return true
}

// drop takes parts off the lists that no longer must run.
func (c *cumulative) drop() {
	gone := func(i int32) bool { return c.state[i].amount == 0 }
	c.ends = slices.DeleteFunc(c.ends, gone)
	c.begins = slices.DeleteFunc(c.begins, func(i int32) bool {
		c.state[i].listed = !gone(i)
		return gone(i)
	})
}

// mend puts the lists in order: by when parts begin at the latest and by when they end at the soonest. Both orders change
// little from one time to the next.
func (c *cumulative) mend() {
	for k := 1; k < len(c.begins); k++ {
		for j := k; j > 0 && c.state[c.begins[j-1]].from > c.state[c.begins[j]].from; j-- {
			c.begins[j-1], c.begins[j] = c.begins[j], c.begins[j-1]
		}
		for j := k; j > 0 && c.state[c.ends[j-1]].to > c.state[c.ends[j]].to; j-- {
			c.ends[j-1], c.ends[j] = c.ends[j], c.ends[j-1]
		}
	}
}

// build makes the profile and returns its greatest height, with what is used already.
func (c *cumulative) build() int {
	c.profile = c.profile[:0]
	height, begun, ended, highest := 0, 0, 0, 0
	at := c.state[c.begins[0]].from
	for ended < len(c.ends) {
		next := c.state[c.ends[ended]].to
		if begun < len(c.begins) {
			next = min(next, c.state[c.begins[begun]].from)
		}
		if next > at && height > 0 {
			highest = max(highest, c.append(at, next, height))
		}
		at = next
		for begun < len(c.begins) && c.state[c.begins[begun]].from == at {
			height += c.state[c.begins[begun]].amount
			begun++
		}
		for ended < len(c.ends) && c.state[c.ends[ended]].to == at {
			height -= c.state[c.ends[ended]].amount
			ended++
		}
	}
	return highest
}

// append adds a stretch to the profile, cut where the use changes, and returns the greatest height.
func (c *cumulative) append(from, to, height int) int {
	if len(c.levels) == 0 {
		c.profile = append(c.profile, segment{from, to, height})
		return height
	}
	highest := 0
	for i := c.levelAt(from); from < to; i++ {
		until := to
		if i+1 < len(c.levels) {
			until = min(to, c.levels[i+1].From)
		}
		used := height
		if i >= 0 {
			used += c.levels[i].Used
		}
		c.profile = append(c.profile, segment{from, until, used})
		highest = max(highest, used)
		from = until
	}
	return highest
}

// levelAt is the index of the level that holds at a minute; -1 before the first.
func (c *cumulative) levelAt(minute int) int {
	return sort.Search(len(c.levels), func(i int) bool { return c.levels[i].From > minute }) - 1
}

func (c *cumulative) usedAt(minute int) int {
	if i := c.levelAt(minute); i >= 0 {
		return c.levels[i].Used
	}
	return 0
}

// checkHeights fails where what must run alone is above the capacity.
func (c *cumulative) checkHeights(s *Solver) bool {
	for _, g := range c.profile {
		if g.height > c.capacity && g.height > c.usedAt(g.from) {
			minute := g.from + (g.to-g.from)/2
			s.conflict = c.othersAt(s, s.conflict[:0], moment{minute: minute, at: int32(len(s.trail)), skip: -1, above: c.capacity})
			return false
		}
	}
	return true
}

// filter moves one part off the stretches that leave too little for it.
func (c *cumulative) filter(s *Solver, part int32) bool {
	p := &c.parts[part]
	if !s.Holds(p.Present) {
		return c.dismiss(s, part)
	}
	if s.MinOf(p.Amount) > 0 && (s.MinOf(p.From) < s.MaxOf(p.From) || s.MinOf(p.To) < s.MaxOf(p.To)) {
		if !c.later(s, part) || !c.earlier(s, part) {
			return false
		}
	}
	if s.MinOf(p.Amount) < s.MaxOf(p.Amount) {
		return c.shrink(s, part)
	}
	return true
}

// own says what of a segment's height is the part's own.
func (c *cumulative) own(s *Solver, part int32, g segment) int {
	p := &c.parts[part]
	if s.MaxOf(p.From) <= g.from && g.to <= s.MinOf(p.To) && s.Holds(p.Present) {
		return s.MinOf(p.Amount)
	}
	return 0
}

// firstAfter is the first segment that ends after a minute.
func (c *cumulative) firstAfter(minute int) int {
	return sort.Search(len(c.profile), func(i int) bool { return c.profile[i].to > minute })
}

func (c *cumulative) later(s *Solver, part int32) bool {
	p := &c.parts[part]
	amount := s.MinOf(p.Amount)
	for i := c.firstAfter(s.MinOf(p.From)); i < len(c.profile); i++ {
		g := c.profile[i]
		if g.to <= s.MinOf(p.From) {
			continue
		}
		ends := s.MinOf(p.To)
		if g.from >= ends || g.from >= s.MaxOf(p.From) {
			return true
		}
		if g.height+amount <= c.capacity || c.own(s, part, g) > 0 {
			continue
		}
		for minute := min(g.to, ends) - 1; ; {
			if !s.set(p.From.AtLeast(minute+1), c.why(part, partLater, minute)) {
				return false
			}
			if minute+1 >= g.to || s.MinOf(p.To) <= minute+1 {
				break
			}
			minute = min(g.to, s.MinOf(p.To)) - 1
		}
	}
	return true
}

func (c *cumulative) earlier(s *Solver, part int32) bool {
	p := &c.parts[part]
	amount := s.MinOf(p.Amount)
	i := sort.Search(len(c.profile), func(i int) bool { return c.profile[i].from >= s.MaxOf(p.To) }) - 1
	for ; i >= 0; i-- {
		g := c.profile[i]
		if g.from >= s.MaxOf(p.To) {
			continue
		}
		begins := s.MaxOf(p.From)
		if g.to <= begins || g.to <= s.MinOf(p.To) {
			return true
		}
		if g.height+amount <= c.capacity || c.own(s, part, g) > 0 {
			continue
		}
		for minute := max(g.from, begins); ; {
			if !s.set(p.To.AtMost(minute), c.why(part, partEarlier, minute)) {
				return false
			}
			if minute <= g.from || s.MaxOf(p.From) >= minute {
				break
			}
			minute = max(g.from, s.MaxOf(p.From))
		}
	}
	return true
}

// dismiss denies the presence of a part that would have to run where there is no room for it.
func (c *cumulative) dismiss(s *Solver, part int32) bool {
	p := &c.parts[part]
	from, to, amount := s.MaxOf(p.From), s.MinOf(p.To), s.MinOf(p.Amount)
	if from >= to || amount <= 0 {
		return true
	}
	for i := c.firstAfter(from); i < len(c.profile) && c.profile[i].from < to; i++ {
		if g := c.profile[i]; g.height+amount > c.capacity {
			return s.set(p.Present.Not(), c.why(part, partAbsent, max(g.from, from)))
		}
	}
	return true
}

// shrink bounds the amount of a part by what is left while it must run.
func (c *cumulative) shrink(s *Solver, part int32) bool {
	p := &c.parts[part]
	from, to := s.MaxOf(p.From), s.MinOf(p.To)
	if from >= to {
		return true
	}
	for i := c.firstAfter(from); i < len(c.profile) && c.profile[i].from < to; i++ {
		g := c.profile[i]
		left := c.capacity - g.height + c.own(s, part, g)
		if left < s.MaxOf(p.Amount) && !s.set(p.Amount.AtMost(left), c.why(part, partSmaller, max(g.from, from))) {
			return false
		}
	}
	return true
}

func (c *cumulative) why(part int32, kind, minute int) reason {
	return reason{kind: c.id, a: part*partKinds + int32(kind), b: minute}
}

// moment is the minute of an explanation: what must run then, but for a part, comes to more than above.
type moment struct {
	minute, above int
	at            int32
	skip          int32
}

// explain is by the one minute noted: what else must run then, and that the part would too.
func (c *cumulative) explain(s *Solver, out []Lit, l Lit, e explanation) []Lit {
	part, kind, minute := int32(e.a)/partKinds, e.a%partKinds, e.b
	p := &c.parts[part]
	amount := s.minAt(p.Amount.View, e.at) + p.Amount.Off
	if kind == partSmaller {
		amount = p.Amount.Off - l.Bound() + 1 // one more than l allows
	} else {
		out = append(out, p.Amount.AtLeast(amount))
	}
	if kind != partLater {
		out = append(out, p.From.AtMost(minute))
	}
	if kind != partEarlier {
		out = append(out, p.To.AtLeast(minute+1))
	}
	if kind != partAbsent {
		out = append(out, p.Present)
	}
	return c.othersAt(s, out, moment{minute: minute, above: c.capacity - amount, at: e.at, skip: part})
}

// othersAt appends why parts other than one must run at a minute, few of them, together with what is used above a sum.
func (c *cumulative) othersAt(s *Solver, out []Lit, m moment) []Lit {
	c.others = c.others[:0]
	s.work += len(c.parts)
	sum := c.usedAt(m.minute)
	for i := range c.parts {
		p := &c.parts[i]
		if int32(i) == m.skip {
			continue
		}
		begun, lasts := p.From.AtMost(m.minute), p.To.AtLeast(m.minute+1)
		if !s.heldAt(begun, m.at) || !s.heldAt(lasts, m.at) || !s.heldAt(p.Present, m.at) {
			continue
		}
		if amount := s.minAt(p.Amount.View, m.at) + p.Amount.Off; amount > 0 {
			c.others = append(c.others, other{int32(i), amount})
			sum += amount
		}
	}
	slices.SortFunc(c.others, func(a, b other) int { return cmp.Or(cmp.Compare(a.amount, b.amount), cmp.Compare(a.part, b.part)) })
	for i, o := range c.others {
		// Where what is used exceeds the sum by itself, a part must run all the same for anything to be wrong.
		last := m.skip < 0 && i+1 == len(c.others) && len(out) == 0
		if sum-o.amount > m.above && !last {
			sum -= o.amount
			continue
		}
		p := &c.parts[o.part]
		out = append(out, p.From.AtMost(m.minute), p.To.AtLeast(m.minute+1), p.Present, p.Amount.AtLeast(o.amount))
	}
	return out
}
