package plan

import (
	"fmt"
	"strings"
)

// MaxMinute is the greatest distance from the origin, MaxAmount the greatest amount and MaxWeight the greatest weight that
// a problem may state. They keep every sum that solving or checking forms far from the range of int.
const (
	MaxMinute = 1 << 31
	MaxAmount = 1 << 31
	MaxWeight = 1 << 20
)

// faultsShown is how many faults the text of an InvalidError lists; its Faults field has all.
const faultsShown = 20

// Fault is one thing wrong with a problem.
type Fault struct {
	Field string // path from the problem, such as tasks[1].modes[0].unary
	Value int    // what stands there; 0 for a list that is empty
	Cure  string // what would be right
}

// String says field, value and cure in one line.
func (f Fault) String() string { return fmt.Sprintf("%s is %d: %s", f.Field, f.Value, f.Cure) }

// InvalidError is every fault of a problem, in the order of its fields.
type InvalidError struct{ Faults []Fault }

// Error lists the first faults, one a line, and how many more there are.
func (e *InvalidError) Error() string {
	lines := []string{fmt.Sprintf("invalid scheduling problem, %d fault(s)", len(e.Faults))}
	for _, fault := range e.Faults[:min(len(e.Faults), faultsShown)] {
		lines = append(lines, fault.String())
	}
	if more := len(e.Faults) - faultsShown; more > 0 {
		lines = append(lines, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(lines, "\n")
}

// Validate says whether the problem is well formed: an *InvalidError with every fault, or nil. Well formed is not
// feasible: lags that contradict each other, a demand above a capacity or a phase longer than every opening are answers
// of the solver, with what is to blame.
func (p *Problem) Validate() error {
	v := validator{}
	if v.problem(p); v.count == 0 {
		return nil
	}
	v = validator{named: true}
	v.problem(p)
	return &InvalidError{Faults: v.faults}
}

// validator collects faults. The paths of tens of thousands of fields are spelled out only where there is a fault at all.
type validator struct {
	named  bool
	count  int
	faults []Fault
}

// path spells a field out.
func (v *validator) path(format string, args ...any) string {
	if !v.named {
		return ""
	}
	return fmt.Sprintf(format, args...)
}

func (v *validator) problem(p *Problem) {
	v.inRange("horizon_minutes", p.HorizonMinutes, 1, MaxMinute)
	v.inRange("step_minutes", p.StepMinutes, 0, MaxMinute)
	v.notEmpty("tasks", len(p.Tasks))
	for i, task := range p.Tasks {
		v.task(v.path("tasks[%d]", i), task, p)
	}
	for i, lag := range p.Lags {
		v.lag(v.path("lags[%d]", i), lag, len(p.Tasks))
	}
	for i, separation := range p.Separations {
		v.separation(v.path("separations[%d]", i), separation, p)
	}
	for i, unary := range p.Unaries {
		v.intervals(v.path("unaries[%d].busy", i), unary.Busy)
	}
	for i, cumulative := range p.Cumulatives {
		v.cumulative(v.path("cumulatives[%d]", i), cumulative)
	}
	for i, calendar := range p.Calendars {
		v.calendar(v.path("calendars[%d].open", i), calendar.Open)
	}
	v.more(p)
}

func (v *validator) add(field string, value int, cure string) {
	v.count++
	v.faults = append(v.faults, Fault{Field: field, Value: value, Cure: cure})
}

func (v *validator) inRange(field string, value, least, most int) {
	if value < least || value > most {
		v.add(field, value, fmt.Sprintf("must be from %d to %d", least, most))
	}
}

func (v *validator) index(field string, value, count int, list string) {
	if value < 0 || value >= count {
		v.add(field, value, fmt.Sprintf("must be an index into %s, which has %d", list, count))
	}
}

func (v *validator) notEmpty(field string, count int) {
	if count == 0 {
		v.add(field, 0, "must have at least one entry")
	}
}

func (v *validator) task(field string, task Task, p *Problem) {
	v.inRange(field+".release_minute", task.ReleaseMinute, 0, MaxMinute)
	v.notEmpty(field+".modes", len(task.Modes))
	for i, mode := range task.Modes {
		at := v.path("%s.modes[%d]", field, i)
		if mode.Unary != -1 {
			v.index(at+".unary", mode.Unary, len(p.Unaries), "unaries, or -1 for none; unaries")
		}
		v.intervals(at+".forbidden_starts", mode.ForbiddenStarts)
		v.phases(at+".phases", mode.Phases, p)
		v.tail(at, mode)
		v.modeExtras(at, mode, p)
	}
	v.taskExtras(field, task)
}

func (v *validator) phases(field string, phases []Phase, p *Problem) {
	total := 0
	for i, phase := range phases {
		at := v.path("%s[%d]", field, i)
		v.phase(at, phase, p)
		total = min(total+max(phase.Minutes, 0), MaxMinute+1)
	}
	if total == 0 || total > MaxMinute {
		v.add(field, total, fmt.Sprintf("the least minutes of all phases must add up to from 1 to %d", MaxMinute))
	}
}

func (v *validator) tail(field string, mode Mode) {
	if mode.TailPhases == 0 {
		return
	}
	lasting := 0
	for _, phase := range mode.Phases {
		if phase.Minutes > 0 {
			lasting++
		}
	}
	if mode.TailPhases < 0 || mode.TailPhases >= lasting {
		v.add(field+".tail_phases", mode.TailPhases,
			fmt.Sprintf("must be at least 0 and below the number of phases of at least one minute, which is %d", lasting))
		return
	}
	for i := len(mode.Phases) - mode.TailPhases; i < len(mode.Phases); i++ {
		if phase := mode.Phases[i]; phase.MaxMinutes > phase.Minutes {
			v.add(v.path("%s.phases[%d].max_minutes", field, i), phase.MaxMinutes,
				"must be 0 or the same as minutes, since the tail must not be elastic")
		}
	}
}

func (v *validator) phase(field string, phase Phase, p *Problem) {
	v.inRange(field+".minutes", phase.Minutes, 0, MaxMinute)
	v.inRange(field+".max_minutes", phase.MaxMinutes, 0, MaxMinute)
	if phase.MaxMinutes > 0 && phase.MaxMinutes < phase.Minutes {
		v.add(field+".max_minutes", phase.MaxMinutes, "must be 0 or at least minutes")
	}
	if phase.Calendar != -1 {
		v.index(field+".calendar", phase.Calendar, len(p.Calendars), "calendars, or -1 for any time; calendars")
	}
	for i, demand := range phase.Demands {
		at := v.path("%s.demands[%d]", field, i)
		v.index(at+".cumulative", demand.Cumulative, len(p.Cumulatives), "cumulatives")
		v.inRange(at+".amount", demand.Amount, 0, MaxAmount)
	}
}

func (v *validator) lag(field string, lag Lag, tasks int) {
	v.index(field+".from", lag.From, tasks, "tasks")
	v.index(field+".to", lag.To, tasks, "tasks")
	if lag.From == lag.To {
		v.add(field+".to", lag.To, "must be another task than from")
	}
	v.inRange(field+".min_minutes", lag.MinMinutes, -MaxMinute, MaxMinute)
	if lag.MaxMinutes < 0 {
		return
	}
	v.inRange(field+".max_minutes", lag.MaxMinutes, 0, MaxMinute)
	if lag.MaxMinutes < lag.MinMinutes {
		v.add(field+".max_minutes", lag.MaxMinutes, "must be negative (no most) or at least min_minutes")
	}
}

// sound says whether interval has nothing to report: the paths of thousands of intervals need not be spelled out.
func sound(interval Interval) bool {
	return -MaxMinute <= interval.Start && interval.Start < interval.End && interval.End <= MaxMinute
}

func (v *validator) interval(field string, interval Interval) {
	v.inRange(field+".start", interval.Start, -MaxMinute, MaxMinute)
	v.inRange(field+".end", interval.End, -MaxMinute, MaxMinute)
	if interval.End <= interval.Start {
		v.add(field+".end", interval.End, "must be above start")
	}
}

func (v *validator) intervals(field string, intervals []Interval) {
	for i, interval := range intervals {
		if sound(interval) {
			continue
		}
		v.interval(v.path("%s[%d]", field, i), interval)
	}
}

func (v *validator) cumulative(field string, cumulative Cumulative) {
	v.inRange(field+".capacity", cumulative.Capacity, 0, MaxAmount)
	for i, step := range cumulative.Used {
		if sound(step.Interval) && 0 <= step.Amount && step.Amount <= MaxAmount {
			continue
		}
		at := v.path("%s.used[%d]", field, i)
		v.interval(at, step.Interval)
		v.inRange(at+".amount", step.Amount, 0, MaxAmount)
	}
}

func (v *validator) calendar(field string, open []Interval) {
	v.intervals(field, open)
	for i := 1; i < len(open); i++ {
		if open[i].Start < open[i-1].End {
			v.add(v.path("%s[%d].start", field, i), open[i].Start, "must not be below the end of the one before")
		}
	}
}
