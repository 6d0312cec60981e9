package engine

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// ladder branches on variables in order, least value first.
type ladder struct{}

func (ladder) Next(s *Solver) Lit {
	for v := range s.Vars() {
		if view := View(2 * v); s.Min(view) < s.Max(view) {
			return AtMost(view, s.Min(view))
		}
	}
	return True
}

// model is a random model twice: as the solver has it, and as rules that say of whole assignments whether they hold.
type model struct {
	*rapid.T
	s     *Solver
	ints  []Term
	bools []Lit
	rules []func(values []int) bool
}

func (m *model) number(least, most int, label string) int {
	return rapid.IntRange(least, most).Draw(m.T, label)
}

func (m *model) term() Term { return m.ints[m.number(0, len(m.ints)-1, "term")] }

func (m *model) bool() Lit {
	l := m.bools[m.number(0, len(m.bools)-1, "bool")]
	if m.number(0, 1, "not") == 1 {
		return l.Not()
	}
	return l
}

// maybe is a condition, or none.
func (m *model) maybe() Lit {
	if m.number(0, 2, "certain") == 0 {
		return True
	}
	return m.bool()
}

func holds(l Lit, values []int) bool { return Term{View: l.View()}.Value(values) >= l.Bound() }

const values = 5 // each integer is from 0 to values

func drawModel(t *rapid.T) *model {
	m := &model{T: t, s: New()}
	for range m.number(2, 4, "ints") {
		m.ints = append(m.ints, Term{View: m.s.NewVar(0, values)})
	}
	for range m.number(1, 3, "bools") {
		m.bools = append(m.bools, m.s.NewBool())
	}
	kinds := []func(){m.clause, m.difference, m.linear, m.cumulative, m.energy, m.disjunctive, m.places, m.alternatives}
	for range m.number(1, 5, "constraints") {
		kinds[m.number(0, len(kinds)-1, "kind")]()
	}
	return m
}

func (m *model) rule(r func(values []int) bool) { m.rules = append(m.rules, r) }

func (m *model) clause() {
	lits := []Lit{m.bool(), m.term().AtLeast(m.number(0, values, "bound")), m.term().AtMost(m.number(0, values, "bound"))}
	m.s.AddClause(lits...)
	m.rule(func(v []int) bool { return holds(lits[0], v) || holds(lits[1], v) || holds(lits[2], v) })
}

func (m *model) difference() {
	from, to, apart := m.term(), m.term(), m.number(-values, values, "apart")
	conds := []Lit{m.maybe(), m.maybe()}
	m.s.AddDifference(from, to, apart, conds...)
	m.rule(func(v []int) bool {
		return !holds(conds[0], v) || !holds(conds[1], v) || to.Value(v) >= from.Value(v)+apart
	})
}

func (m *model) linear() {
	var terms []Scaled
	used := map[View]bool{}
	for range m.number(1, 4, "terms") {
		if t := m.term(); !used[t.View] {
			used[t.View] = true
			terms = append(terms, Scaled{m.number(-3, 3, "factor"), t.View})
		}
	}
	most := m.number(-8, 12, "most")
	m.s.AddLinear(terms, most)
	m.rule(func(v []int) bool {
		sum := 0
		for _, t := range terms {
			sum += t.Factor * Term{View: t.View}.Value(v)
		}
		return sum <= most
	})
}

// parts are rigid ones of a few minutes.
func (m *model) parts() []Part {
	var parts []Part
	for range m.number(1, 4, "parts") {
		minutes := m.number(1, 3, "minutes")
		from := m.term()
		parts = append(parts, Part{
			From: from, To: from.Plus(minutes), Minutes: Constant(minutes), Amount: Constant(m.number(1, 3, "amount")), Present: m.maybe(),
		})
	}
	return parts
}

func (m *model) levels() []Level {
	if m.number(0, 1, "used") == 0 {
		return nil
	}
	return []Level{{0, 0}, {m.number(1, 3, "used from"), m.number(0, 2, "amount used")}, {m.number(4, 7, "used to"), 0}}
}

func (m *model) within(capacity int, levels []Level, parts []Part) {
	m.rule(func(v []int) bool {
		for minute := range values + 4 {
			sum, used := 0, 0
			for _, p := range parts {
				if holds(p.Present, v) && p.From.Value(v) <= minute && minute < p.To.Value(v) {
					sum += p.Amount.Value(v)
				}
			}
			for _, at := range levels {
				if at.From <= minute {
					used = at.Used
				}
			}
			if sum > 0 && sum+used > capacity {
				return false
			}
		}
		return true
	})
}

func (m *model) cumulative() {
	capacity, levels, parts := m.number(1, 4, "capacity"), m.levels(), m.parts()
	if m.number(0, 1, "amount varies") == 1 {
		parts[0].Amount = m.term()
	}
	m.s.AddCumulative(capacity, levels, parts)
	m.within(capacity, levels, parts)
}

// energy alone deduces little; that it deduces nothing wrong shows beside the timetable.
func (m *model) energy() {
	capacity, levels, parts := m.number(1, 4, "capacity"), m.levels(), m.parts()
	m.s.AddCumulative(capacity, levels, parts)
	m.s.AddEnergy(capacity, levels, parts)
	m.within(capacity, levels, parts)
}

func (m *model) disjunctive() {
	var stays []Stay
	for _, p := range m.parts() {
		stays = append(stays, Stay{p.From, p.To, p.Present, m.number(0, 1, "family")})
	}
	setup := [2][2]int{{0, m.number(0, 2, "setup")}, {m.number(0, 2, "setup back"), 0}}
	m.s.AddDisjunctive(stays, func(from, to int) int { return setup[from][to] })
	m.rule(func(v []int) bool {
		for i, a := range stays {
			for _, b := range stays[:i] {
				first := a.To.Value(v)+setup[a.Family][b.Family] <= b.From.Value(v)
				second := b.To.Value(v)+setup[b.Family][a.Family] <= a.From.Value(v)
				if holds(a.Present, v) && holds(b.Present, v) && !first && !second {
					return false
				}
			}
		}
		return true
	})
}

func (m *model) places() {
	people := m.number(1, 2, "people")
	var posts []Post
	for _, p := range m.parts() {
		posts = append(posts, Post{p.From, p.To, p.Present, m.number(0, 2, "place")})
	}
	begin := m.number(0, 4, "posted")
	fixed := []FixedPost{{begin, begin + m.number(1, 3, "posted for"), m.number(0, 2, "posted place")}}
	m.s.AddPlaces(people, fixed, posts)
	m.rule(func(v []int) bool {
		for minute := range values + 4 {
			in, own := map[int]bool{}, false
			for _, p := range posts {
				if holds(p.Present, v) && p.From.Value(v) <= minute && minute < p.To.Value(v) {
					in[p.Place], own = true, true
				}
			}
			for _, f := range fixed {
				if f.From <= minute && minute < f.To {
					in[f.Place] = true
				}
			}
			if own && len(in) > people {
				return false
			}
		}
		return true
	})
}

func (m *model) spans(label string) []Span {
	first := m.number(0, 3, label)
	second := first + 2 + m.number(0, 2, label+" again")
	return []Span{{first, first + m.number(0, 1, label+" more")}, {second, second + m.number(0, 3, label+" more")}}
}

func (m *model) alternatives() {
	starts := []Term{m.ints[0], m.ints[1]}
	sure := m.maybe()
	var ways []Alternative
	for range m.number(1, 2, "ways") {
		w := Alternative{Present: m.bool()}
		for k := range m.number(1, 2, "blocks") {
			least := m.number(0, 1, "least wait")
			w.Blocks = append(w.Blocks, Block{
				Start: starts[k], Allowed: Allowed{m.spans("allowed"), 1}, Minutes: m.number(1, 2, "block"),
				WaitMin: least, WaitMax: least + m.number(0, 3, "wait more"), Within: m.spans("within"),
			})
		}
		ways = append(ways, w)
	}
	someWay := []Lit{sure.Not()}
	for _, w := range ways {
		someWay = append(someWay, w.Present)
		m.tie(w)
	}
	m.s.AddClause(someWay...)
	m.s.AddAlternatives(sure, ways)
	m.rule(func(v []int) bool {
		some := !holds(sure, v)
		for _, w := range ways {
			some = some || holds(w.Present, v)
			if holds(w.Present, v) && !w.fits(v) {
				return false
			}
		}
		return some
	})
}

// tie states what the propagator leaves to differences.
func (m *model) tie(w Alternative) {
	if len(w.Blocks) == 2 {
		a, b := w.Blocks[0], w.Blocks[1]
		m.s.AddDifference(a.Start, b.Start, a.Minutes+a.WaitMin, w.Present)
		m.s.AddDifference(b.Start, a.Start, -a.Minutes-a.WaitMax, w.Present)
	}
}

func among(n int, spans []Span) bool {
	for _, sp := range spans {
		if sp.Lo <= n && n <= sp.Hi {
			return true
		}
	}
	return false
}

// fits tries a way minute by minute.
func (w Alternative) fits(v []int) bool {
	for k, b := range w.Blocks {
		start := b.Start.Value(v)
		if !among(start, b.Allowed.Spans) {
			return false
		}
		if k+1 == len(w.Blocks) {
			break
		}
		from, to := start+b.Minutes, w.Blocks[k+1].Start.Value(v)
		one := from == to
		for _, sp := range b.Within {
			one = one || sp.Lo <= from && to <= sp.Hi
		}
		if to-from < b.WaitMin || to-from > b.WaitMax || !one {
			return false
		}
	}
	return true
}

// solutions are all assignments that keep the rules.
func (m *model) solutions() [][]int {
	var all [][]int
	now := make([]int, m.s.Vars())
	var fill func(v int)
	fill = func(v int) {
		if v == len(now) {
			for _, r := range m.rules {
				if !r(now) {
					return
				}
			}
			all = append(all, append([]int(nil), now...))
			return
		}
		most := values
		if v > len(m.ints) {
			most = 1
		}
		for now[v] = 0; now[v] <= most; now[v]++ {
			fill(v + 1)
		}
		now[v] = 0
	}
	fill(1)
	return all
}

// TestNogoodsAreImplied holds the outcome and every clause that is learnt against all solutions of the model.
func TestNogoodsAreImplied(t *testing.T) {
	learnt := 0
	rapid.Check(t, func(t *rapid.T) {
		m := drawModel(t)
		all := m.solutions()
		m.s.onLearn = func(lits []Lit) {
			learnt++
			for _, v := range all {
				some := false
				for _, l := range lits {
					some = some || holds(l, v)
				}
				require.True(t, some, "%v is a solution that the clause %v denies", v, lits)
			}
		}
		how := Strategy{Activity: true, RestartConflicts: 1}
		outcome := m.s.Search(ladder{}, how, Limits{})
		if len(all) == 0 {
			require.Equal(t, Exhausted, outcome)
			require.True(t, m.s.Broken())
			return
		}
		require.Equal(t, Solved, outcome)
		require.Contains(t, all, m.s.Values())
		least := values + 1
		for _, v := range all {
			least = min(least, m.ints[0].Value(v))
		}
		how.Assume = []Lit{m.ints[0].AtMost(least - 1)}
		require.Equal(t, Exhausted, m.s.Search(ladder{}, how, Limits{}), "less than the least")
		how.Assume, how.Hold = nil, []Lit{m.ints[0].AtMost(least)}
		require.Equal(t, Solved, m.s.Search(ladder{}, how, Limits{}))
		require.Contains(t, all, m.s.Values())
	})
	require.Positive(t, learnt)
}

func TestLiterals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := View(rapid.IntRange(0, 1<<20).Draw(t, "view"))
		b := rapid.IntRange(-MaxBound, MaxBound).Draw(t, "bound")
		l := AtLeast(v, b)
		require.Equal(t, v, l.View())
		require.Equal(t, b, l.Bound())
		require.Equal(t, l, l.Not().Not())
		require.Equal(t, AtMost(v, b-1), l.Not())
	})
	require.Equal(t, False, True.Not())
	s := New()
	require.True(t, s.Holds(True))
	require.True(t, s.Fails(False))
}

func TestLuby(t *testing.T) {
	var first []int
	for i := 1; i <= 15; i++ {
		first = append(first, luby(i))
	}
	require.Equal(t, []int{1, 1, 2, 1, 1, 2, 4, 1, 1, 2, 1, 1, 2, 4, 8}, first)
}
