// Package check verifies a solution against its problem. It is written apart from the search and shares no code with it,
// so that a plan that passes here is right even where the search is wrong. Verify answers whether a plan respects the
// problem; it does not say whether the plan is a good one.
package check

import (
	"fmt"
	"slices"

	"saggar/scheduler/plan"
)

// Rule names what a solution must respect.
type Rule string

// The rules, each with its own test.
const (
	RuleProblem    Rule = "problem"         // the problem itself is well formed
	RuleTasks      Rule = "tasks"           // every task placed once, in order
	RuleMode       Rule = "mode"            // the mode exists
	RulePhases     Rule = "phases"          // one interval a phase, from the start on, without a gap
	RuleDuration   Rule = "duration"        // each phase lasts from its least to its most minutes
	RuleOrigin     Rule = "origin"          // no start before minute 0
	RuleHorizon    Rule = "horizon"         // no end after the horizon
	RuleRelease    Rule = "release"         // no start before the task's release
	RuleStep       Rule = "step"            // starts lie on the grid
	RuleForbidden  Rule = "forbidden_start" // not a start that the mode forbids
	RuleCalendar   Rule = "calendar"        // each phase with a calendar lies in one opening
	RuleBusy       Rule = "unary_busy"      // not on a unary while it is busy
	RuleShared     Rule = "unary_shared"    // one task at a time on a unary
	RuleCumulative Rule = "cumulative"      // demands and what is used stay within the capacity
	RuleLagMinimum Rule = "lag_minimum"     // least minutes from one task being ready to another's start
	RuleLagMaximum Rule = "lag_maximum"     // most minutes from one task being ready to another's start
	RuleSeparation Rule = "separation"      // no distance between two starts that a separation refuses
	RuleOmitted    Rule = "omitted"         // only an optional task may be left out, and then has no times
	RuleDeadline   Rule = "deadline"        // no end after the task's deadline
	RuleSetup      Rule = "setup"           // setup minutes between two on one unary
	RuleBatch      Rule = "batch"           // the loads of a batch stay within the unary's batch capacity
	RuleBudget     Rule = "budget"          // the uses of a budget stay within it
	RuleCrew       Rule = "crew"            // a crew has somebody for every place in which one must be
)

// Violation is one breach of one rule.
type Violation struct {
	Rule Rule
	// Task is the index of the task in breach, or -1 where no single one is. Index is that of the phase, unary, cumulative,
	// lag or separation that the rule is about, else -1.
	Task, Index int
	// Got and Limit are the figures: a minute, a number of minutes or an amount, as the rule says.
	Got, Limit int
}

// String says the violation in one line, for tests and bug reports.
func (v Violation) String() string {
	return fmt.Sprintf("%s: task %d, index %d, got %d, limit %d", v.Rule, v.Task, v.Index, v.Got, v.Limit)
}

// Verify returns every violation, in no promised order, or nil if the solution respects the problem. Where a placement is
// malformed (rules problem to phases) only that is reported, since the rest has no meaning then. It takes time in
// proportion to tasks times intervals.
func Verify(problem plan.Problem, solution plan.Solution) []Violation {
	if err := problem.Validate(); err != nil {
		return []Violation{{Rule: RuleProblem, Task: -1, Index: -1}}
	}
	v := verifier{problem: problem, solution: solution}
	v.form()
	if len(v.found) > 0 {
		return v.found
	}
	for _, placement := range solution.Tasks {
		if placement.Omitted() {
			continue
		}
		v.placement(placement)
		if v.mode(placement).Unary >= 0 {
			v.busy(placement)
			v.held(placement)
		}
	}
	v.shared()
	v.batches()
	v.lags()
	v.separations()
	v.budgets()
	for i := range problem.Crews {
		v.crew(i)
	}
	for i := range problem.Cumulatives {
		v.cumulative(i)
	}
	return v.found
}

type verifier struct {
	problem  plan.Problem
	solution plan.Solution
	found    []Violation
}

func (v *verifier) add(rule Rule, task, index, got, limit int) {
	v.found = append(v.found, Violation{Rule: rule, Task: task, Index: index, Got: got, Limit: limit})
}

func (v *verifier) mode(placement plan.Placement) *plan.Mode {
	return &v.problem.Tasks[placement.Task].Modes[placement.Mode]
}

func (v *verifier) form() {
	if len(v.solution.Tasks) != len(v.problem.Tasks) {
		v.add(RuleTasks, -1, -1, len(v.solution.Tasks), len(v.problem.Tasks))
		return
	}
	for i, placement := range v.solution.Tasks {
		if placement.Task != i {
			v.add(RuleTasks, i, -1, placement.Task, i)
			continue
		}
		if placement.Omitted() {
			v.omitted(placement)
			continue
		}
		modes := len(v.problem.Tasks[i].Modes)
		if placement.Mode < 0 || placement.Mode >= modes {
			v.add(RuleMode, i, -1, placement.Mode, modes)
			continue
		}
		v.phaseForm(placement)
	}
}

func (v *verifier) phaseForm(placement plan.Placement) {
	phases := v.mode(placement).Phases
	if len(placement.Phases) != len(phases) {
		v.add(RulePhases, placement.Task, -1, len(placement.Phases), len(phases))
		return
	}
	at := placement.StartMinute
	for i, phase := range placement.Phases {
		if phase.Start != at || phase.End < phase.Start {
			v.add(RulePhases, placement.Task, i, phase.Start, at)
		}
		at = phase.End
	}
}

func (v *verifier) placement(placement plan.Placement) {
	task, start, end := placement.Task, placement.StartMinute, placement.EndMinute()
	mode := v.mode(placement)
	if start < 0 {
		v.add(RuleOrigin, task, -1, start, 0)
	}
	if end > v.problem.HorizonMinutes {
		v.add(RuleHorizon, task, -1, end, v.problem.HorizonMinutes)
	}
	if deadline := v.problem.Tasks[task].DeadlineMinute; deadline > 0 && end > deadline {
		v.add(RuleDeadline, task, -1, end, deadline)
	}
	if release := v.problem.Tasks[task].ReleaseMinute; start < release {
		v.add(RuleRelease, task, -1, start, release)
	}
	if step := v.problem.StepMinutes; step > 1 && start%step != 0 {
		v.add(RuleStep, task, -1, start, step)
	}
	for _, forbidden := range mode.ForbiddenStarts {
		if forbidden.Start <= start && start < forbidden.End {
			v.add(RuleForbidden, task, -1, start, forbidden.End)
		}
	}
	for i, phase := range mode.Phases {
		v.phase(placement, i, phase)
	}
}

func (v *verifier) phase(placement plan.Placement, index int, phase plan.Phase) {
	taken := placement.Phases[index]
	length := taken.End - taken.Start
	if length < phase.Minutes {
		v.add(RuleDuration, placement.Task, index, length, phase.Minutes)
	}
	if most := max(phase.Minutes, phase.MaxMinutes); length > most {
		v.add(RuleDuration, placement.Task, index, length, most)
	}
	if phase.Calendar < 0 || length == 0 {
		return
	}
	at := taken.Start
	for _, open := range v.problem.Calendars[phase.Calendar].Open {
		if open.Start <= at && at < open.End {
			at = open.End
		}
	}
	if at < taken.End {
		v.add(RuleCalendar, placement.Task, index, at, taken.End)
	}
}

func (v *verifier) busy(placement plan.Placement) {
	unary := v.mode(placement).Unary
	for _, busy := range v.problem.Unaries[unary].Busy {
		if busy.Start < placement.EndMinute() && placement.StartMinute < busy.End {
			v.add(RuleBusy, placement.Task, unary, placement.StartMinute, busy.End)
		}
	}
}

// shared holds any two tasks on a unary apart, with their setup, unless they are of one batch.
func (v *verifier) shared() {
	on := make([][]plan.Placement, len(v.problem.Unaries))
	for _, placement := range v.solution.Tasks {
		if !placement.Omitted() && v.mode(placement).Unary >= 0 {
			unary := v.mode(placement).Unary
			on[unary] = append(on[unary], placement)
		}
	}
	for unary, placements := range on {
		slices.SortStableFunc(placements, func(a, b plan.Placement) int { return a.StartMinute - b.StartMinute })
		longest := v.longestSetup(unary)
		for i, first := range placements {
			for _, later := range placements[i+1:] {
				if later.StartMinute >= first.EndMinute()+longest {
					break
				}
				v.pair(first, later)
			}
		}
	}
}

// pair holds two tasks on one unary apart, of which the first starts no later.
func (v *verifier) pair(first, later plan.Placement) {
	if v.together(first, later) {
		return
	}
	if later.StartMinute >= first.EndMinute() {
		v.setup(first, later)
		return
	}
	if later.Task < first.Task {
		first, later = later, first
	}
	v.add(RuleShared, later.Task, v.mode(later).Unary, later.StartMinute, first.EndMinute())
}

// ready is the end of the whole task less what its tail took.
func (v *verifier) ready(placement plan.Placement) int {
	ready := placement.EndMinute()
	for i := range v.mode(placement).TailPhases {
		tail := placement.Phases[len(placement.Phases)-1-i]
		ready -= tail.End - tail.Start
	}
	return ready
}

func (v *verifier) lags() {
	for i, lag := range v.problem.Lags {
		from, to := v.solution.Tasks[lag.From], v.solution.Tasks[lag.To]
		if from.Omitted() || to.Omitted() {
			continue
		}
		counted := from.StartMinute
		if !lag.FromStart {
			counted = v.ready(from)
		}
		between := to.StartMinute - counted
		if between < lag.MinMinutes {
			v.add(RuleLagMinimum, lag.To, i, between, lag.MinMinutes)
		}
		if lag.MaxMinutes >= 0 && between > lag.MaxMinutes {
			v.add(RuleLagMaximum, lag.To, i, between, lag.MaxMinutes)
		}
	}
}

// separations holds the start of each separation's second task against what the start of the first refuses.
func (v *verifier) separations() {
	for i, s := range v.problem.Separations {
		first, second := v.solution.Tasks[s.First], v.solution.Tasks[s.Second]
		if first.Omitted() || second.Omitted() {
			continue
		}
		other := s.FirstMode >= 0 && s.FirstMode != first.Mode || s.SecondMode >= 0 && s.SecondMode != second.Mode
		earliest := first.StartMinute + s.FromMinutes + 1
		if !other && second.StartMinute >= earliest && second.StartMinute < first.StartMinute+s.ToMinutes {
			v.add(RuleSeparation, s.Second, i, second.StartMinute-first.StartMinute, s.ToMinutes)
		}
	}
}

// window is from the earliest start to the latest end of all tasks.
func (v *verifier) window() (first, last int) {
	first, last = plan.MaxMinute, -plan.MaxMinute
	for _, placement := range v.solution.Tasks {
		if placement.Omitted() {
			continue
		}
		first, last = min(first, placement.StartMinute), max(last, placement.EndMinute())
	}
	return first, last
}

// change is how the load on a cumulative alters at a minute: in all, and the part that the placed tasks cause.
type change struct{ minute, load, own int }

// ownChanges are the demands of the placed tasks on a cumulative; those of a batch count with its first member.
func (v *verifier) ownChanges(index int) []change {
	var changes []change
	for _, placement := range v.solution.Tasks {
		if placement.Omitted() || !v.leads(placement) {
			continue
		}
		for i, phase := range v.mode(placement).Phases {
			taken := placement.Phases[i]
			for _, demand := range phase.Demands {
				if demand.Cumulative == index {
					changes = append(changes, change{taken.Start, demand.Amount, demand.Amount},
						change{taken.End, -demand.Amount, -demand.Amount})
				}
			}
		}
	}
	return changes
}

func (v *verifier) cumulative(index int) {
	cumulative := v.problem.Cumulatives[index]
	changes := v.ownChanges(index)
	if len(changes) == 0 {
		return
	}
	first, last := v.window()
	for _, used := range cumulative.Used {
		if used.End <= first || used.Start >= last {
			continue
		}
		changes = append(changes, change{used.Start, used.Amount, 0}, change{used.End, -used.Amount, 0})
	}
	slices.SortFunc(changes, func(a, b change) int { return a.minute - b.minute })
	load, own := 0, 0
	for i, at := range changes {
		load, own = load+at.load, own+at.own
		complete := i+1 == len(changes) || changes[i+1].minute != at.minute
		if complete && own > 0 && load > cumulative.Capacity {
			v.add(RuleCumulative, -1, index, load, cumulative.Capacity)
		}
	}
}
