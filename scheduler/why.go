package scheduler

import (
	"slices"

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
	m := newMeter(r.meter.ctx, r.options.NodeLimit)
	s := newSearch(buildModel(r.res, skip, pins, m), m)
	switch {
	case s.decideAny(s.root()):
		return yes
	case m.stopped:
		return unanswered
	}
	return no
}

// filter relaxes one group after another, for good where there is still no solution without it. What remains suffices for
// that there is none; it is minimal unless a question stayed unanswered. Groups that come late are the likelier to remain.
func (r *run) filter(groups []group, pins []pin) (kept []group, minimal bool) {
	skip := make(relaxed, len(groups))
	minimal = true
	for _, g := range groups {
		skip[g] = true
		if answer := r.feasible(skip, pins); answer != no {
			delete(skip, g)
			kept = append(kept, g)
			minimal = minimal && answer == yes
		}
	}
	return kept, minimal
}

// blame finds why the problem has no solution.
func (r *run) blame() ([]Blame, bool) {
	kept, minimal := r.filter(r.groups(), nil)
	var blame []Blame
	for _, g := range kept {
		b := Blame{Kind: g.kind, Index: g.index, Name: r.nameOf(g)}
		b.Need, b.Have = r.figures(g)
		switch {
		case g.kind == KindCalendar && b.Need > b.Have:
			b.Kind = KindTooLong
		case g.kind == KindCumulative && b.Need > r.problem.Cumulatives[g.index].Capacity:
			b.Kind, b.Have = KindOverDemand, r.problem.Cumulatives[g.index].Capacity
		}
		blame = append(blame, b)
	}
	return blame, minimal
}

// groups are all groups of the problem that constrain anything, those last that make the more telling explanation. The
// horizon comes after the calendars, since a calendar often ends with it only because nobody listed more.
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
	add(KindLagMinimum, len(p.Lags), func(int) bool { return true })
	add(KindRelease, len(p.Tasks), func(i int) bool { return p.Tasks[i].ReleaseMinute > 0 })
	add(KindBusy, len(p.Unaries), func(i int) bool { return len(p.Unaries[i].Busy) > 0 && r.tasksOn(i) > 0 })
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
	case KindRelease, KindForbidden:
		return p.Tasks[g.index].Name
	case KindBusy, KindShared:
		return p.Unaries[g.index].Name
	case KindCalendar:
		return p.Calendars[g.index].Name
	case KindCumulative:
		return p.Cumulatives[g.index].Name
	case KindLagMinimum, KindLagMaximum:
		return p.Tasks[p.Lags[g.index].From].Name + " to " + p.Tasks[p.Lags[g.index].To].Name
	}
	return ""
}

// reasons finds what keeps each task of the solution from starting one step earlier.
func (r *run) reasons(solution plan.Solution) []Reason {
	var reasons []Reason
	for task := range solution.Tasks {
		if r.meter.ctx.Err() != nil {
			return reasons
		}
		reasons = append(reasons, r.reasonsOf(solution, task)...)
	}
	return reasons
}

func (r *run) reasonsOf(solution plan.Solution, task int) []Reason {
	earlier := solution.Tasks[task].StartMinute - max(r.problem.StepMinutes, 1)
	if earlier < 0 {
		return []Reason{{Task: task, Kind: KindOrigin, OtherTask: -1, UntilMinute: 0}}
	}
	local := *r // with all else as it is
	local.problem = r.fixed(solution, task)
	resources := *r.res
	resources.problem = local.problem
	local.res = &resources
	pins := make([]pin, len(solution.Tasks))
	for i, placement := range solution.Tasks {
		pins[i] = pin{mode: 0, starts: span{placement.StartMinute, placement.StartMinute}}
	}
	pins[task].starts = span{earlier, earlier}
	kept, _ := local.filter(local.groupsOf(task), pins)
	var reasons []Reason
	for _, g := range kept {
		reason := Reason{Task: task, Kind: g.kind, Index: g.index, Name: r.nameOf(g), OtherTask: -1}
		reason.UntilMinute = untilMinute(r.problem, solution, task, g)
		if g.kind == KindLagMinimum || g.kind == KindLagMaximum {
			lag := r.problem.Lags[g.index]
			reason.OtherTask = lag.From + lag.To - task
		}
		if g.kind == KindHorizon {
			reason.Kind = KindMakespan
		}
		reasons = append(reasons, reason)
	}
	return reasons
}

// fixed is the problem with each task's mode as in the solution, its phases too but for those of the given task, and the
// makespan as horizon.
func (r *run) fixed(solution plan.Solution, task int) *plan.Problem {
	p := *r.problem
	p.HorizonMinutes = solution.MakespanMinute()
	p.Tasks = slices.Clone(p.Tasks)
	for i, placement := range solution.Tasks {
		mode := p.Tasks[i].Modes[placement.Mode]
		if i != task {
			mode.Phases = slices.Clone(mode.Phases)
			for k, taken := range placement.Phases {
				mode.Phases[k].Minutes, mode.Phases[k].MaxMinutes = taken.Minutes(), 0
			}
		}
		p.Tasks[i].Modes = []plan.Mode{mode}
	}
	return &p
}

// groupsOf is the groups that touch the task, in a problem where each task has one mode. The makespan, which is the
// horizon there, is the last resort of an explanation and so comes first.
func (r *run) groupsOf(task int) []group {
	p := r.problem
	mode := p.Tasks[task].Modes[0]
	groups := []group{{kind: KindHorizon}}
	for _, g := range r.groups() {
		touches := false
		switch g.kind {
		case KindRelease, KindForbidden:
			touches = g.index == task
		case KindBusy, KindShared:
			touches = g.index == mode.Unary
		case KindCalendar:
			touches = slices.ContainsFunc(mode.Phases, func(ph plan.Phase) bool { return ph.Calendar == g.index })
		case KindCumulative:
			touches = slices.ContainsFunc(mode.Phases, func(ph plan.Phase) bool {
				return slices.ContainsFunc(ph.Demands, func(d plan.Demand) bool { return d.Cumulative == g.index })
			})
		case KindLagMinimum, KindLagMaximum:
			touches = p.Lags[g.index].From == task || p.Lags[g.index].To == task
		}
		if touches {
			groups = append(groups, g)
		}
	}
	return groups
}
