package app

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
)

// codeOwnLimits is of findings that windows break what the run's own maker set.
const codeOwnLimits = "OWN_LIMITS"

// limitFaults are what is wrong with limits by themselves.
func limitFaults(field string, limits domain.PlanLimits) finding.Faults {
	var faults finding.Faults
	for _, fault := range (domain.StaffedHours{Weekly: limits.Attendance}).Check() {
		fault.Field = strings.Replace(fault.Field, "weekly", field+".attendance", 1)
		faults = append(faults, fault)
	}
	if !limits.Start.IsZero() && !limits.End.IsZero() && !limits.Start.Before(limits.End) {
		faults.Add(field+".end_time", "it is not after the start", "give a later end")
	}
	return faults
}

// avoidFaults are of furnaces to avoid that nobody has.
func avoidFaults(field string, limits domain.PlanLimits, site *domain.Site) finding.Faults {
	var faults finding.Faults
	for _, id := range limits.AvoidFurnaces {
		if _, ok := site.Furnaces[id]; !ok {
			faults.Add(field+".avoid_furnaces", fmt.Sprintf("there is no furnace %q", id), "name furnaces that stand")
		}
	}
	return faults
}

// checkLimits returns the faults of the limits that a new run is to keep.
func (at runAt) checkLimits(site *domain.Site) finding.Faults {
	if at.standing != nil {
		return nil // as it was booked
	}
	field := at.field + ".limits"
	return append(limitFaults(field, at.request.Limits), avoidFaults(field, at.request.Limits, site)...)
}

// ownLimits finds windows that break what the run's maker set: at most one finding for each stage, since a maker, or a
// technician for them, may do otherwise once they know.
func (w windowCheck) ownLimits(limits domain.PlanLimits, maker string) []finding.Finding {
	var found []finding.Finding
	for i := w.kept; i < len(w.windows); i++ {
		broken := w.brokenLimits(i, limits, maker)
		if len(broken) == 0 {
			continue
		}
		found = append(found, finding.Finding{
			Severity: finding.Warn, Code: codeOwnLimits, Field: w.path(i), About: w.windows[i].Stage,
			Message: fmt.Sprintf("stage %s breaks the run's own limits: %s", w.windows[i].Stage, strings.Join(broken, "; ")),
			Cure:    fmt.Sprintf("choose windows within them, or ask %s and acknowledge this", maker),
		})
	}
	return found
}

// brokenLimits are the limits that one stage breaks, in words.
func (w windowCheck) brokenLimits(stage int, limits domain.PlanLimits, maker string) []string {
	var broken []string
	window := w.windows[stage]
	if slices.Contains(limits.AvoidFurnaces, window.Furnace) {
		broken = append(broken, window.Furnace+" is to be avoided")
	}
	if start := window.Window().Start; !limits.Start.IsZero() && start.Before(limits.Start) {
		broken = append(broken, fmt.Sprintf("it starts at %s, before %s", w.clock(start), w.clock(limits.Start)))
	}
	if drawn := window.Drawn(); !limits.End.IsZero() && drawn.After(limits.End) {
		broken = append(broken, fmt.Sprintf("it is drawn at %s, after %s", w.clock(drawn), w.clock(limits.End)))
	}
	needed := w.phases[stage]
	if len(needed) != len(window.Phases) {
		return broken // a finding of its own
	}
	attends := cmp.Or(window.AttendedBy, maker) == maker && len(limits.Attendance) > 0
	there := domain.StaffedHours{Weekly: limits.Attendance}
	for k, phase := range window.Phases {
		within := func(open []domain.Window) bool {
			return phase.Window.Minutes() == 0 || slices.ContainsFunc(open, func(o domain.Window) bool { return o.Contains(phase.Window) })
		}
		times := fmt.Sprintf("%s from %s to %s", phase.Kind, w.clock(phase.Window.Start), w.clock(phase.Window.End))
		if attends && needed[k].Watch == heat.InRoom && !within(there.Windows(phase.Window, w.site.Zone)) {
			broken = append(broken, times+" is not when "+maker+" can be there")
		}
		if limits.HeatOnlyWhileStaffed && needed[k].Kilowatts > 0 && !within(staffedWindows(w.site, "", heat.InReach, phase.Window)) {
			broken = append(broken, times+" is heated with nobody in reach")
		}
	}
	return broken
}
