// Package plan holds the nouns of scheduling: the problem that is asked and the solution that answers it. It decides
// nothing: package scheduler searches and package check verifies, and neither needs the other's code. Times are whole
// minutes since the problem's origin, amounts are whole numbers in the caller's unit; nothing here knows a clock, a time
// zone or chemistry.
package plan

// Interval is the half-open span [Start, End) of whole minutes since the problem's origin. Start is below End; both may
// lie before the origin or after the horizon, where they say nothing.
type Interval struct {
	Start int `json:"start"`
	End   int `json:"end"`
}

// Minutes is the length of the interval.
func (i Interval) Minutes() int { return i.End - i.Start }

// Step is an amount that holds over an interval.
type Step struct {
	Interval
	Amount int `json:"amount"`
}

// Problem is what must be placed and what it must respect. It is not changed by solving or checking, so several
// goroutines may share one.
type Problem struct {
	// HorizonMinutes bounds everything: each task must end at or before it. In (0, MaxMinute].
	HorizonMinutes int `json:"horizon_minutes"`
	// StepMinutes is the grid on which tasks start: each start is a multiple of it. 0 means every minute.
	StepMinutes int          `json:"step_minutes"`
	Tasks       []Task       `json:"tasks"`
	Lags        []Lag        `json:"lags"`
	Unaries     []Unary      `json:"unaries"`
	Cumulatives []Cumulative `json:"cumulatives"`
	Calendars   []Calendar   `json:"calendars"`
}

// Task is done once, in one of its modes: its phases follow each other without a gap.
type Task struct {
	Name          string `json:"name"`
	ReleaseMinute int    `json:"release_minute"` // earliest start, at least 0
	Modes         []Mode `json:"modes"`          // at least one
}

// Mode is one way to do a task: on one unary resource, held from the first phase's start to the last one's end.
type Mode struct {
	Name   string  `json:"name"`
	Unary  int     `json:"unary"`  // index into Problem.Unaries
	Phases []Phase `json:"phases"` // at least one minute in all
	// TailPhases is how many of the last phases do not count for lags: the furnace is still held, for burning off or
	// cooling empty, but what was in it is out. At least 0 and below the number of phases of at least one minute; none of
	// the tail may be elastic. All else counts the tail: the unary, the horizon and the makespan.
	TailPhases int `json:"tail_phases"`
	// ForbiddenStarts are starts that this mode may not take, for a reason that the caller knows. In any order.
	ForbiddenStarts []Interval `json:"forbidden_starts"`
}

// Phase is one part of a mode. MaxMinutes above Minutes makes it elastic: it takes any whole number of minutes from
// Minutes to MaxMinutes. A phase that lasts no minute takes nothing and needs no calendar.
type Phase struct {
	Name       string `json:"name"`
	Minutes    int    `json:"minutes"`     // at least 0
	MaxMinutes int    `json:"max_minutes"` // 0, or at least Minutes
	// Calendar is an index into Problem.Calendars; the whole phase must lie in one open interval. -1: any time.
	Calendar int `json:"calendar"`
	// Demands hold while the phase lasts; several on one cumulative add.
	Demands []Demand `json:"demands"`
}

// LongestMinutes is the most that the phase may last.
func (p Phase) LongestMinutes() int { return max(p.Minutes, p.MaxMinutes) }

// Demand is how much of a cumulative resource a phase takes while it lasts. An amount above the capacity is no fault: the
// mode can then never be taken.
type Demand struct {
	Cumulative int `json:"cumulative"` // index into Problem.Cumulatives
	Amount     int `json:"amount"`     // at least 0
}

// Lag is start(To) - ready(From) >= MinMinutes, and <= MaxMinutes unless MaxMinutes is negative. A task is ready at the end
// of the last phase before the tail of its chosen mode, which is the task's end where there is no tail (Mode.TailPhases).
// Any two different tasks may have lags, in any number and direction.
type Lag struct {
	From       int `json:"from"` // index into Problem.Tasks
	To         int `json:"to"`   // index into Problem.Tasks
	MinMinutes int `json:"min_minutes"`
	MaxMinutes int `json:"max_minutes"` // negative: no most; else at least MinMinutes
}

// Unary is a resource that holds one task at a time.
type Unary struct {
	Name string     `json:"name"`
	Busy []Interval `json:"busy"` // in any order; overlapping ones count once
}

// Cumulative is a resource that carries several demands at once up to its capacity.
type Cumulative struct {
	Name     string `json:"name"`
	Capacity int    `json:"capacity"` // at least 0
	// Used is what is taken already, over each interval, in any order; overlapping steps add. Where it is above the
	// capacity by itself nothing more is placed, and nothing is held against the solution.
	Used []Step `json:"used"`
}

// Calendar lists when something is allowed, in order and without overlap. Intervals that touch count as one; a calendar
// without intervals is never open.
type Calendar struct {
	Name string     `json:"name"`
	Open []Interval `json:"open"`
}
