package air

import (
	"fmt"
	"math"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// FanFailureCheck asks what happens when the fan of a room stops while something is given off.
type FanFailureCheck struct {
	Zone    Zone     `json:"zone"`
	Sources []Source `json:"sources"`
	// AtMinute is when the fan stops; nil: the minute that leaves the least time to act.
	AtMinute *float64 `json:"at_minute"`
	// NaturalCubicMetersPerSecond is what still flows through the room then, never more than before; 0: nothing does.
	NaturalCubicMetersPerSecond float64 `json:"natural_cubic_meters_per_second"`
	// Failing are the names of the sources whose capture hangs on that fan: from then on they capture nothing. Empty: all.
	Failing []string   `json:"failing"`
	Own     []OwnLimit `json:"own_limits"`
}

// FanFailure is what a failed fan leads to. Nothing here refuses a booking: it says how much time alarms and interlocks have.
type FanFailure struct {
	AtMinute float64 `json:"at_minute"`
	// Worst says that AtMinute was sought: about the one that leaves the least time.
	Worst bool `json:"worst"`
	// LeastMinutes is what no failure at any minute undercuts, when the worst was sought; nil: nothing that matters is passed.
	LeastMinutes *float64 `json:"least_minutes"`
	// Limits are those that are passed from the failure on, the first passed first. At worst each has its own earliest time.
	Limits []PassedLimit `json:"limits"`
	// EvacuateMinutes is how long after the failure the air passes what nobody may breathe even for a moment: a concentration
	// dangerous to life, a ceiling or a peak; nil: it never does.
	EvacuateMinutes *float64          `json:"evacuate_minutes"`
	Findings        []finding.Finding `json:"findings"`
	Assumptions     []string          `json:"assumptions"`
	Caution         string            `json:"caution"`
}

// PassedLimit is a limit that is passed after the fan has stopped.
type PassedLimit struct {
	Limit
	// AfterMinutes counts from the failure; 0: it was passed before.
	AfterMinutes float64 `json:"after_minutes"`
	// GreatestPPM is the greatest mean over the limit's averaging time.
	GreatestPPM float64 `json:"greatest_ppm"`
}

// The search for the worst minute ends when no failure can leave less time by more than the first, or after so many trials:
// LeastMinutes holds all the same.
const (
	failureSearchMinutes  = 1.0
	failureSearchesAtMost = 500
)

// CheckFanFailure works out the room after its fan has stopped: fresh air falls to what flows by itself, the failing sources'
// capture to nothing, and the release goes on as planned, since cutting the heat does not stop what is hot already. The error
// is a finding.Faults.
func CheckFanFailure(check FanFailureCheck) (FanFailure, error) {
	if err := check.validate(); err != nil {
		return FanFailure{}, err
	}
	result := FanFailure{
		Limits: []PassedLimit{}, Findings: []finding.Finding{}, Assumptions: check.assumptions(), Caution: Caution,
		Worst: check.AtMinute == nil,
	}
	lists := borrow()
	defer lists.giveBack()
	failing, err := check.failing(lists)
	if err != nil {
		return FanFailure{}, err
	}
	result.seek(failing)
	for _, curve := range failing.curves(result.AtMinute) {
		peak, _ := curve.Peak()
		if err := possible(curve.species, peak); err != nil {
			return FanFailure{}, err
		}
	}
	result.Limits = failing.passed(result.AtMinute)
	for _, passed := range result.Limits {
		if passed.evacuates() && result.EvacuateMinutes == nil {
			minutes := passed.AfterMinutes
			result.EvacuateMinutes = &minutes
		}
	}
	result.Findings = append(result.Findings, check.finding(&result))
	return result, nil
}

func (c *FanFailureCheck) validate() error {
	var faults finding.Faults
	if err := Validate(c.Zone, c.Sources); err != nil {
		faults = append(faults, finding.FaultsOf(err)...)
	}
	if c.AtMinute != nil && !finite(*c.AtMinute) {
		faults.Add("at_minute", fmt.Sprintf("%v is no time", *c.AtMinute), "give a minute, or none for the worst")
	}
	if !atLeastZero(c.NaturalCubicMetersPerSecond) {
		faults.Add("natural_cubic_meters_per_second", fmt.Sprintf("%v is no flow", c.NaturalCubicMetersPerSecond),
			"give a number of at least zero")
	}
	for i, name := range c.Failing {
		if sourceNamed(c.Sources, name) < 0 {
			faults.Add(fmt.Sprintf("failing[%d]", i), fmt.Sprintf("there is no source %q", name),
				"name one that is given, or none for all")
		}
	}
	faults = append(faults, OwnLimitFaults(c.Own)...)
	return faults.Err()
}

// flow is the fresh air when the fan stops at a minute: as before until then, afterwards what flows by itself.
func (c *FanFailureCheck) flow(minute float64) []FlowStep {
	if len(c.Zone.Flow) == 0 {
		return nil
	}
	after := func(start float64, step FlowStep) FlowStep {
		return FlowStep{start, math.Min(step.CubicMetersPerSecond, c.NaturalCubicMetersPerSecond)}
	}
	running := FlowStep{minute - 1, c.Zone.Flow[0].CubicMetersPerSecond} // the first step holds before its minute too
	steps := []FlowStep{running}
	for _, step := range c.Zone.Flow {
		if step.StartMinute < minute {
			if running = step; len(steps) == 1 && steps[0].StartMinute >= step.StartMinute {
				steps = nil
			}
			steps = append(steps, step)
		}
	}
	steps = append(steps, after(minute, running))
	for _, step := range c.Zone.Flow {
		switch {
		case step.StartMinute > minute:
			steps = append(steps, after(step.StartMinute, step))
		case step.StartMinute == minute:
			steps[len(steps)-1] = after(minute, step)
		}
	}
	return steps
}

// evacuates reports whether nobody may stay once the limit is passed: danger to life, read or remembered, and what refuses
// at any moment.
func (l Limit) evacuates() bool {
	switch l.Kind {
	case data.DangerousToLife:
		return true
	case data.Ceiling, data.Peak, ExcursionCeiling:
		return l.Severity == finding.Block
	default:
		return false
	}
}
