package main

import (
	"regexp"
	"strings"

	"saggar/client/api"
	"saggar/client/file"
)

// typedAs names what was typed for a field of a request.
var typedAs = map[string]string{
	"parent": "--studio", "name": "ID", "department": "--department",
	"runs[0].department": "--department", "runs[0].name": "--id", "runs[0].title": "--title", "runs[0].recipe": "RECIPE",
	"runs[0].scale": "--factor", "runs[0].scale.factor": "--factor", "runs[0].scale.product_grams": "--product-grams",
	"runs[0].scale.crucible_count": "--crucibles", "runs[0].scale.crucible_milliliters": "--crucible-milliliters",
	"scale": "--factor", "scale.factor": "--factor", "scale.product_grams": "--product-grams",
	"scale.crucible_count": "--crucibles", "scale.crucible_milliliters": "--crucible-milliliters",
	"wish": "--wish", "search_limit": "--search-time", "alternative_count": "--alternatives", "limits.attendance": "--attend",
	"limits.avoid_furnaces": "--avoid", "may_move": "--may-move", "overruns": "--overrun",
	"start_time": "--from", "end_time": "--until", "furnaces": "--furnace", "minimum_minutes": "--minutes",
	"acknowledged_finding_codes": "--acknowledge", "access_key.caller": "CALLER", "access_key.role": "--role",
	"closure.name": "ID", "closure.subject": "--subject", "closure.start_time": "--from", "closure.end_time": "--until",
	"closure.reason": "--reason", "runs[0].stage_windows": "--join",
	"firing.attended_by": "--to", "firing.offer.liters": "--liters", "firing.offer.grams": "--grams",
	"firing.offer.join_until_time": "--join-until", "firing.offer.departments": "--for-department", "firings[0].start_time": "--start",
	"time_request.furnaces": "--furnace", "time_request.start_time": "--from", "time_request.end_time": "--until",
	"time_request.least_minutes": "--minutes", "time_request.department": "--department", "time_request.note": "--note",
	"reading.room": "--room", "reading.furnace": "--furnace", "reading.species": "--species", "reading.measured_ppm": "--ppm",
	"reading.read_time": "--at", "reading.instrument": "--instrument", "reading.calibrated_on": "--calibrated-on",
	"reading.uncertainty_fraction": "--uncertainty", "reading.uncertainty_ppm": "--uncertainty-ppm", "reading.note": "--note",
	"until": "--until", "vessel.held": "--still", "vessel.held_time": "--at", "gear.used_hours": "--used-hours", "gear.used_time": "--at",
}

// oneOfLimits is the index of the run whose limits are at fault; flags hold for all runs.
var oneOfLimits = regexp.MustCompile(`^limits\[[0-9]+\]`)

// typed is what was typed for a field or the one around it, or the field when nothing was.
func typed(field string) string {
	for part := oneOfLimits.ReplaceAllString(field, "limits"); part != ""; part = part[:max(strings.LastIndexAny(part, ".["), 0)] {
		if name, ok := typedAs[part]; ok {
			return name
		}
	}
	return field
}

// nameTyped gives the faults that a server finds in a request the flags and arguments that they come from. Other errors
// stay, and so do faults whose file is known already.
func nameTyped(err error) error {
	faults := api.Faults(err)
	if faults == nil {
		return err
	}
	var named file.Errors
	for _, fault := range faults {
		named = append(named, &file.Error{Field: typed(fault.Field), Problem: fault.Message})
	}
	return badInput(withRest(named, err))
}

// limitsField is a run's limits in a request; a file of runs holds them with the run.
var limitsField = regexp.MustCompile(`^limits(\[[0-9]+\])`)

// planFaults gives the faults that a server finds in a kept plan the file and line that they come from, and those in what
// was typed its name. Other errors stay.
func (s source) planFaults(err error) error {
	faults := api.Faults(err)
	if faults == nil {
		return err
	}
	var located file.Errors
	for _, fault := range faults {
		at := s.path + limitsField.ReplaceAllString(fault.Field, "runs$1.limits")
		_, kept := s.lines[at]
		kept = kept || strings.Contains(at, ".stage_windows[") // a plan has them all
		if !kept && typed(fault.Field) != fault.Field || s.name == "" {
			located = append(located, &file.Error{Field: typed(fault.Field), Problem: fault.Message})
			continue
		}
		located = append(located, &file.Error{
			File: s.name, Line: s.lines.Of(at), Field: at, Problem: fault.Message,
		})
	}
	return badInput(withRest(located, err))
}
