// Package scheduler finds start times for tasks that share furnaces, people, power and calendars. It knows whole
// minutes since an origin, capacities and lags; it knows no chemistry, no clock and no time zone.
//
// Solve is exact: its first answer is the least makespan, and among those the earliest starts in task order. It never runs
// longer than its context, and every solution has passed package check before it is returned.
package scheduler

import "saggar/scheduler/plan"

// The nouns of a problem and its solution live in package plan, so that package check can verify what Solve returns
// without either sharing code with the other. They are the same types under both names.
type (
	// Interval is plan.Interval: the half-open span [Start, End) of whole minutes since the problem's origin.
	Interval = plan.Interval
	// Step is plan.Step: an amount that holds over an interval.
	Step = plan.Step
	// Problem is plan.Problem: what must be placed and what it must respect.
	Problem = plan.Problem
	// Task is plan.Task: done once, in one of its modes.
	Task = plan.Task
	// Mode is plan.Mode: one way to do a task, on one unary resource.
	Mode = plan.Mode
	// Phase is plan.Phase: one part of a mode; elastic where MaxMinutes is above Minutes.
	Phase = plan.Phase
	// Demand is plan.Demand: how much of a cumulative resource a phase takes while it lasts.
	Demand = plan.Demand
	// Lag is plan.Lag: least and most minutes from one task being ready to another's start.
	Lag = plan.Lag
	// Separation is plan.Separation: distances in time between two tasks that are refused.
	Separation = plan.Separation
	// Present is plan.Present: where a task stands now.
	Present = plan.Present
	// Use is plan.Use: an amount of a budget that a mode takes.
	Use = plan.Use
	// Budget is plan.Budget: an amount that does not come back.
	Budget = plan.Budget
	// Crew is plan.Crew: people of whom each is in one place at a time.
	Crew = plan.Crew
	// Post is plan.Post: a place in which one of a crew must be over an interval.
	Post = plan.Post
	// Watch is plan.Watch: a place in which one of a crew must be while a phase lasts.
	Watch = plan.Watch
	// Held is plan.Held: an interval in which something of a family is on a unary.
	Held = plan.Held
	// Unary is plan.Unary: a resource that holds one task at a time.
	Unary = plan.Unary
	// Cumulative is plan.Cumulative: a resource that carries several demands at once up to its capacity.
	Cumulative = plan.Cumulative
	// Calendar is plan.Calendar: when something is allowed.
	Calendar = plan.Calendar
	// Objective is plan.Objective: the name of a sum that is made least.
	Objective = plan.Objective
	// Solution is plan.Solution: every task placed, in task order.
	Solution = plan.Solution
	// Placement is plan.Placement: one task's mode and times.
	Placement = plan.Placement
)

// The objectives, under the names of package plan.
const (
	MakespanObjective   = plan.Makespan
	OmissionObjective   = plan.Omission
	CompletionObjective = plan.Completion
	LatenessObjective   = plan.Lateness
	VisitsObjective     = plan.Visits
	EnergyObjective     = plan.Energy
	ChangeObjective     = plan.Change
)
