package scheduler_test

import (
	"cmp"
	"slices"

	"saggar/scheduler"
)

// brute tries every mode, start and wait of every task, minute by minute. It shares no code with the search or with
// package check.
type brute struct {
	problem scheduler.Problem
	options [][]scheduler.Placement
	placed  []scheduler.Placement
	best    *scheduler.Solution
}

// bruteForce returns the best solution by the documented objective, or nil when there is none.
func bruteForce(problem scheduler.Problem) *scheduler.Solution {
	return (&brute{problem: problem}).solve()
}

func (b *brute) solve() *scheduler.Solution {
	for task := range b.problem.Tasks {
		b.options = append(b.options, b.placements(task))
	}
	b.place(0)
	return b.best
}

func (b *brute) placements(task int) []scheduler.Placement {
	var all []scheduler.Placement
	if b.problem.Tasks[task].Optional {
		all = append(all, scheduler.Placement{Task: task, Mode: -1})
	}
	step := max(b.problem.StepMinutes, 1)
	for index, mode := range b.problem.Tasks[task].Modes {
		for start := 0; start < b.problem.HorizonMinutes; start += step {
			if start < b.problem.Tasks[task].ReleaseMinute || covers(mode.ForbiddenStarts, start) {
				continue
			}
			placement := scheduler.Placement{Task: task, Mode: index, StartMinute: start}
			all = append(all, b.stretch(placement, mode, start)...)
		}
	}
	return all
}

// stretch returns the placement with every length of each phase still to come.
func (b *brute) stretch(p scheduler.Placement, mode scheduler.Mode, at int) []scheduler.Placement {
	done := len(p.Phases)
	if done == len(mode.Phases) {
		deadline := b.problem.Tasks[p.Task].DeadlineMinute
		if deadline > 0 && at > deadline || !b.clearOfHeld(p, mode) {
			return nil
		}
		return []scheduler.Placement{p}
	}
	phase := mode.Phases[done]
	var all []scheduler.Placement
	for length := phase.Minutes; length <= max(phase.Minutes, phase.MaxMinutes); length++ {
		if at+length > b.problem.HorizonMinutes || !b.allowed(mode, phase, at, at+length) {
			continue
		}
		next := p
		next.Phases = append(slices.Clone(p.Phases), scheduler.Interval{Start: at, End: at + length})
		all = append(all, b.stretch(next, mode, at+length)...)
	}
	return all
}

func (b *brute) allowed(mode scheduler.Mode, phase scheduler.Phase, from, to int) bool {
	for minute := from; minute < to; minute++ {
		if mode.Unary >= 0 && covers(b.problem.Unaries[mode.Unary].Busy, minute) {
			return false
		}
		if phase.Calendar >= 0 && !covers(b.problem.Calendars[phase.Calendar].Open, minute) {
			return false
		}
		for c := range b.problem.Cumulatives {
			if d := demand(phase, c); d > 0 && d+b.used(c, minute) > b.problem.Cumulatives[c].Capacity {
				return false
			}
		}
	}
	return true
}

func covers(intervals []scheduler.Interval, minute int) bool {
	return slices.ContainsFunc(intervals, func(i scheduler.Interval) bool { return i.Start <= minute && minute < i.End })
}

func demand(phase scheduler.Phase, cumulative int) int {
	sum := 0
	for _, d := range phase.Demands {
		if d.Cumulative == cumulative {
			sum += d.Amount
		}
	}
	return sum
}

func (b *brute) used(cumulative, minute int) int {
	sum := 0
	for _, step := range b.problem.Cumulatives[cumulative].Used {
		if step.Start <= minute && minute < step.End {
			sum += step.Amount
		}
	}
	return sum
}

func (b *brute) place(task int) {
	if task == len(b.options) {
		solution := scheduler.Solution{Tasks: slices.Clone(b.placed)}
		if b.best == nil || compareValues(b.objective(solution), b.objective(*b.best)) < 0 {
			b.best = &solution
		}
		return
	}
	for _, placement := range b.options[task] {
		if b.fits(placement) {
			b.placed = append(b.placed, placement)
			b.place(task + 1)
			b.placed = b.placed[:task]
		}
	}
}

func (b *brute) fits(p scheduler.Placement) bool {
	for _, other := range b.placed {
		if !b.apart(other, p) {
			return false
		}
	}
	all := append(slices.Clone(b.placed), p)
	if !b.shares(all) {
		return false
	}
	if !b.lagsHold(all) || !b.separated(all) {
		return false
	}
	for c := range b.problem.Cumulatives {
		for minute := p.StartMinute; minute < p.EndMinute(); minute++ {
			if sum := b.demandAt(all, c, minute); sum > 0 && sum+b.used(c, minute) > b.problem.Cumulatives[c].Capacity {
				return false
			}
		}
	}
	return true
}

func (b *brute) lagsHold(all []scheduler.Placement) bool {
	for _, lag := range b.problem.Lags {
		if lag.From >= len(all) || lag.To >= len(all) {
			continue
		}
		if all[lag.From].Omitted() || all[lag.To].Omitted() {
			continue
		}
		between := all[lag.To].StartMinute - b.ready(all[lag.From])
		if lag.FromStart {
			between = all[lag.To].StartMinute - all[lag.From].StartMinute
		}
		if between < lag.MinMinutes || (lag.MaxMinutes >= 0 && between > lag.MaxMinutes) {
			return false
		}
	}
	return true
}

// separated says whether no separation refuses the distance between two starts, distance by distance.
func (b *brute) separated(all []scheduler.Placement) bool {
	for _, s := range b.problem.Separations {
		if s.First >= len(all) || s.Second >= len(all) || all[s.First].Omitted() || all[s.Second].Omitted() {
			continue
		}
		if (s.FirstMode != -1 && all[s.First].Mode != s.FirstMode) || (s.SecondMode != -1 && all[s.Second].Mode != s.SecondMode) {
			continue
		}
		for refused := s.FromMinutes + 1; refused < s.ToMinutes; refused++ {
			if all[s.First].StartMinute+refused == all[s.Second].StartMinute {
				return false
			}
		}
	}
	return true
}

// ready is the end of the last phase that counts for lags.
func (b *brute) ready(p scheduler.Placement) int {
	mode := b.problem.Tasks[p.Task].Modes[p.Mode]
	counting := p.Phases[:len(p.Phases)-mode.TailPhases]
	return counting[len(counting)-1].End
}

func (b *brute) demandAt(placed []scheduler.Placement, cumulative, minute int) int {
	sum := 0
	for _, p := range b.firings(placed) {
		for i, taken := range p.Phases {
			if taken.Start <= minute && minute < taken.End {
				sum += demand(b.problem.Tasks[p.Task].Modes[p.Mode].Phases[i], cumulative)
			}
		}
	}
	return sum
}

// objective is the values of the problem's objectives, or the usual one.
func (b *brute) objective(s scheduler.Solution) []int {
	if len(b.problem.Objectives) == 0 {
		return objective(s)
	}
	var values []int
	for _, what := range b.problem.Objectives {
		values = append(values, b.value(s, what))
	}
	return values
}

// objective is makespan, starts, ends and modes, to be compared in that order.
func objective(s scheduler.Solution) []int {
	values := []int{s.MakespanMinute()}
	for _, p := range s.Tasks {
		values = append(values, p.StartMinute)
	}
	for _, p := range s.Tasks {
		values = append(values, p.EndMinute())
	}
	for _, p := range s.Tasks {
		values = append(values, p.Mode)
	}
	return values
}

func compareValues(a, b []int) int {
	for i := range a {
		if c := cmp.Compare(a[i], b[i]); c != 0 {
			return c
		}
	}
	return 0
}
