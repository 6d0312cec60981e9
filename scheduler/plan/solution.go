package plan

// Solution places every task of a problem, in the order of Problem.Tasks.
type Solution struct {
	Tasks []Placement `json:"tasks"`
}

// Placement is one task's mode and times.
type Placement struct {
	Task        int `json:"task"` // index into Problem.Tasks
	Mode        int `json:"mode"` // index into that task's Modes; -1: the task is left out, has no phases and starts at 0
	StartMinute int `json:"start_minute"`
	// Phases are the times of the mode's phases, one for each, in order and without a gap. Start equals End where a phase
	// lasts no minute.
	Phases []Interval `json:"phases"`
}

// Omitted says that the task is left out.
func (p Placement) Omitted() bool { return p.Mode == -1 }

// EndMinute is when the last phase ends, or the start when there are no phases.
func (p Placement) EndMinute() int {
	if len(p.Phases) == 0 {
		return p.StartMinute
	}
	return p.Phases[len(p.Phases)-1].End
}

// ReadyMinute is when what the task made is out: the end of the last phase before the mode's tail, from which lags count.
// The mode is the one that the placement names. It is the start when no phase comes before the tail.
func (p Placement) ReadyMinute(mode Mode) int {
	before := len(p.Phases) - max(mode.TailPhases, 0)
	if before <= 0 {
		return p.StartMinute
	}
	return p.Phases[before-1].End
}

// MakespanMinute is the latest end of all tasks; 0 for an empty solution.
func (s Solution) MakespanMinute() int {
	latest := 0
	for _, placement := range s.Tasks {
		latest = max(latest, placement.EndMinute())
	}
	return latest
}
