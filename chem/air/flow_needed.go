package air

import (
	"math"
	"slices"

	"saggar/chem/finding"
)

// demand is what a flow is to bring about: that the greatest means of its terms come to no more than ppm together.
type demand struct {
	terms []term
	ppm   float64
	now   float64 // what they come to as things are
}

// term is one species, or several added up, with a weight, the window of its mean and where that was greatest so far, in
// minutes inside.
type term struct {
	load          *load
	weight        float64
	windowMinutes float64
	startMinute   float64
	// What it came to at an exchange of air, and in windows that begin when; a rate of 0: it was not looked at.
	ppm, rate float64
	near      Interval
}

// demands of limits on one species, each with the window that is worst as things are. What is met whenever another limit is, is
// left out.
func (m *measured) demands(limits []Limit) []demand {
	var list []demand
	for i, limit := range limits {
		covered := func(by Limit) bool { return by.covers(limit) }
		after := func(by Limit) bool { return by.covers(limit) && !limit.covers(by) }
		if !slices.ContainsFunc(limits[:i], covered) && !slices.ContainsFunc(limits[i+1:], after) {
			greatest := m.mean(limit.AveragingMinutes)
			list = append(list, demand{[]term{m.term(1, limit.AveragingMinutes)}, limit.PPM, greatest.ppm})
		}
	}
	return list
}

// term is the species with its mean over a window, which is worst where it is as things are.
func (m *measured) term(weight, windowMinutes float64) term {
	return term{load: m.load, weight: weight, windowMinutes: windowMinutes, startMinute: m.mean(windowMinutes).startMinute}
}

// covers reports whether air within the limit is within another: a window of the other's is made up of whole windows of its own.
func (l Limit) covers(other Limit) bool {
	whole := l.AveragingMinutes == 0 || other.AveragingMinutes > 0 && math.Mod(other.AveragingMinutes, l.AveragingMinutes) == 0
	return whole && l.PPM <= other.PPM
}

// flowNeeded is the least steady flow at which the species passes the limits; nil when none does.
func (m *measured) flowNeeded(air *trial, limits []Limit) *float64 {
	return air.leastFlow(0, m.demands(limits))
}

// flowNeeded is the least steady flow at which all species pass what refuses them, and so do the mixtures; one without such
// a limit counts for nothing. More flow never makes anything worse, so that it is no less than any species needs.
func flowNeeded(air *trial, species []SpeciesAssessment, mixtures []mixed) *float64 {
	least := 0.0
	for _, one := range species {
		if one.FlowNeeded == nil {
			if !slices.ContainsFunc(one.Limits, func(l LimitCheck) bool { return l.Severity == finding.Block }) {
				continue // it is held to no limit that refuses
			}
			return nil
		}
		least = max(least, *one.FlowNeeded)
	}
	var demands []demand
	for _, m := range mixtures {
		if len(m.parts) > 1 {
			demands = append(demands, demand{m.terms, 1, m.total})
		}
	}
	return air.leastFlow(least, demands)
}
