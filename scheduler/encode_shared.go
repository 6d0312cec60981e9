package scheduler

import (
	"slices"

	"saggar/scheduler/engine"
)

// mostInWindows is how many parts are looked at by windows of time: the work grows with the square.
const mostInWindows = 64

// stay is one mode of a task on a unary.
type stay struct{ task, way int }

// unaries keeps tasks on one unary apart, or in one batch.
func (x *encoding) unaries() {
	on := make([][]stay, len(x.problem.Unaries))
	pairs := 0
	for task := range x.tasks {
		t := &x.tasks[task]
		for way, m := range t.modes {
			if u := x.model.modes[m].unary; u >= 0 && x.alone[u] {
				pairs += len(on[u])
				on[u] = append(on[u], stay{task, way})
			}
		}
	}
	for u, stays := range on {
		if len(stays) < 2 {
			continue
		}
		x.fullUnary(stays)
		if slices.ContainsFunc(stays, func(a stay) bool { return x.source(a).Batch > 0 }) || pairs <= mostOrders {
			x.ordered(u, stays)
		} else {
			x.unordered(u, stays)
		}
	}
	x.batches(on)
}

// fullUnary looks at a unary as a cumulative of one, unless batches may share it.
func (x *encoding) fullUnary(stays []stay) {
	var parts []engine.Part
	for _, a := range stays {
		t := &x.tasks[a.task]
		m := t.modes[a.way]
		if x.source(a).Batch > 0 {
			return
		}
		parts = append(parts, engine.Part{
			From: t.blocks[0], To: x.endOfMode(t, m), Amount: engine.Constant(1),
			Minutes: engine.Constant(x.model.modes[m].least), Present: t.lits[a.way],
		})
	}
	if len(parts) > 2 && len(parts) <= mostInWindows {
		x.solver.AddEnergy(1, nil, parts)
	}
}

func (x *encoding) unordered(u int, stays []stay) {
	var all []engine.Stay
	for _, a := range stays {
		t := &x.tasks[a.task]
		all = append(all, engine.Stay{
			From: t.blocks[0], To: x.endOfMode(t, t.modes[a.way]), Present: t.lits[a.way], Family: x.source(a).Family,
		})
	}
	x.solver.AddDisjunctive(all, func(from, to int) int { return setupMinutes(x.problem, u, from, to) })
}

// ordered gives each pair of tasks that may meet a variable for which goes first, the same on every unary.
func (x *encoding) ordered(u int, stays []stay) {
	for k, b := range stays {
		for _, a := range stays[:k] {
			if a.task == b.task || !x.meter.spend(workPerStatement) {
				continue
			}
			conds := []engine.Lit{x.tasks[a.task].lits[a.way], x.tasks[b.task].lits[b.way]}
			if x.together(a, b) {
				conds = append(conds, x.joined(a, b).Not())
			}
			order := x.order(a.task, b.task)
			x.precedes(u, a, b, append(conds[:len(conds):len(conds)], order))
			x.precedes(u, b, a, append(conds[:len(conds):len(conds)], order.Not()))
		}
	}
}

func (x *encoding) order(a, b int) engine.Lit {
	key := [2]int{a, b}
	lit, ok := x.orders[key]
	if !ok {
		lit = x.either()
		x.orders[key] = lit
		x.idle[lit.View()] = true
	}
	return lit
}

func (x *encoding) precedes(u int, a, b stay, conds []engine.Lit) {
	first, second := &x.tasks[a.task], &x.tasks[b.task]
	apart := setupMinutes(x.problem, u, x.source(a).Family, x.source(b).Family)
	x.solver.AddDifference(x.endOfMode(first, first.modes[a.way]), second.blocks[0], apart, conds...)
}

// cumulative states what the tasks take of a cumulative.
func (x *encoding) cumulative(c int) {
	var parts []engine.Part
	most := 0
	for task := range x.tasks {
		own := x.partsOf(task, c)
		parts = append(parts, own...)
		highest := 0
		for _, p := range own {
			highest += x.solver.MaxOf(p.Amount)
		}
		most += highest
	}
	used := 0
	var levels []engine.Level
	for _, at := range x.res.levels[c] {
		levels = append(levels, engine.Level{From: at.from, Used: at.used})
		used = max(used, at.used)
	}
	if used == 0 {
		levels = nil
	}
	if capacity := x.problem.Cumulatives[c].Capacity; len(parts) > 0 && most+used > capacity {
		x.solver.AddCumulative(capacity, levels, parts)
	}
}

// partsOf is when a task takes how much of a cumulative. Modes that all take one amount from start to end make one part of
// an amount and a length that depend on the mode; else each mode has parts of its own.
func (x *encoding) partsOf(task, c int) []engine.Part {
	t := &x.tasks[task]
	var all [][]part
	whole := t.rigid
	for _, m := range t.modes {
		mode := &x.model.modes[m]
		own := mergedParts(mode.parts, c)
		all = append(all, own)
		full := len(own) == 0 || len(own) == 1 && own[0].from.offset == 0 && own[0].to.offset == mode.least
		whole = whole && full && x.problem.Tasks[task].Modes[mode.index].Batch == 0
	}
	if whole {
		var amounts []int
		for _, own := range all {
			amount := 0
			if len(own) > 0 {
				amount = own[0].amount
			}
			amounts = append(amounts, amount)
		}
		if len(amounts) == 0 || slices.Max(amounts) == 0 {
			return nil
		}
		return []engine.Part{{From: t.blocks[0], To: t.end, Amount: x.chosen(t, amounts), Minutes: t.minutes, Present: t.present}}
	}
	return x.partsByMode(task, all)
}

func (x *encoding) partsByMode(task int, all [][]part) []engine.Part {
	t := &x.tasks[task]
	count := map[engine.Part]int{}
	var keys []engine.Part
	var parts []engine.Part
	batch := false
	for way, own := range all {
		m := t.modes[way]
		batch = batch || x.source(stay{task, way}).Batch > 0
		for _, p := range own {
			key := engine.Part{From: x.point(t, m, p.from), To: x.point(t, m, p.to), Amount: engine.Constant(p.amount)}
			key.Minutes = engine.Constant(max(x.leastBetween(p.from, p.to), 0))
			if count[key]++; count[key] == 1 {
				keys = append(keys, key)
			}
		}
	}
	for _, key := range keys {
		if count[key] == len(t.modes) && !batch {
			key.Present = t.present
			parts = append(parts, key)
			continue
		}
		for way, own := range all {
			for _, p := range own {
				if x.point(t, t.modes[way], p.from) == key.From && x.point(t, t.modes[way], p.to) == key.To && p.amount == key.Amount.Off {
					mine := key
					mine.Present = x.leads(stay{task, way})
					parts = append(parts, mine)
				}
			}
		}
	}
	return parts
}

// leastBetween is the least minutes between two points of one mode.
func (x *encoding) leastBetween(from, to point) int {
	minutes := to.offset - from.offset
	for k := from.block; k < to.block; k++ {
		minutes += x.blocks[k].minutes + x.blocks[k].waitMin
	}
	return minutes
}

// mergedParts are the parts of a mode on a cumulative, those that follow each other with one amount as one.
func mergedParts(parts []part, c int) []part {
	var merged []part
	for _, p := range parts {
		if p.cumulative != c || p.from == p.to {
			continue
		}
		if n := len(merged) - 1; n >= 0 && merged[n].to == p.from && merged[n].amount == p.amount {
			merged[n].to = p.to
			continue
		}
		merged = append(merged, p)
	}
	return merged
}

// budget keeps the uses of the modes taken within a budget.
func (x *encoding) budget(b int) {
	var terms []engine.Scaled
	most := x.problem.Budgets[b].Amount
	for task := range x.tasks {
		t := &x.tasks[task]
		var amounts []int
		for way := range t.modes {
			sum := 0
			for _, use := range x.source(stay{task, way}).Uses {
				if use.Budget == b {
					sum += use.Amount
				}
			}
			amounts = append(amounts, sum)
		}
		if len(amounts) == 0 || slices.Max(amounts) == 0 {
			continue
		}
		if t.present != engine.True {
			for way, amount := range amounts {
				terms = append(terms, engine.Scaled{Factor: amount, View: t.lits[way].View()})
			}
			continue
		}
		v := x.chosen(t, amounts)
		most -= v.Off
		terms = append(terms, engine.Scaled{Factor: 1, View: v.View})
	}
	x.solver.AddLinear(terms, most)
}

// crew keeps the places in which one of a crew must be within its people.
func (x *encoding) crew(c int) {
	crew := x.problem.Crews[c]
	var fixed []engine.FixedPost
	for _, post := range crew.Posted {
		fixed = append(fixed, engine.FixedPost{From: post.Start, To: post.End, Place: post.Place})
	}
	var posts []engine.Post
	for task := range x.tasks {
		t := &x.tasks[task]
		for way, m := range t.modes {
			for _, p := range x.phaseSpans(t, m) {
				for _, watch := range p.phase.Watches {
					if watch.Crew == c {
						posts = append(posts, engine.Post{From: p.from, To: p.to, Present: x.leads(stay{task, way}), Place: watch.Place})
					}
				}
			}
		}
	}
	if len(posts) > 0 {
		x.solver.AddPlaces(crew.People, fixed, posts)
	}
}
