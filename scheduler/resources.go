package scheduler

import (
	"slices"

	"saggar/scheduler/plan"
)

// resources keeps what calendars, unaries and cumulatives leave free, as sets of minutes from 0 on, worked out once and
// used by every model of the same problem.
type resources struct {
	problem   *plan.Problem
	open      []set            // by calendar
	free      []set            // by unary
	levels    [][]level        // by cumulative
	room      map[demandOn]set // minutes that still carry the demand
	forFamily map[onUnary]set
}

// onUnary is a family of modes on a unary.
type onUnary struct{ unary, family int }

// level is what is used of a cumulative from a minute on, until the next level.
type level struct{ from, used int }

// demandOn is a demand on a cumulative.
type demandOn struct{ cumulative, amount int }

var always = single(0, far)

func newResources(problem *plan.Problem, m *meter) *resources {
	r := &resources{problem: problem, room: make(map[demandOn]set), forFamily: make(map[onUnary]set)}
	for _, calendar := range problem.Calendars {
		m.spend(len(calendar.Open))
		r.open = append(r.open, minutesOf(calendar.Open))
	}
	for _, unary := range problem.Unaries {
		m.spend(8 * len(unary.Busy))
		r.free = append(r.free, complement(sortedMinutes(unary.Busy)))
	}
	for _, cumulative := range problem.Cumulatives {
		m.spend(16 * len(cumulative.Used))
		r.levels = append(r.levels, levelsOf(cumulative.Used))
	}
	return r
}

// minutesOf is the set of minutes, not below 0, of intervals in rising order of start.
func minutesOf(intervals []plan.Interval) set {
	spans := make([]span, 0, len(intervals))
	for _, interval := range intervals {
		spans = appendSpan(spans, max(interval.Start, 0), interval.End-1)
	}
	return newSet(spans)
}

func sortedMinutes(intervals []plan.Interval) set {
	byStart := func(a, b plan.Interval) int { return a.Start - b.Start }
	if !slices.IsSortedFunc(intervals, byStart) {
		intervals = slices.Clone(intervals)
		slices.SortFunc(intervals, byStart)
	}
	return minutesOf(intervals)
}

// complement is every minute from 0 on that is not in s.
func complement(s set) set {
	spans := make([]span, 0, len(s.spans)+1)
	next := 0
	for i := range s.spans {
		spans = appendSpan(spans, next, s.at(i).lo-1)
		next = s.at(i).hi + 1
	}
	return newSet(appendSpan(spans, next, far))
}

// freeFor is the minutes at which the unary is free for a family: not busy, and clear of what is held there with the setups
// before and after it.
func (r *resources) freeFor(unary, family int) set {
	u := &r.problem.Unaries[unary]
	if len(u.Held) == 0 {
		return r.free[unary]
	}
	key := onUnary{unary, family}
	if found, ok := r.forFamily[key]; ok {
		return found
	}
	setup := func(from, to int) int { return setupMinutes(r.problem, unary, from, to) }
	var held []plan.Interval
	for _, h := range u.Held {
		held = append(held, plan.Interval{Start: h.Start - setup(family, h.Family), End: h.End + setup(h.Family, family)})
	}
	r.forFamily[key] = intersect(r.free[unary], complement(sortedMinutes(held)))
	return r.forFamily[key]
}

func levelsOf(used []plan.Step) []level {
	changes := make([]level, 0, 2*len(used))
	for _, step := range used {
		if step.End > 0 && step.Amount > 0 {
			changes = append(changes, level{max(step.Start, 0), step.Amount}, level{step.End, -step.Amount})
		}
	}
	slices.SortFunc(changes, func(a, b level) int { return a.from - b.from })
	levels := make([]level, 1, len(changes)+1)
	now := 0
	for _, change := range changes {
		now += change.used
		if change.from == levels[len(levels)-1].from {
			levels[len(levels)-1].used = now
		} else {
			levels = append(levels, level{change.from, now})
		}
	}
	return levels
}

// roomFor is the minutes at which the cumulative still carries the amount.
func (r *resources) roomFor(demand demandOn, m *meter) set {
	if found, ok := r.room[demand]; ok {
		return found
	}
	levels := r.levels[demand.cumulative]
	m.spend(len(levels))
	capacity := r.problem.Cumulatives[demand.cumulative].Capacity
	var spans []span
	for i, at := range levels {
		until := far
		if i+1 < len(levels) {
			until = levels[i+1].from - 1
		}
		if at.used+demand.amount <= capacity {
			spans = appendSpan(spans, at.from, until)
		}
	}
	r.room[demand] = newSet(spans)
	return r.room[demand]
}
