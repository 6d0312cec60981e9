package scheduler

import (
	"slices"

	"saggar/scheduler/plan"
)

// figures are Need and Have of a group that is blamed with others, as Blame documents them.
func (r *run) figures(g group, blamed []group) (need, have int) {
	p := r.problem
	switch g.kind {
	case KindHorizon:
		return r.makespanWithoutHorizon(), p.HorizonMinutes
	case KindRelease:
		return -1, p.Tasks[g.index].ReleaseMinute
	case KindForbidden:
		return -1, fewestForbidden(p.Tasks[g.index], p.HorizonMinutes)
	case KindBusy:
		return shortestOn(p, g.index), longest(r.res.free[g.index], p.HorizonMinutes)
	case KindShared:
		return boundTo(p, g.index), p.HorizonMinutes
	case KindCalendar:
		return longestStretch(p, []int{g.index}), longest(r.res.open[g.index], r.end(blamed))
	case KindCumulative:
		return greatestDemand(p, g.index), r.leastFree(g.index)
	case KindDeadline:
		return -1, p.Tasks[g.index].DeadlineMinute
	case KindBudget:
		return leastUse(p, g.index), p.Budgets[g.index].Amount
	case KindCrew:
		return 1, p.Crews[g.index].People
	case KindLagMinimum:
		return p.Lags[g.index].MinMinutes, -1
	case KindLagMaximum:
		return -1, p.Lags[g.index].MaxMinutes
	case KindSeparation:
		return p.Separations[g.index].ToMinutes, p.Separations[g.index].FromMinutes
	}
	return -1, -1
}

// figuresTogether are Need and Have of all calendars blamed taken as one, where these show what those of one calendar do
// not; else those of the calendar.
func (r *run) figuresTogether(b Blame, blamed []group) (need, have int) {
	var calendars []int
	var open set
	for _, g := range blamed {
		if g.kind == KindCalendar {
			calendars = append(calendars, g.index)
			open = union(open, r.res.open[g.index])
		}
	}
	need, have = longestStretch(r.problem, calendars), longest(open, r.end(blamed))
	if need > have {
		return need, have
	}
	return b.Need, b.Have
}

// end is the horizon if it is blamed; without it no minute is too late.
func (r *run) end(blamed []group) int {
	if slices.Contains(blamed, group{kind: KindHorizon}) {
		return r.problem.HorizonMinutes
	}
	return far
}

func (r *run) makespanWithoutHorizon() int {
	m := newMeter(r.meter.ctx)
	c := newClosure(buildModel(r.res, relaxed{group{kind: KindHorizon}: true}, nil, m), m)
	state := c.root()
	if !c.run(state) || m.stopped {
		return -1
	}
	alone := run{problem: r.problem, options: r.options, meter: m, res: r.res}
	x := encode(c.model, state, m)
	if m.stopped {
		return -1
	}
	alone.options.OnImprove = nil
	t := team{run: &alone, members: []*optimiser{newOptimiser(&alone, x, 0)}}
	if t.minimise(plan.Makespan, 0, true) == yes {
		return t.values[0].Value
	}
	return -1
}

// leastUse is what all tasks that must be done need of the budget at least.
func leastUse(p *plan.Problem, budget int) int {
	sum := 0
	for _, task := range p.Tasks {
		least := far
		for _, mode := range task.Modes {
			used := 0
			for _, use := range mode.Uses {
				if use.Budget == budget {
					used += use.Amount
				}
			}
			least = min(least, used)
		}
		if !task.Optional {
			sum += least
		}
	}
	return sum
}

// longest is the length of the longest span of the minutes before the horizon.
func longest(minutes set, horizon int) int {
	minutes = minutes.atMost(horizon - 1)
	most := 0
	for i := range minutes.spans {
		most = max(most, minutes.at(i).hi-minutes.at(i).lo+1)
	}
	return most
}

func fewestForbidden(task plan.Task, horizon int) int {
	fewest := far
	for _, mode := range task.Modes {
		forbidden := sortedMinutes(mode.ForbiddenStarts).atMost(horizon - 1)
		sum := 0
		for i := range forbidden.spans {
			sum += forbidden.at(i).hi - forbidden.at(i).lo + 1
		}
		fewest = min(fewest, sum)
	}
	return fewest
}

func leastMinutes(mode plan.Mode) int {
	sum := 0
	for _, phase := range mode.Phases {
		sum += phase.Minutes
	}
	return sum
}

// shortestOn is the least minutes of any mode on the unary.
func shortestOn(p *plan.Problem, unary int) int {
	least := far
	for _, task := range p.Tasks {
		for _, mode := range task.Modes {
			if mode.Unary == unary {
				least = min(least, leastMinutes(mode))
			}
		}
	}
	return least
}

// boundTo is the least minutes of all tasks that can be done on this unary only.
func boundTo(p *plan.Problem, unary int) int {
	sum := 0
	for _, task := range p.Tasks {
		if slices.ContainsFunc(task.Modes, func(m plan.Mode) bool { return m.Unary != unary }) {
			continue
		}
		least := far
		for _, mode := range task.Modes {
			least = min(least, leastMinutes(mode))
		}
		sum += least
	}
	return sum
}

// longestStretch is the most minutes that a task must have without a break in the openings of the calendars, taken as one:
// over tasks the greatest, over a task's modes the least.
func longestStretch(p *plan.Problem, calendars []int) int {
	most := 0
	for _, task := range p.Tasks {
		easiest := far
		for _, mode := range task.Modes {
			easiest = min(easiest, stretch(mode, calendars))
		}
		most = max(most, easiest)
	}
	return most
}

// stretch is the most minutes of phases in a row that are bound to any of the calendars. They follow each other without a
// gap, so that all lie in one opening.
func stretch(mode plan.Mode, calendars []int) int {
	most, minutes := 0, 0
	for _, phase := range mode.Phases {
		switch {
		case slices.Contains(calendars, phase.Calendar):
			minutes += phase.Minutes
			most = max(most, minutes)
		case phase.LongestMinutes() > 0:
			minutes = 0
		}
	}
	return most
}

// greatestDemand is the amount of the cumulative that a task must have at once: over tasks the greatest, over a task's
// modes the least.
func greatestDemand(p *plan.Problem, cumulative int) int {
	most := 0
	for _, task := range p.Tasks {
		easiest := far
		for _, mode := range task.Modes {
			hardest := 0
			for _, phase := range mode.Phases {
				sum := 0
				for _, demand := range phase.Demands {
					if demand.Cumulative == cumulative {
						sum += demand.Amount
					}
				}
				if phase.Minutes > 0 {
					hardest = max(hardest, sum)
				}
			}
			easiest = min(easiest, hardest)
		}
		most = max(most, easiest)
	}
	return most
}

// leastFree is the least that is free of the cumulative before the horizon, at least 0.
func (r *run) leastFree(cumulative int) int {
	used := 0
	for _, at := range r.res.levels[cumulative] {
		if at.from < r.problem.HorizonMinutes {
			used = max(used, at.used)
		}
	}
	return max(r.problem.Cumulatives[cumulative].Capacity-used, 0)
}

// moment collects the latest minute at which one of a task's anchors was set free: within one step before it.
type moment struct{ step, latest int }

func (m *moment) consider(minute, anchor int) {
	if minute <= anchor && minute > anchor-m.step {
		m.latest = max(m.latest, minute)
	}
}

// considerLag considers when a lag to the task lets go of it.
func (m *moment) considerLag(p *plan.Problem, solution plan.Solution, lag plan.Lag, task int) {
	from := solution.Tasks[lag.From]
	if lag.To != task || from.Omitted() {
		return
	}
	counted := from.StartMinute
	if !lag.FromStart {
		counted = from.ReadyMinute(p.Tasks[lag.From].Modes[from.Mode])
	}
	m.consider(counted+lag.MinMinutes, solution.Tasks[task].StartMinute)
}

// considerShared considers when other tasks on a unary, with the setup after them, let go of the task.
func (m *moment) considerShared(p *plan.Problem, solution plan.Solution, reason Reason) {
	placed := solution.Tasks[reason.Task]
	family := p.Tasks[reason.Task].Modes[placed.Mode].Family
	for _, other := range solution.Tasks {
		if other.Omitted() || p.Tasks[other.Task].Modes[other.Mode].Unary != reason.Index {
			continue
		}
		setup := setupMinutes(p, reason.Index, p.Tasks[other.Task].Modes[other.Mode].Family, family)
		m.consider(other.EndMinute()+setup, placed.StartMinute)
	}
}

// considerSeparation considers the first start of the task that a separation allows after those that it refuses.
func (m *moment) considerSeparation(solution plan.Solution, s plan.Separation, task int) {
	other, after := s.First, s.ToMinutes
	if s.First == task {
		other, after = s.Second, -s.FromMinutes
	}
	m.consider(solution.Tasks[other].StartMinute+after, solution.Tasks[task].StartMinute)
}

// setupMinutes is the setup on a unary from one family to another.
func setupMinutes(p *plan.Problem, unary, from, to int) int {
	if minutes := p.Unaries[unary].SetupMinutes; len(minutes) > 0 {
		return minutes[from][to]
	}
	return 0
}

// untilMinute is Reason.UntilMinute of all but calendars: the minute from which the group holds the task, or the phase that
// the reason names, no longer; -1 where no such minute lies within a step of it.
func untilMinute(p *plan.Problem, solution plan.Solution, reason Reason) int {
	task := reason.Task
	placed := solution.Tasks[task]
	mode := p.Tasks[task].Modes[placed.Mode]
	m := moment{step: max(p.StepMinutes, 1), latest: -1}
	switch reason.Kind {
	case KindRelease:
		m.consider(p.Tasks[task].ReleaseMinute, placed.StartMinute)
	case KindForbidden:
		for _, forbidden := range mode.ForbiddenStarts {
			m.consider(forbidden.End, placed.StartMinute)
		}
	case KindBusy:
		for _, busy := range p.Unaries[reason.Index].Busy {
			m.consider(busy.End, placed.StartMinute)
		}
		for _, held := range p.Unaries[reason.Index].Held {
			m.consider(held.End+setupMinutes(p, reason.Index, held.Family, mode.Family), placed.StartMinute)
		}
	case KindShared:
		m.considerShared(p, solution, reason)
	case KindCumulative:
		if reason.Phase < 0 {
			break
		}
		for _, step := range p.Cumulatives[reason.Index].Used {
			m.consider(step.End, placed.Phases[reason.Phase].Start)
		}
	case KindLagMinimum:
		m.considerLag(p, solution, p.Lags[reason.Index], task)
	case KindSeparation:
		m.considerSeparation(solution, p.Separations[reason.Index], task)
	}
	return m.latest
}
