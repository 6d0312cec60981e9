package air

import (
	"fmt"
	"math"
	"slices"
	"strings"

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
		Message: fmt.Sprintf("if the fan of %s stops at minute %.0f, ", c.Zone.name(), result.AtMinute),
		Figures: []finding.Figure{{Name: "fails", Value: result.AtMinute, Unit: "min"}},
		Cure:    stopSteps,
	}
	already, next := result.thatMatter()
	var said []string
	if len(already) > 0 {
		found.Severity, found.Source = finding.Warn, already[0].Source
		said = append(said, overAlready(already))
	}
	if next != nil {
		found.Severity, found.Source = finding.Warn, next.Source
		said = append(said, next.worded(len(already) > 0))
	}
	found.Figures = append(found.Figures, result.times(len(already), next)...)
	if result.EvacuateMinutes != nil {
		said = append(said, "what nobody may breathe even for a moment is passed "+soon(*result.EvacuateMinutes))
	}
	if unknown := c.unjudged(); len(unknown) > 0 {
		found.Severity = finding.Warn
		said = append(said, fmt.Sprintf("no limit that refuses is known for %s, so how long people have cannot be said of it",
			strings.Join(unknown, ", ")))
	}
	if len(said) == 0 {
		said = append(said, "no limit that refuses is passed")
	}
	found.Message += strings.Join(said, "; ")
	return found
}

// thatMatter are the limits that refuse or drive people out: those that were passed before the failure, and the first that is
// passed after it, if there is one.
func (f *FanFailure) thatMatter() (already []PassedLimit, next *PassedLimit) {
	for i, limit := range f.Limits {
		switch {
		case limit.Severity != finding.Block && !limit.evacuates():
		case limit.AfterMinutes == 0:
			already = append(already, limit)
		case next == nil:
			next = &f.Limits[i]
		}
	}
	return already, next
}

// overAlready words limits that were passed while the fan still ran, by species.
func overAlready(limits []PassedLimit) string {
	var species []string
	names := map[string][]string{}
	for _, l := range limits {
		if names[l.Species] == nil {
			species = append(species, l.Species)
		}
		names[l.Species] = append(names[l.Species], fmt.Sprintf("%s %s of %s", l.Authority, l.Kind, worded(l.Species, l.PPM)))
	}
	for i, s := range species {
		species[i] = fmt.Sprintf("%s is over %s already", s, strings.Join(names[s], " and "))
	}
	return strings.Join(species, ", ")
}

// worded is when a limit is passed, a further one or the first.
func (l *PassedLimit) worded(further bool) string {
	limit := "limit"
	if further {
		limit = "further limit"
	}
	return fmt.Sprintf("%s passes the %s %s %s of %s %s", l.Species, limit, l.Authority, l.Kind, worded(l.Species, l.PPM),
		soon(l.AfterMinutes))
}

// times are the figures of how much time there is.
func (f *FanFailure) times(alreadyCount int, next *PassedLimit) []finding.Figure {
	if alreadyCount == 0 && next == nil {
		return nil
	}
	figures := []finding.Figure{{Name: "limits_passed_already", Value: float64(alreadyCount), Unit: "1"}}
	act := 0.0
	if next != nil {
		act = next.AfterMinutes
	}
	figures = append(figures, finding.Figure{Name: "time_to_act", Value: act, Unit: "min"})
	if f.LeastMinutes != nil {
		figures = append(figures, finding.Figure{Name: "no_failure_leaves_less_than", Value: *f.LeastMinutes, Unit: "min"})
	}
	if f.EvacuateMinutes != nil {
		figures = append(figures, finding.Figure{Name: "evacuate_within", Value: *f.EvacuateMinutes, Unit: "min"})
	}
	return figures
}

// unjudged are the species given off for which no limit that refuses is known, and which are not harmless, in order.
func (c *FanFailureCheck) unjudged() []string {
	var unknown []string
	for _, source := range c.Sources {
		for _, r := range source.Releases {
			species := countedAs(r.Species)
			if r.GramsPerMinute == 0 || slices.Contains(harmless, species) || slices.Contains(unknown, species) {
				continue
			}
			if limits, err := applicable(species, c.Own); err == nil && len(refusing(limits)) == 0 {
				unknown = append(unknown, species)
			}
		}
	}
	slices.Sort(unknown)
	return unknown
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
