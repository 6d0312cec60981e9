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
	Separations []Separation `json:"separations"`
	Unaries     []Unary      `json:"unaries"`
	Cumulatives []Cumulative `json:"cumulatives"`
	Calendars   []Calendar   `json:"calendars"`
	Budgets     []Budget     `json:"budgets"`
	Crews       []Crew       `json:"crews"`
	// Days are what the Visits objective counts, such as calendar days. In order and without overlap.
	Days []Interval `json:"days"`
	// Objectives are made least one after the other, each with those before it held. None: the least makespan, then the
	// least starts in task order, then the least ends, then the lowest modes, of the tasks that are not optional.
	Objectives []Objective `json:"objectives"`
}

// Objective names a sum that is made least.
type Objective string

// The objectives. All are whole numbers, the smaller the better.
const (
	Makespan   Objective = "makespan"   // the latest end of all tasks
	Omission   Objective = "omission"   // OmissionWeight of each task that is left out
	Completion Objective = "completion" // CompletionWeight times end of each task
	Lateness   Objective = "lateness"   // LatenessWeight times the minutes that each task ends after its due minute
	Visits     Objective = "visits"     // Days touched by a phase that is a visit
	Energy     Objective = "energy"     // Energy of each mode taken, once for a batch, less HotSaving of each hot start
	Change     Objective = "change"     // what Task.Present says of each task that is moved
)

// Task is done once, in one of its modes: its phases follow each other without a gap.
type Task struct {
	Name          string `json:"name"`
	ReleaseMinute int    `json:"release_minute"` // earliest start, at least 0
	// DeadlineMinute is the latest end; 0: the horizon alone.
	DeadlineMinute int    `json:"deadline_minute"`
	Modes          []Mode `json:"modes"` // at least one
	// Optional: the task may be left out. Its lags are then void, and it counts for no objective but Omission.
	Optional bool `json:"optional"`
	// The weights say how much the task counts in the objectives of their names; at least 0.
	OmissionWeight   int `json:"omission_weight"`
	CompletionWeight int `json:"completion_weight"`
	DueMinute        int `json:"due_minute"` // at least 0
	LatenessWeight   int `json:"lateness_weight"`
	// Present is where the task stands now, for the Change objective; nil: nowhere.
	Present *Present `json:"present"`
}

// Present is a task's place in the plan that stands, and what a change of it counts in the Change objective.
type Present struct {
	Mode        int `json:"mode"`         // index into the task's Modes
	StartMinute int `json:"start_minute"` // from 0 to the horizon
	// MinuteWeight counts for each minute that the start differs, ModeWeight once for another mode; leaving the task out
	// counts ModeWeight and nothing for the start. At least 0.
	MinuteWeight int `json:"minute_weight"`
	ModeWeight   int `json:"mode_weight"`
}

// Mode is one way to do a task: on one unary resource, held from the first phase's start to the last one's end.
type Mode struct {
	Name   string  `json:"name"`
	Unary  int     `json:"unary"`  // index into Problem.Unaries; -1: none
	Phases []Phase `json:"phases"` // at least one minute in all
	// TailPhases is how many of the last phases do not count for lags: the furnace is still held, for burning off or
	// cooling empty, but what was in it is out. At least 0 and below the number of phases of at least one minute; none of
	// the tail may be elastic. All else counts the tail: the unary, the horizon and the makespan.
	TailPhases int `json:"tail_phases"`
	// ForbiddenStarts are starts that this mode may not take, for a reason that the caller knows. In any order. One that ends at
	// MaxMinute has no end: no later horizon would cure it.
	ForbiddenStarts []Interval `json:"forbidden_starts"`
	// Family is a row and a column of the unary's SetupMinutes; 0 where it has none.
	Family int `json:"family"`
	// Batch, when above 0, lets the task share its unary with others of the same batch number there: all phases at the same
	// times, their loads within the unary's BatchCapacity. Such modes must have the same phases, tail and family; what these
	// ask of cumulatives and crews counts once for a batch.
	Batch int `json:"batch"`
	Load  int `json:"load"` // at least 0
	// Uses are taken from budgets once and for all.
	Uses   []Use `json:"uses"`
	Energy int   `json:"energy"` // at least 0; counts in the Energy objective
}

// Use is an amount of a budget that a mode takes.
type Use struct {
	Budget int `json:"budget"` // index into Problem.Budgets
	Amount int `json:"amount"` // at least 0
}

// Budget is an amount that does not come back: all uses of the modes taken are at most it.
type Budget struct {
	Name   string `json:"name"`
	Amount int    `json:"amount"` // at least 0
}

// Crew is people of whom each is in one place at a time. One of them looks after everything in a place, so that the
// number of places in which somebody must be at one time is at most their number.
type Crew struct {
	Name   string `json:"name"`
	People int    `json:"people"` // at least 0
	// Posted is where somebody must be already, in any order.
	Posted []Post `json:"posted"`
}

// Post is a place in which one of a crew must be over an interval.
type Post struct {
	Interval
	Place int `json:"place"` // any number that names the place, at least 0
}

// Watch is a place in which one of a crew must be while a phase lasts.
type Watch struct {
	Crew  int `json:"crew"`  // index into Problem.Crews
	Place int `json:"place"` // any number that names the place, at least 0
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
	// Watches hold while the phase lasts, at most one of a crew.
	Watches []Watch `json:"watches"`
	// Visit: the days that the phase touches count in the Visits objective. Only for phases of at least a minute.
	Visit bool `json:"visit"`
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
// With FromStart the minutes count from start(From) instead. Any two different tasks may have lags, in any number and direction.
type Lag struct {
	From       int `json:"from"` // index into Problem.Tasks
	To         int `json:"to"`   // index into Problem.Tasks
	MinMinutes int `json:"min_minutes"`
	MaxMinutes int `json:"max_minutes"` // negative: no most; else at least MinMinutes
	// FromStart counts from the start of From. A least below 0 is then a most on the reversed pair: start(From) is at most
	// so much after start(To).
	FromStart bool `json:"from_start"`
}

// Separation refuses some distances in time between two tasks: start(Second) - start(First) is at most FromMinutes or at
// least ToMinutes, never strictly between. It is void where one of the two is left out or is done in another mode. Any two
// different tasks may have separations, in any number; what several refuse adds up.
type Separation struct {
	Name   string `json:"name"`
	First  int    `json:"first"`  // index into Problem.Tasks
	Second int    `json:"second"` // index into Problem.Tasks
	// FirstMode and SecondMode are indices into the modes of the two tasks; -1: any mode.
	FirstMode   int `json:"first_mode"`
	SecondMode  int `json:"second_mode"`
	FromMinutes int `json:"from_minutes"` // below ToMinutes; below 0 where Second may start so long before First
	ToMinutes   int `json:"to_minutes"`
}

// Unary is a resource that holds one task at a time.
type Unary struct {
	Name string     `json:"name"`
	Busy []Interval `json:"busy"` // in any order; overlapping ones count once
	// Held is like Busy, by something with a family: setups count between it and tasks.
	Held []Held `json:"held"`
	// SetupMinutes[a][b] is the least time between the end of one of family a and the start of any later one of family b.
	// Square; empty: none.
	SetupMinutes [][]int `json:"setup_minutes"`
	// BatchCapacity is the most load of a batch.
	BatchCapacity int `json:"batch_capacity"`
	// A task starts hot when another task or something Held ended on the unary at most HotMinutes before, and then saves
	// HotSaving in the Energy objective.
	HotMinutes int `json:"hot_minutes"`
	HotSaving  int `json:"hot_saving"`
}

// Held is an interval in which something of a family is on a unary.
type Held struct {
	Interval
	Family int `json:"family"`
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
