// Package scheduler finds start times for tasks that share furnaces, people, power and calendars. It knows whole
// minutes since an origin, capacities and lags; it knows no chemistry, no clock and no time zone.
package scheduler

// Interval is the half-open span [Start, End) of whole minutes since the problem's origin.
type Interval struct {
	Start int `json:"start"`
	End   int `json:"end"`
}

// Step is an amount that holds over an interval.
type Step struct {
	Interval
	Amount int `json:"amount"`
}

// Problem is what must be placed and what it must respect. It is not changed by Solve.
type Problem struct {
	// HorizonMinutes bounds everything: each task must end at or before it. Above 0.
	HorizonMinutes int `json:"horizon_minutes"`
	// StepMinutes is the grid on which tasks start; 0 means every minute.
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
	ReleaseMinute int    `json:"release_minute"` // earliest start
	Modes         []Mode `json:"modes"`
}

// Mode is one way to do a task: on one unary resource, held from the first phase's start to the last one's end.
type Mode struct {
	Name   string  `json:"name"`
	Unary  int     `json:"unary"` // index into Problem.Unaries
	Phases []Phase `json:"phases"`
	// ForbiddenStarts are starts that this mode may not take, for a reason that the caller knows.
	ForbiddenStarts []Interval `json:"forbidden_starts"`
}

// Phase is one part of a mode. MaxMinutes above Minutes makes it elastic.
type Phase struct {
	Name       string `json:"name"`
	Minutes    int    `json:"minutes"`
	MaxMinutes int    `json:"max_minutes"`
	// Calendar is an index into Problem.Calendars; the whole phase must lie in one open interval. -1: any time.
	Calendar int      `json:"calendar"`
	Demands  []Demand `json:"demands"`
}

// Demand is how much of a cumulative resource a phase takes while it lasts.
type Demand struct {
	Cumulative int `json:"cumulative"`
	Amount     int `json:"amount"`
}

// Lag is start(To) - end(From) >= MinMinutes, and <= MaxMinutes unless MaxMinutes is negative.
type Lag struct {
	From       int `json:"from"`
	To         int `json:"to"`
	MinMinutes int `json:"min_minutes"`
	MaxMinutes int `json:"max_minutes"` // negative: no most
}

// Unary is a resource that holds one task at a time.
type Unary struct {
	Name string     `json:"name"`
	Busy []Interval `json:"busy"`
}

// Cumulative is a resource that carries several demands at once up to its capacity.
type Cumulative struct {
	Name     string `json:"name"`
	Capacity int    `json:"capacity"`
	// Used is what is taken already, over each interval; overlapping steps add.
	Used []Step `json:"used"`
}

// Calendar lists when something is allowed, in order and without overlap.
type Calendar struct {
	Name string     `json:"name"`
	Open []Interval `json:"open"`
}
