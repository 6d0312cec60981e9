package app

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/scheduler"
	"saggar/server/domain"
)

const (
	// endWeight is how much more the end of a run counts than those of its earlier stages.
	endWeight = 64
	// furnaceChangeMinutes is what another furnace counts in WishLeastChange.
	furnaceChangeMinutes = 240
)

// ownCalendars are what a run's own limits make of the studio's hours.
type ownCalendars struct {
	room        map[string]int // calendar by room; nil: the room's own. "" is bench work without a room
	heatStaffed bool
}

// ownCalendars narrows the rooms' hours to those in which the maker can be there.
func (p *planner) ownCalendars(run *plannedRun) ownCalendars {
	own := ownCalendars{heatStaffed: run.limits.HeatOnlyWhileStaffed}
	if len(run.limits.Attendance) == 0 {
		return own
	}
	own.room = map[string]int{}
	when := "when you can be there"
	if len(p.runs) > 1 {
		when += " for " + run.label()
	}
	span := p.calendarSpan()
	there := domain.StaffedHours{Weekly: run.limits.Attendance}.Windows(span, p.site.Zone)
	for _, id := range slices.Sorted(maps.Keys(p.index.room)) {
		own.room[id] = p.addCalendar(id+", "+when, both(there, staffedWindows(p.site, id, heat.InRoom, span)))
	}
	own.room[""] = p.addCalendar(when, both(there, staffedWindows(p.site, "", heat.InReach, span)))
	return own
}

// both are the times in windows of either list, each in order and without overlap.
func both(a, b []domain.Window) []domain.Window {
	var windows []domain.Window
	for len(a) > 0 && len(b) > 0 {
		shared := domain.Window{Start: later(a[0].Start, b[0].Start), End: a[0].End}
		if b[0].End.Before(shared.End) {
			shared.End = b[0].End
		}
		if shared.Start.Before(shared.End) {
			windows = append(windows, shared)
		}
		if a[0].End.Before(b[0].End) {
			a = a[1:]
		} else {
			b = b[1:]
		}
	}
	return windows
}

// addWish states what is made least. The earliest end of one run needs no statement: the scheduler then goes on to the
// earliest starts.
func (p *planner) addWish(wish PlanWish) error {
	if len(p.runs) == 1 && (wish == WishEarliest || wish == "") {
		return nil
	}
	for i := range p.problem.Tasks {
		p.problem.Tasks[i].CompletionWeight = 1
		if i+1 == len(p.tasks) || p.tasks[i+1].run != p.tasks[i].run {
			p.problem.Tasks[i].CompletionWeight = endWeight
		}
	}
	switch wish {
	case WishFewestVisits:
		p.problem.Days = p.days()
		p.problem.Objectives = append(p.problem.Objectives, scheduler.VisitsObjective)
	case WishLeastEnergy:
		p.problem.Objectives = append(p.problem.Objectives, scheduler.EnergyObjective)
	case WishLeastChange:
		if err := p.addPresent(); err != nil {
			return err
		}
		p.problem.Objectives = append(p.problem.Objectives, scheduler.ChangeObjective)
	}
	p.problem.Objectives = append(p.problem.Objectives, scheduler.CompletionObjective)
	return nil
}

// days are the studio's local days over the plan's window.
func (p *planner) days() []scheduler.Interval {
	var days []scheduler.Interval
	first := p.origin.In(p.site.Zone)
	for n := 0; ; n++ {
		start := p.minuteFloor(time.Date(first.Year(), first.Month(), first.Day()+n, 0, 0, 0, 0, p.site.Zone))
		if start >= p.problem.HorizonMinutes {
			return days
		}
		end := p.minuteFloor(time.Date(first.Year(), first.Month(), first.Day()+n+1, 0, 0, 0, 0, p.site.Zone))
		days = append(days, scheduler.Interval{Start: start, End: end})
	}
}

// addPresent says where each task stands, by the windows given with its run, or else those in which it stands.
func (p *planner) addPresent() error {
	for task, t := range p.tasks {
		windows := t.run.request.Windows
		if slices.ContainsFunc(windows, func(w domain.StageWindow) bool { return len(w.Phases) == 0 }) {
			windows = nil // they only name who attends, or the firing to ride in
		}
		if len(windows) < len(t.run.charge.Recipe.Stages) && t.run.standing != nil { // at most those that ride in shared firings
			windows = nil
			for _, load := range t.run.standing.Loads {
				windows = append(windows, load.StageWindow())
			}
		}
		if len(windows) != len(t.run.charge.Recipe.Stages) {
			return noPresent(t.run.field, len(windows), len(t.run.charge.Recipe.Stages))
		}
		stands := windows[t.stage]
		present := &scheduler.Present{
			StartMinute:  min(max(p.minuteFloor(stands.Window().Start), 0), p.problem.HorizonMinutes),
			MinuteWeight: 1, ModeWeight: furnaceChangeMinutes,
		}
		present.Mode = slices.IndexFunc(t.treatments, func(t assess.Treatment) bool { return t.Furnace.ID == stands.Furnace })
		if present.Mode < 0 {
			present.Mode, present.ModeWeight = 0, 0 // another furnace it must be
		}
		p.problem.Tasks[task].Present = present
	}
	return nil
}

func noPresent(field string, windows, stages int) error {
	return finding.Faults{{
		Field:   field + ".stage_windows",
		Message: fmt.Sprintf("least change needs windows to stay near to; %d are given for %d stages", windows, stages),
		Cure:    "give the windows of the plan that is to be refreshed, or ask for another wish",
	}}
}

// suppliedKilowattHours is what the supply gives for a treatment on a furnace that starts cold, clearing and warming included,
// or for bench work at a station.
func suppliedKilowattHours(t assess.Treatment) float64 {
	kilowattHours := t.Heat.InputKilowattHours
	for _, phase := range t.Phases {
		if phase.Kind != heat.Fire {
			kilowattHours += phase.Kilowatts * float64(phase.Minutes) / 60
		}
	}
	return kilowattHours
}

// wattHours is what a plan makes least of; bench work takes the same wherever it is done and is left out.
func wattHours(t assess.Treatment) int {
	if len(t.Heat.Profile) == 0 {
		return 0
	}
	return int(math.Ceil(suppliedKilowattHours(t) * 1000))
}

func (p *planner) kilowattHours(solution scheduler.Solution) float64 {
	sum := 0
	for task, placement := range solution.Tasks {
		sum += p.problem.Tasks[task].Modes[placement.Mode].Energy
	}
	return float64(sum) / 1000
}

// visitDays counts the local days on which somebody must come.
func (p *planner) visitDays(solution scheduler.Solution) int {
	days := map[string]bool{}
	for task, placement := range solution.Tasks {
		for k, phase := range p.problem.Tasks[task].Modes[placement.Mode].Phases {
			span := placement.Phases[k]
			if !phase.Visit || span.Minutes() == 0 {
				continue
			}
			for at := span.Start; at < span.End; at += 60 {
				days[p.dayOf(at)] = true
			}
			days[p.dayOf(span.End-1)] = true
		}
	}
	return len(days)
}

func (p *planner) dayOf(minute int) string {
	return p.instant(minute).In(p.site.Zone).Format(time.DateOnly)
}

// objectiveUnits are the codes of what is made least, with the units that it is told in and how many of the scheduler's these are.
var objectiveUnits = map[scheduler.Objective]struct {
	code, unit string
	scale      float64
}{
	scheduler.MakespanObjective:   {"MAKESPAN", "min", 1},
	scheduler.CompletionObjective: {"COMPLETION", "min", endWeight},
	scheduler.VisitsObjective:     {"VISITS", "days", 1},
	scheduler.EnergyObjective:     {"ENERGY", "kWh", 1000},
	scheduler.ChangeObjective:     {"CHANGE", "min", 1},
}

// inUnits is an objective's value as it is told.
func inUnits(o scheduler.ObjectiveValue) PlanObjective {
	u := objectiveUnits[o.Objective]
	return PlanObjective{Code: u.code, Unit: u.unit, Value: float64(o.Value) / u.scale, Bound: float64(o.Bound) / u.scale, Gap: o.Gap()}
}
