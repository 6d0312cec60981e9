package air

import (
	"cmp"
	"math"
	"slices"

	"saggar/chem/finding"
)

// failing is a room whose fan is about to stop: what it holds while the fan runs, and what is given off once it does not, each
// worked out once. When it stops, the one goes over into the other.
type failing struct {
	check   *FanFailureCheck
	species []failingGas
}

type failingGas struct {
	running Curve // for ever with the fan
	stopped load  // what escapes without it, at all times
	limits  []Limit
	// What it comes to when the fan stops, in the place of the one before.
	segments []segment
}

func (c *FanFailureCheck) failing(lists *workspace) (*failing, error) {
	loads, err := lists.collect(&c.Zone, c.Sources)
	if err != nil {
		return nil, err
	}
	stopped := slices.Clone(c.Sources)
	for i := range stopped {
		if len(c.Failing) == 0 || slices.Contains(c.Failing, stopped[i].Name) {
			stopped[i].CaptureFraction, stopped[i].DoorOpenFraction, stopped[i].DoorOpen = 0, 0, nil
		}
	}
	after, err := lists.collect(&c.Zone, stopped)
	if err != nil {
		return nil, err
	}
	f, rates := &failing{check: c}, c.Zone.exchanges()
	for i := range loads {
		gas := failingGas{running: loads[i].curve(rates), stopped: after[i]}
		if gas.limits, err = applicable(gas.running.species, c.Own); err != nil {
			return nil, err
		}
		f.species = append(f.species, gas)
	}
	return f, nil
}

// curves are the room's when the fan stops at a minute, at all times: somebody may be inside. They are good until the next are asked
// for.
func (f *failing) curves(minute float64) []Curve {
	zone := f.check.Zone
	zone.Flow = f.check.flow(minute)
	rates, curves := zone.exchanges(), make([]Curve, len(f.species))
	for i := range f.species {
		curves[i] = f.species[i].curve(minute, rates)
	}
	return curves
}

func (g *failingGas) curve(minute float64, rates []rateStep) Curve {
	at := g.running.find(minute)
	if count := at + 1 + len(g.stopped.changes) + len(rates); count > cap(g.segments) {
		g.segments = g.stopped.lists.segmentList(count)
	}
	if at < 0 {
		return g.stopped.curveIn(g.segments[:0], rates)
	}
	s := &g.running.segments[at]
	excess, area := s.after(minute - s.start)
	curve := g.running
	curve.segments = append(g.segments[:0], g.running.segments[:at+1]...)
	if last := &curve.segments[len(curve.segments)-1]; last.start < minute {
		last.end = excess
	} else { // it begins with the failure
		curve.segments = curve.segments[:len(curve.segments)-1]
	}
	curve.segments = g.stopped.follow(curve.segments, segment{start: minute, x0: excess, area: s.area + area}, rates)
	return curve
}

// passed lists the limits that are passed when the fan stops at a minute, the first passed first.
func (f *failing) passed(minute float64) []PassedLimit {
	passed := []PassedLimit{}
	for i, curve := range f.curves(minute) {
		for _, limit := range f.species[i].limits {
			at, ok := curve.firstMeanAbove(minute, limit.AveragingMinutes, limit.PPM*(1+rounding))
			if !ok {
				continue
			}
			greatest, _ := curve.between(minute-limit.AveragingMinutes, math.Inf(1)).MaxMean(limit.AveragingMinutes)
			passed = append(passed, PassedLimit{limit, at - minute, greatest})
		}
	}
	slices.SortStableFunc(passed, func(a, b PassedLimit) int { return cmp.Compare(a.AfterMinutes, b.AfterMinutes) })
	return passed
}

// leastTime is the time from a failure to the first limit that matters: what evacuates where anything does, else what
// refuses. Infinite when nothing is passed.
func (f *failing) leastTime(minute float64, evacuating bool) float64 {
	least := math.Inf(1)
	for i, curve := range f.curves(minute) {
		peak, _ := curve.Peak()
		for _, limit := range f.species[i].limits {
			matters := limit.evacuates() || !evacuating && limit.Severity == finding.Block
			if !matters || !above(peak, limit.PPM) {
				continue
			}
			if at, ok := curve.firstMeanAbove(minute, limit.AveragingMinutes, limit.PPM*(1+rounding)); ok {
				least = math.Min(least, at-minute)
			}
		}
	}
	return least
}
