package scheduler

import (
	"slices"

	"saggar/scheduler/plan"
)

// probe asks why one task of a solution does not start earlier, all else being as it is. Its run has the fixed problem,
// whose tasks have one mode each.
type probe struct {
	run
	asked    *plan.Problem // as it was asked
	solution plan.Solution
	task     int
	pins     []pin
}

// reasons finds what keeps each task of the solution from starting earlier.
func (r *run) reasons(solution plan.Solution) []Reason {
	var reasons []Reason
	for task := range solution.Tasks {
		if r.meter.ctx.Err() != nil {
			return reasons
		}
		if !solution.Tasks[task].Omitted() {
			reasons = append(reasons, r.newProbe(solution, task).reasons()...)
		}
	}
	return reasons
}

func (r *run) newProbe(solution plan.Solution, task int) *probe {
	p := &probe{run: *r, asked: r.problem, solution: solution, task: task, pins: make([]pin, len(solution.Tasks))}
	p.problem = r.fixed(solution, task)
	resources := *r.res
	resources.problem = p.problem
	p.res = &resources
	for i, placement := range solution.Tasks {
		if placement.Omitted() {
			p.pins[i] = pin{mode: -1, starts: span{0, far}}
			continue
		}
		p.pins[i] = pin{mode: 0, starts: span{placement.StartMinute, placement.StartMinute}}
	}
	return p
}

func (p *probe) step() int { return max(p.problem.StepMinutes, 1) }

// reasons are those for a step earlier. Where that is nothing but a closed calendar, the task may have been able to begin in
// an earlier opening as far as that phase goes: a later phase that keeps it from there is the better reason and comes first.
func (p *probe) reasons() []Reason {
	earlier := p.solution.Tasks[p.task].StartMinute - p.step()
	if earlier < 0 {
		return []Reason{{Task: p.task, Kind: KindOrigin, OtherTask: -1, Phase: -1, UntilMinute: 0}}
	}
	near := p.whyNotAt(earlier)
	if len(near) != 1 || near[0].Kind != KindCalendar {
		return near
	}
	start := p.lastInEarlierOpening(near[0], earlier)
	if start < 0 {
		return near
	}
	before := p.whyNotAt(start)
	switch {
	case !slices.ContainsFunc(before, func(r Reason) bool { return r.Phase >= 0 }):
		return near
	case slices.ContainsFunc(before, func(r Reason) bool { return r.Kind == KindCalendar && r.Index == near[0].Index }):
		return before
	}
	return append(before, near...)
}

// whyNotAt is what keeps the task from a start; none where nothing does, which happens when the solution is not proven best.
func (p *probe) whyNotAt(start int) []Reason {
	p.pins[p.task].starts = span{start, start}
	if p.feasible(nil, p.pins) != no {
		return nil
	}
	groups := p.groupsAt(start)
	kept, _ := p.filter(groups, p.pins)
	skip := make(relaxed, len(groups))
	for _, g := range groups {
		skip[g] = !slices.Contains(kept, g)
	}
	var reasons []Reason
	for _, g := range kept {
		reason := Reason{Task: p.task, Kind: g.kind, Index: g.index, Name: p.nameOf(g), OtherTask: -1}
		reason.Phase = p.phaseHeld(skip, g)
		switch g.kind {
		case KindLagMinimum, KindLagMaximum:
			lag := p.problem.Lags[g.index]
			reason.OtherTask = lag.From + lag.To - p.task
		case KindSeparation:
			s := p.problem.Separations[g.index]
			reason.OtherTask = s.First + s.Second - p.task
		case KindHorizon:
			reason.Kind = KindMakespan
		}
		if g.kind == KindCalendar {
			reason.UntilMinute = p.nextOpening(reason, start)
		} else {
			reason.UntilMinute = untilMinute(p.asked, p.solution, reason)
		}
		reasons = append(reasons, reason)
	}
	return reasons
}

// phaseHeld is the phase that a calendar, a cumulative or a crew holds back while all that skip has is relaxed: the first of a least
// set of phases that keep the task from its start even when no other phase needs the group. -1 for other groups.
func (p *probe) phaseHeld(skip relaxed, g group) int {
	phases := p.phases()
	whole := slices.Clone(phases)
	defer copy(phases, whole)
	held := -1
	for i := len(phases) - 1; i >= 0; i-- {
		if !needs(phases[i], g) {
			continue
		}
		phases[i] = spared(phases[i], g)
		if p.feasible(skip, p.pins) != no {
			phases[i], held = whole[i], i
		}
	}
	return held
}

func (p *probe) phases() []plan.Phase { return p.problem.Tasks[p.task].Modes[0].Phases }

// needs says whether the phase is bound to the calendar, takes of the cumulative or needs one of the crew.
func needs(phase plan.Phase, g group) bool {
	switch g.kind {
	case KindCalendar:
		return phase.Calendar == g.index
	case KindCumulative:
		return slices.ContainsFunc(phase.Demands, func(d plan.Demand) bool { return d.Cumulative == g.index })
	case KindCrew:
		return slices.ContainsFunc(phase.Watches, func(w plan.Watch) bool { return w.Crew == g.index })
	}
	return false
}

// spared is the phase without its need of the group.
func spared(phase plan.Phase, g group) plan.Phase {
	if g.kind == KindCalendar {
		phase.Calendar = -1
		return phase
	}
	if g.kind == KindCrew {
		phase.Watches = slices.DeleteFunc(slices.Clone(phase.Watches), func(w plan.Watch) bool { return w.Crew == g.index })
		return phase
	}
	phase.Demands = slices.DeleteFunc(slices.Clone(phase.Demands), func(d plan.Demand) bool { return d.Cumulative == g.index })
	return phase
}

// lastInEarlierOpening is the latest start before the given one at which the phase that the reason names would lie in an
// opening; -1 where there is none after the release, or where a wait before the phase leaves its time open.
func (p *probe) lastInEarlierOpening(reason Reason, before int) int {
	if reason.Phase < 0 || isElastic(p.phases()[:reason.Phase+1]) {
		return -1
	}
	offset, minutes := p.minutesBefore(reason.Phase), p.phases()[reason.Phase].Minutes
	open := p.res.open[reason.Index]
	for i := len(open.spans) - 1; i >= 0; i-- {
		opening := open.at(i)
		start := floorDiv(opening.hi+1-minutes-offset, p.step()) * p.step()
		if start < before && start+offset >= opening.lo && start >= p.problem.Tasks[p.task].ReleaseMinute {
			return start
		}
	}
	return -1
}

func isElastic(phases []plan.Phase) bool {
	return slices.ContainsFunc(phases, func(ph plan.Phase) bool { return ph.LongestMinutes() > ph.Minutes })
}

// minutesBefore is the least minutes of all phases before one.
func (p *probe) minutesBefore(phase int) int {
	return leastMinutes(plan.Mode{Phases: p.phases()[:phase]})
}

// nextOpening is when the calendar next opens for long enough after the earliest time of the phase held, were the task to
// begin at start; -1 where it does not.
func (p *probe) nextOpening(reason Reason, start int) int {
	if reason.Phase < 0 {
		return -1
	}
	earliest := start + p.minutesBefore(reason.Phase)
	open := p.res.open[reason.Index]
	for i := range open.spans {
		opening := open.at(i)
		if opening.lo > earliest && opening.hi+1-opening.lo >= p.phases()[reason.Phase].Minutes {
			return opening.lo
		}
	}
	return -1
}

// fixed is the problem without the tasks left out, with each task's mode as in the solution, its phases too but for those of the given task, and the
// makespan as horizon.
func (r *run) fixed(solution plan.Solution, task int) *plan.Problem {
	p := *r.problem
	p.HorizonMinutes = solution.MakespanMinute()
	p.Tasks = slices.Clone(p.Tasks)
	for i, placement := range solution.Tasks {
		p.Tasks[i].Optional = placement.Omitted()
		if placement.Omitted() {
			p.Tasks[i].Modes = nil
			continue
		}
		mode := p.Tasks[i].Modes[placement.Mode]
		mode.Phases = slices.Clone(mode.Phases)
		if i != task {
			for k, taken := range placement.Phases {
				mode.Phases[k].Minutes, mode.Phases[k].MaxMinutes = taken.Minutes(), 0
			}
		}
		p.Tasks[i].Modes = []plan.Mode{mode}
	}
	p.Separations = slices.Clone(p.Separations)
	for i := range p.Separations {
		s := &p.Separations[i]
		s.FirstMode = modeWhereFixed(s.FirstMode, solution.Tasks[s.First])
		s.SecondMode = modeWhereFixed(s.SecondMode, solution.Tasks[s.Second])
	}
	return &p
}

// modeWhereFixed is the mode that a separation names, once the task has but the mode in which it is placed: that one, any
// or, as 1, none.
func modeWhereFixed(mode int, placed plan.Placement) int {
	switch mode {
	case -1:
		return -1
	case placed.Mode:
		return 0
	}
	return 1
}

// groupsAt is the groups that touch the task at a start, in a problem where each task has one mode. The makespan, which is
// the horizon there, is the last resort of an explanation and so comes first.
func (p *probe) groupsAt(start int) []group {
	task := p.task
	mode := p.problem.Tasks[task].Modes[0]
	groups := []group{{kind: KindHorizon}}
	for _, g := range p.groups() {
		touches := false
		switch g.kind {
		case KindRelease, KindForbidden:
			touches = g.index == task
		case KindBusy, KindShared:
			touches = g.index == mode.Unary
		case KindCalendar, KindCumulative, KindCrew:
			touches = slices.ContainsFunc(mode.Phases, func(ph plan.Phase) bool { return needs(ph, g) })
		case KindLagMinimum, KindLagMaximum:
			lag := p.problem.Lags[g.index]
			touches = lag.From == task || lag.To == task
		case KindSeparation:
			touches = p.refuses(p.problem.Separations[g.index], start)
		}
		if touches {
			groups = append(groups, g)
		}
	}
	return groups
}

// refuses says whether a separation of the task from another one, which stays where it is, refuses the start.
func (p *probe) refuses(s plan.Separation, start int) bool {
	first, second := p.solution.Tasks[s.First], p.solution.Tasks[s.Second]
	switch p.task {
	case s.First:
		first.StartMinute = start
	case s.Second:
		second.StartMinute = start
	default:
		return false
	}
	apart := second.StartMinute - first.StartMinute
	return s.FirstMode < 1 && s.SecondMode < 1 && !first.Omitted() && !second.Omitted() &&
		s.FromMinutes < apart && apart < s.ToMinutes
}
