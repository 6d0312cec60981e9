package scheduler

// Options bounds and shapes one Solve. The zero value solves to the proven best answer with its reasons.
type Options struct {
	// ConflictLimit ends the search after so many conflicts, always at the same place for the same problem and seed; 0: no
	// limit. Finding Blame has the same allowance again for each constraint that it tries.
	ConflictLimit int
	// Seed is for what the search leaves to chance.
	Seed uint64
	// Threads is how many searches of different strategies run at once and share what they find; 0 means 1.
	Threads int
	// Start, if not nil, is a solution of this problem or of one much like it, with the same tasks and modes in the same order.
	// The search begins with it, or with what it becomes when what does not fit gives way. It changes nothing that is proven.
	Start *Solution
	// OnImprove, if not nil, is told of each better solution as it is found, and of each better bound, one at a time.
	OnImprove func(Progress)
	// SkipWhy leaves out Blame and Reasons, for callers that only need the times.
	SkipWhy bool
}

// Progress is what Solve has found so far.
type Progress struct {
	Solution   Solution         // the best so far; empty: none yet
	Objectives []ObjectiveValue // as far as the search came
	Conflicts  int
}

// Status says how far Solve came.
type Status string

// The ways that Solve ends. Feasible and Unknown happen only when the context or the node limit ended the search.
const (
	Optimal    Status = "optimal"    // the solution is proven best in every part of the objective
	Feasible   Status = "feasible"   // a solution, not proven best
	Infeasible Status = "infeasible" // proven that there is none
	Unknown    Status = "unknown"    // none found, none excluded
)

// Result is what Solve found.
type Result struct {
	Status   Status   `json:"status"`
	Solution Solution `json:"solution"` // empty unless Status is Optimal or Feasible
	// MakespanMinute is the latest end of the solution; 0 without one.
	MakespanMinute int `json:"makespan_minute"`
	// BoundMinute is a proven lower bound of the makespan; 0 when nothing is proven or there is no solution at all.
	BoundMinute int `json:"bound_minute"`
	// Objectives are the values of the problem's objectives, as far as the search came, and what is proven of each while those
	// before it are held.
	Objectives []ObjectiveValue `json:"objectives"`
	// Conflicts is how many dead ends the search for the solution learnt from.
	Conflicts int `json:"conflicts"`
	// Blame is, when Infeasible, a set of constraint groups that by themselves leave no solution. There may be other such
	// sets: giving way in one member need not be enough.
	Blame []Blame `json:"blame"`
	// BlameMinimal says that none of the members can be spared: the rest of Blame alone would leave a solution. False when
	// the context or the node limit ended the proof; the set then suffices, but may be larger than needed.
	BlameMinimal bool `json:"blame_minimal"`
	// Reasons say, for a solution, what keeps each task from starting earlier, all else being as it is.
	Reasons []Reason `json:"reasons"`
}

// ObjectiveValue is what an objective amounts to, and a proven lower bound of it.
type ObjectiveValue struct {
	Objective Objective `json:"objective"`
	Value     int       `json:"value"`
	Bound     int       `json:"bound"`
}

// Gap is how far the value may be from the least one, as a share of the value; 0 when it is proven least.
func (v ObjectiveValue) Gap() float64 {
	if v.Value <= v.Bound {
		return 0
	}
	return float64(v.Value-v.Bound) / float64(v.Value)
}

// Kind names a group of constraints.
type Kind string

// The kinds of constraint groups. Index in Blame and Reason means an index into the list named here.
const (
	KindHorizon    Kind = "horizon"         // every task ends by the horizon; Index 0
	KindRelease    Kind = "release"         // earliest start of a task; Problem.Tasks
	KindForbidden  Kind = "forbidden_start" // forbidden starts of a task's modes; Problem.Tasks
	KindBusy       Kind = "unary_busy"      // what holds a unary already; Problem.Unaries
	KindShared     Kind = "unary_shared"    // tasks of this problem exclude each other on a unary; Problem.Unaries
	KindCalendar   Kind = "calendar"        // opening times; Problem.Calendars
	KindTooLong    Kind = "too_long"        // a calendar whose every opening is shorter than phases in a row; Problem.Calendars
	KindCumulative Kind = "cumulative"      // capacity less what is used already and by other tasks; Problem.Cumulatives
	KindOverDemand Kind = "over_demand"     // a cumulative whose whole capacity is less than a demand; Problem.Cumulatives
	KindLagMinimum Kind = "lag_minimum"     // least minutes of a lag; Problem.Lags
	KindLagMaximum Kind = "lag_maximum"     // most minutes of a lag; Problem.Lags
	KindSeparation Kind = "separation"      // two tasks do not start at some distances; Problem.Separations
	KindDeadline   Kind = "deadline"        // latest end of a task; Problem.Tasks
	KindBudget     Kind = "budget"          // an amount that does not come back; Problem.Budgets
	KindCrew       Kind = "crew"            // people of whom each is in one place at a time; Problem.Crews
	KindOrigin     Kind = "origin"          // nothing starts before minute 0; only in Reasons; Index 0
	KindMakespan   Kind = "makespan"        // an earlier start would end later than the whole plan; only in Reasons; Index 0
)

// Blame is one member of a set of constraint groups that together leave no solution.
type Blame struct {
	Kind  Kind `json:"kind"`
	Index int  `json:"index"`
	// Name is the resource's, calendar's or task's name; for a lag both tasks' names.
	Name string `json:"name"`
	// Need and Have are the figures that say how far it is from enough, in minutes or in the cumulative's unit. Where Need
	// is at most Have they explain nothing by themselves: the group fits, but not together with the others blamed.
	//
	//	horizon          least makespan if only the horizon were later (-1: none, or not found), horizon
	//	release          -1, release
	//	forbidden_start  -1, minutes forbidden in the mode that has the fewest
	//	unary_busy       least minutes of a mode on it, longest free gap before the horizon
	//	unary_shared     least minutes of all tasks that have no other unary, horizon
	//	calendar         most minutes of phases in a row bound to it, its longest opening; if that is enough and the same
	//	                 of all blamed calendars taken as one is not, the latter
	//	too_long         most minutes of phases in a row bound to it, its longest opening
	//	cumulative       greatest demand on it, least free before the horizon
	//	over_demand      greatest demand on it, capacity
	//	lag_minimum      MinMinutes, -1
	//	separation       ToMinutes, FromMinutes
	//	deadline         -1, deadline
	//	budget           least amount that all tasks need, amount
	//	crew             1, people
	//	lag_maximum      -1, MaxMinutes
	//
	// Openings end with the horizon where it is blamed too.
	Need int `json:"need"`
	Have int `json:"have"`
}

// Reason is one constraint group that keeps a task from starting one step earlier in its mode while all other tasks stay
// where they are. Where several are needed together, each is one Reason. Where the step earlier falls where a calendar is
// closed, but a later phase rules out the opening before too, the reasons for that come first. A task has none
// if nothing is known to hold it: in a solution that is not proven best, or where a limit ended the question.
type Reason struct {
	Task  int    `json:"task"` // index into Problem.Tasks
	Kind  Kind   `json:"kind"`
	Index int    `json:"index"`
	Name  string `json:"name"`
	// OtherTask is, for lags and separations, the task at the other end; else -1.
	OtherTask int `json:"other_task"`
	// Phase is, for a calendar or a cumulative, the phase of the task's mode that it holds back, the first if there are
	// several; else -1.
	Phase int `json:"phase"`
	// UntilMinute is when the group lets go of the task, or of the phase that it holds back: the end of what is busy, used
	// or forbidden, the calendar's next opening, the release, the other task's end or, for a lag, the minute at which it was
	// ready and the lag; for a separation, the first start that it allows after what it refuses. -1 where no single minute
	// says it.
	UntilMinute int `json:"until_minute"`
}
