package air

import (
	"fmt"
	"math"

	"saggar/chem/finding"
)

// stopSteps is what is done when the fan stops (common practice, no source).
const stopSteps = "when the fan stops: cut the heat and the gas, stop feeding, leave the room and close its door, keep others " +
	"out, and go in again only after a detector shows that the air is below the re-entry level; an alarm outside the room and " +
	"an interlock that cuts the heat save time"

func (c *FanFailureCheck) assumptions() []string {
	capture := "from the failure on nothing is captured"
	if len(c.Failing) > 0 {
		capture = "from the failure on the failing sources capture nothing, the others as before"
	}
	lines := []string{
		fmt.Sprintf("%s holds %g m3, mixed with factor K = %g: the share 1/K of the flow counts as fresh air", c.Zone.name(),
			c.Zone.VolumeCubicMeters, c.Zone.mixing()),
		c.Zone.flowAssumption() + " before the failure",
		fmt.Sprintf("after it %g m3/s flows by itself, never more than before", c.NaturalCubicMetersPerSecond),
		capture,
		"the release goes on as planned: cutting the heat does not stop what is hot already",
		"people may be inside at any time",
		"limits over an averaging time count what was breathed before the failure too",
		noteSO3,
	}
	if c.AtMinute == nil {
		lines = append(lines, "the fan stops at the minute that leaves the least time, sought to within a minute of that time")
	}
	return append(lines, c.Zone.incomingAssumptions()...)
}

// finding says how much time there is. It never refuses: the fan that stops is a case to be ready for, not the plan.
func (c *FanFailureCheck) finding(result *FanFailure) finding.Finding {
	found := finding.Finding{
		Severity: finding.Note, Code: "AIR_FAN_FAILURE", About: c.Zone.ID, Source: commonPractice,
		Message: fmt.Sprintf("if the fan of %s stops at minute %.0f, no limit that refuses is passed", c.Zone.name(),
			result.AtMinute),
		Figures: []finding.Figure{{Name: "fails", Value: result.AtMinute, Unit: "min"}},
		Cure:    stopSteps,
	}
	first := result.firstThatMatters()
	if first == nil {
		return found
	}
	found.Severity, found.Source = finding.Warn, first.Source
	found.Message = fmt.Sprintf("if the fan of %s stops at minute %.0f, %s passes the limit %s %s of %s %s", c.Zone.name(),
		result.AtMinute, first.Species, first.Authority, first.Kind, worded(first.Species, first.PPM), soon(first.AfterMinutes))
	found.Figures = append(found.Figures, finding.Figure{Name: "time_to_act", Value: first.AfterMinutes, Unit: "min"})
	if result.LeastMinutes != nil {
		found.Figures = append(found.Figures, finding.Figure{
			Name: "no_failure_leaves_less_than", Value: *result.LeastMinutes, Unit: "min",
		})
	}
	if result.EvacuateMinutes != nil {
		found.Message += fmt.Sprintf("; what nobody may breathe even for a moment is passed %s", soon(*result.EvacuateMinutes))
		found.Figures = append(found.Figures, finding.Figure{Name: "evacuate_within", Value: *result.EvacuateMinutes, Unit: "min"})
	}
	return found
}

// firstThatMatters is the limit passed first of those that refuse or drive people out: of those that the failure brings, else
// of those that were passed before.
func (f *FanFailure) firstThatMatters() *PassedLimit {
	var first *PassedLimit
	for i := range f.Limits {
		limit := &f.Limits[i]
		if limit.Severity != finding.Block && !limit.evacuates() {
			continue
		}
		if limit.AfterMinutes > 0 {
			return limit
		}
		if first == nil {
			first = limit
		}
	}
	return first
}

// soon words a time rounded down, so that it never promises more than there is.
func soon(minutes float64) string {
	switch {
	case minutes == 0:
		return "even before"
	case minutes < 1:
		return "within a minute"
	default:
		return fmt.Sprintf("after %.0f min", math.Floor(minutes))
	}
}
