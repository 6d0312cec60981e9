package scheduler

import (
	"slices"

	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// answer is what a limited search says of a question.
type answer int

const (
	no answer = iota
	yes
	unanswered
)

// feasible says whether there is a solution without the relaxed groups.
func (r *run) feasible(skip relaxed, pins []pin) answer {
	m := newMeter(r.meter.ctx)
	c := newClosure(buildModel(r.res, skip, pins, m), m)
	state := c.root()
	closed := c.run(state)
	switch {
	case m.stopped:
		return unanswered
	case !closed:
		return no
	}
	x := encode(c.model, state, m)
	if m.stopped {
		return unanswered
	}
	how := engine.Strategy{Activity: true, RestartConflicts: 100}
	switch x.solver.Search(&brancher{x: x}, how, engine.Limits{Conflicts: r.options.ConflictLimit, Stop: m.look}) {
	case engine.Solved:
		return yes
	case engine.Exhausted:
		return no
	}
	return unanswered
}

// shareAtOnce is of so many groups one that may be tried at once.
const shareAtOnce = 32

// filter relaxes one group after another, for good where there is still no solution without it. What remains suffices for
// that there is none; it is minimal unless a question stayed unanswered. Groups that come late are the likelier to remain.
// Where there are many, several are tried at once, twice as many as could be spared before, which comes to the same.
func (r *run) filter(groups []group, pins []pin) (kept []group, minimal bool) {
	skip := make(relaxed, len(groups))
	minimal = true
	most := max(len(groups)/shareAtOnce, 1)
	for size := 1; len(groups) > 0; {
		if r.meter.ctx.Err() != nil {
			return append(kept, groups...), false
		}
		size = min(size, most, len(groups))
		for _, g := range groups[:size] {
			skip[g] = true
		}
		answer := r.feasible(skip, pins)
		if answer == no {
			groups, size = groups[size:], 2*size
			continue
		}
		for _, g := range groups[:size] {
			delete(skip, g)
		}
		if size > 1 {
			size /= 2
			continue
		}
		kept = append(kept, groups[0])
		minimal = minimal && answer == yes
		groups = groups[1:]
	}
	return kept, minimal
}

// blame finds why the problem has no solution.
func (r *run) blame() ([]Blame, bool) {
	kept, minimal := r.filter(r.groups(), nil)
	var blame []Blame
	for _, g := range kept {
		b := Blame{Kind: g.kind, Index: g.index, Name: r.nameOf(g)}
		b.Need, b.Have = r.figures(g, kept)
		switch {
		case g.kind == KindCalendar && b.Need > b.Have:
			b.Kind = KindTooLong
		case g.kind == KindCalendar:
			b.Need, b.Have = r.figuresTogether(b, kept)
		case g.kind == KindCumulative && b.Need > r.problem.Cumulatives[g.index].Capacity:
			b.Kind, b.Have = KindOverDemand, r.problem.Cumulatives[g.index].Capacity
		}
		blame = append(blame, b)
	}
	return blame, minimal
}

// groups are all groups of the problem that constrain anything, those last that make the more telling explanation. The
// horizon comes last: it is blamed whenever there is a solution without it.
func (r *run) groups() []group {
	p := r.problem
	var groups []group
	add := func(kind Kind, count int, constrains func(i int) bool) {
		for i := range count {
			if constrains(i) {
				groups = append(groups, group{kind, i})
			}
		}
	}
	add(KindShared, len(p.Unaries), func(i int) bool { return r.tasksOn(i) > 1 })
	add(KindCumulative, len(p.Cumulatives), func(int) bool { return true })
	add(KindForbidden, len(p.Tasks), func(i int) bool {
		return slices.ContainsFunc(p.Tasks[i].Modes, func(m plan.Mode) bool { return len(m.ForbiddenStarts) > 0 })
	})
	add(KindSeparation, len(p.Separations), func(int) bool { return true })
	add(KindLagMinimum, len(p.Lags), func(int) bool { return true })
	add(KindBudget, len(p.Budgets), func(int) bool { return true })
	add(KindCrew, len(p.Crews), func(int) bool { return true })
	add(KindDeadline, len(p.Tasks), func(i int) bool { return p.Tasks[i].DeadlineMinute > 0 })
	add(KindRelease, len(p.Tasks), func(i int) bool { return p.Tasks[i].ReleaseMinute > 0 })
	add(KindBusy, len(p.Unaries), func(i int) bool { return len(p.Unaries[i].Busy)+len(p.Unaries[i].Held) > 0 && r.tasksOn(i) > 0 })
	add(KindLagMaximum, len(p.Lags), func(i int) bool { return p.Lags[i].MaxMinutes >= 0 })
	add(KindCalendar, len(p.Calendars), func(int) bool { return true })
	return append(groups, group{kind: KindHorizon})
}

// tasksOn is how many tasks have a mode on the unary.
func (r *run) tasksOn(unary int) int {
	count := 0
	for _, task := range r.problem.Tasks {
		if slices.ContainsFunc(task.Modes, func(m plan.Mode) bool { return m.Unary == unary }) {
			count++
		}
	}
	return count
}

func (r *run) nameOf(g group) string {
	p := r.problem
	switch g.kind {
	case KindRelease, KindForbidden, KindDeadline:
		return p.Tasks[g.index].Name
	case KindBudget:
		return p.Budgets[g.index].Name
	case KindCrew:
		return p.Crews[g.index].Name
	case KindBusy, KindShared:
		return p.Unaries[g.index].Name
	case KindCalendar:
		return p.Calendars[g.index].Name
	case KindCumulative:
		return p.Cumulatives[g.index].Name
	case KindSeparation:
		return p.Separations[g.index].Name
	case KindLagMinimum, KindLagMaximum:
		return p.Tasks[p.Lags[g.index].From].Name + " to " + p.Tasks[p.Lags[g.index].To].Name
	}
	return ""
}
