package air

import (
	"cmp"
	"math"
	"slices"

	"saggar/chem/finding"
)

// Bounds of the search for a flow: how finely a crossing is found, as a share; by which power of a half of itself a flow goes on
// at least, so that the search ends, one less after each round; the least flow that is tried beside none, and the flow at which
// it gives up, m3/s.
const (
	crossingFineness = 1e-10
	leastDoublings   = 40
	leastTriedFlow   = 1e-9
	flowGivesUp      = 1e6
)

// demand is what a flow is to bring about: that the greatest means of its terms come to no more than ppm together.
type demand struct {
	terms []term
	ppm   float64
}

// term is one species, or several added up, the window of its mean and where that was greatest so far, in minutes inside.
type term struct {
	load          *load
	windowMinutes float64
	startMinute   float64
}

// demands of limits on one species, each with the window that is worst as things are, the furthest over its limit first. What
// is met whatever the flow, or whenever another limit is, is left out.
func (m *measured) demands(limits []Limit) []demand {
	most := m.load.most()
	limits = slices.DeleteFunc(slices.Clone(limits), func(l Limit) bool { return !above(most, l.PPM) })
	ratio := func(l Limit) float64 { return m.mean(l.AveragingMinutes).ppm / l.PPM }
	slices.SortStableFunc(limits, func(a, b Limit) int { return cmp.Compare(ratio(b), ratio(a)) })
	var list []demand
	for i, limit := range limits {
		covered := func(by Limit) bool { return by.covers(limit) }
		after := func(by Limit) bool { return by.covers(limit) && !limit.covers(by) }
		if !slices.ContainsFunc(limits[:i], covered) && !slices.ContainsFunc(limits[i+1:], after) {
			start := m.mean(limit.AveragingMinutes).startMinute
			list = append(list, demand{[]term{{m.load, limit.AveragingMinutes, start}}, limit.PPM})
		}
	}
	return list
}

// covers reports whether air within the limit is within another: a window of the other's is made up of whole windows of its own.
func (l Limit) covers(other Limit) bool {
	whole := l.AveragingMinutes == 0 || other.AveragingMinutes > 0 && math.Mod(other.AveragingMinutes, l.AveragingMinutes) == 0
	return whole && l.PPM <= other.PPM
}

// flowNeeded is the least steady flow at which the species passes the limits; nil when none does.
func (m *measured) flowNeeded(zone *Zone, limits []Limit) *float64 {
	return leastFlow(zone, 0, m.demands(limits))
}

// flowNeeded is the least steady flow at which all species pass what refuses them, and so do the mixtures; one without such
// a limit counts for nothing. More flow never makes anything worse, so that it is no less than any species needs.
func flowNeeded(zone *Zone, species []SpeciesAssessment, mixtures []mixed) *float64 {
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
			demands = append(demands, demand{m.terms, 1})
		}
	}
	return leastFlow(zone, least, demands)
}

// leastFlow is the least steady flow, from a given one on, that meets all demands; nil when none does. The flow at which the
// worst windows known so far just pass is never too much; where others are worse at that flow, they join in.
func leastFlow(zone *Zone, flow float64, demands []demand) *float64 {
	guess := 0.0
	if len(zone.Flow) > 0 {
		guess = zone.Flow[0].CubicMetersPerSecond
	}
	var tries trial
	for round := 0; ; round++ {
		next := flow
		for _, d := range demands {
			enough, ok := d.flow(zone, next, guess)
			if !ok {
				return nil
			}
			if next = max(next, enough); next > 0 {
				guess = 0 // what is enough for one is the better guess for the next
			}
		}
		if round > 0 {
			next = max(next, flow+max(flow, leastTriedFlow)*math.Exp2(float64(round-leastDoublings)))
		}
		flow = next
		tries.at(steady(zone, flow))
		demands = slices.DeleteFunc(demands, func(d demand) bool { return d.met(&tries) })
		if len(demands) == 0 {
			return &flow
		}
	}
}

func steady(zone *Zone, flow float64) []rateStep {
	return []rateStep{{minute: math.Inf(-1), rate: zone.exchange(flow)}}
}

// trial is the air at one flow, each curve worked out once.
type trial struct {
	rates []rateStep
	known []tried
}

type tried struct {
	load  *load
	found bool
	whole Curve
	curve Curve // of the time when people are inside
	peak  float64
}

// at begins a trial at other rates; curves are worked out in the place of those before.
func (t *trial) at(rates []rateStep) {
	t.rates = rates
	for i := range t.known {
		t.known[i].found = false
	}
}

func (t *trial) curve(l *load) *tried {
	at := slices.IndexFunc(t.known, func(k tried) bool { return k.load == l })
	if at < 0 {
		at = len(t.known)
		t.known = append(t.known, tried{load: l})
	}
	k := &t.known[at]
	if !k.found {
		k.found, k.whole = true, l.curveIn(k.whole.segments[:0], t.rates)
		k.curve = l.occupied.curve(k.whole)
		k.peak, _ = k.curve.Peak()
	}
	return k
}

// met reports whether a demand is met, and notes the windows that are worst.
func (d demand) met(t *trial) bool {
	total := 0.0
	for _, term := range d.terms {
		total += t.curve(term.load).peak
	}
	if !above(total, d.ppm) {
		return true // no mean lies above the peak
	}
	total = 0
	for i := range d.terms {
		curve, least := t.curve(d.terms[i].load).curve, 0.0
		if len(d.terms) == 1 {
			least = d.ppm // what is below it need not be told apart
		}
		ppm, start := curve.maxMeanAbove(d.terms[i].windowMinutes, least)
		d.terms[i].startMinute = start
		total += ppm
	}
	return !above(total, d.ppm)
}

// mean is what the noted windows hold together at a flow, above the background.
func (d demand) mean(zone *Zone, flow float64) float64 {
	total := 0.0
	for i := range d.terms {
		total += d.terms[i].mean(zone, flow)
	}
	return total
}

// flow is the one, not below another, at which the noted windows hold just what is allowed; false when none does. A guess above
// the other says where to begin. What they hold is about a power of the flow: the search draws the line through the logarithms
// of two trials on, within what is known.
func (d demand) flow(zone *Zone, from, guess float64) (float64, bool) {
	allowed := d.ppm * (1 + rounding/2)
	for _, t := range d.terms {
		allowed -= t.load.background
	}
	if !(allowed > 0) {
		return from, d.mean(zone, from) <= allowed
	}
	low, high, at, power := from, math.Inf(1), max(from, guess, leastTriedFlow), -1.0
	over := math.Log(d.mean(zone, at) / allowed)
	if over <= 0 && (at == from || d.mean(zone, from) <= allowed) {
		return from, true
	}
	for trial := 0; math.Abs(over) > crossingFineness && high > low*(1+crossingFineness); trial++ {
		if over > 0 {
			low = at
		} else {
			high = at
		}
		next := at * math.Exp(over/-power)
		switch {
		case math.IsInf(high, 1):
			next = min(next, 1000*at)
		case !(next > low && next < high) || trial%8 == 7:
			next = max(math.Sqrt(low*high), high/100)
		}
		if next > flowGivesUp {
			return 0, false
		}
		before := over
		over = math.Log(d.mean(zone, next) / allowed)
		power = min(-0.01, (over-before)/math.Log(next/at))
		at = next
	}
	if over > crossingFineness {
		return high, true
	}
	return at, true
}
