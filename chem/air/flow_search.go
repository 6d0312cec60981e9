package air

import (
	"cmp"
	"math"
	"slices"
)

// Bounds of the search for a flow: how much of what is allowed an answer may leave unused or be short of, as shares, and the
// flow at which it gives up, m3/s.
const (
	leftUnused  = 1e-9
	shortOf     = 1e-10
	flowGivesUp = 1e6
)

// point is a flow that was tried, and how much of what is allowed it leaves: what is allowed over what is there, less one.
type point struct{ flow, spare float64 }

// leastFlow is the least steady flow, from a given one on, that meets all demands; nil when none does.
func (t *trial) leastFlow(from float64, demands []demand) *float64 {
	slices.SortStableFunc(demands, func(a, b demand) int { return cmp.Compare(a.spare(a.now), b.spare(b.now)) })
	for i := range demands {
		if d := &demands[i]; above(d.most(), d.ppm) {
			var ok bool
			if from, ok = t.enough(d, from); !ok {
				return nil
			}
		}
	}
	return &from
}

// enough is the least flow, from a given one on, that meets a demand, which no flow at all does not; false when none does.
//
// Two points are there to begin with: without any flow all stays that was given off, and what the air holds as things are is
// known (exact where the flow is steady, else a guess). Each further one is of the whole curves, so that the answer is held to the
// worst window at its own flow, not to one that was worst at another.
func (t *trial) enough(d *demand, from float64) (float64, bool) {
	if d.allowed() <= 0 {
		return 0, false
	}
	last := [3]point{{0, d.spare(d.most())}, {0, d.spare(d.most())}, {t.present(), d.spare(d.now)}}
	if from > 0 {
		at := t.point(from, d)
		if at.spare >= -shortOf {
			return from, true
		}
		last = [3]point{last[1], last[2], at}
	}
	low, high := from, math.Inf(1)
	for try := 1; low < flowGivesUp && high > low*(1+shortOf); try++ {
		next := t.next(last, low, high)
		if try%8 == 0 && !math.IsInf(high, 1) {
			next = (low + high) / 2
		}
		at := t.point(next, d)
		if at.spare >= -shortOf && at.spare <= leftUnused {
			return next, true
		}
		if at.spare > 0 {
			high = next
		} else {
			low = next
		}
		last = [3]point{last[1], last[2], at}
	}
	return high, low < flowGivesUp
}

// next is the flow to try between one that is too little and one that is enough, or of which nothing is known if it is infinite.
// What is allowed over what is there rises with the flow: in a straight line once the air is steady, and nearly so elsewhere.
// So it is where the parabola of the flow over the spare through the last three points, or else the line through two of them,
// comes to no spare, if that lies between the two.
func (t *trial) next(last [3]point, low, high float64) float64 {
	a, b, c := last[0], last[1], last[2]
	if math.IsInf(high, 1) {
		high = min(max(1000*c.flow, t.onceAnHour()), flowGivesUp)
	}
	line := c.flow - c.spare*(c.flow-b.flow)/(c.spare-b.spare)
	bend := ((c.flow-b.flow)/(c.spare-b.spare) - (b.flow-a.flow)/(b.spare-a.spare)) / (c.spare - a.spare)
	for _, next := range []float64{line + c.spare*b.spare*bend, line, (low + high) / 2} {
		if next > low && next < high {
			return next
		}
	}
	return high
}

// spare is how much of what is allowed above the incoming air's own is left when the terms come to a total.
func (d demand) spare(total float64) float64 { return d.allowed()/(total-d.background()) - 1 }

func (d demand) allowed() float64 { return d.ppm*(1+rounding/2) - d.background() }

func (d demand) background() float64 {
	total := 0.0
	for _, term := range d.terms {
		total += term.weight * term.load.background
	}
	return total
}

// most is what the terms come to without any flow: no flow makes it more.
func (d demand) most() float64 {
	total := 0.0
	for _, term := range d.terms {
		total += term.weight * term.load.most()
	}
	return total
}

// most is what the room would hold if none of it ever left, in ppm.
func (l *load) most() float64 {
	total := l.background + l.initial
	for i := 1; i < len(l.changes); i++ {
		total += l.changes[i-1].level * (l.changes[i].minute - l.changes[i-1].minute)
	}
	return total
}

// trial is a room's air at one flow after another. Each curve is worked out once for all that is asked of it, in the place of
// the one before.
type trial struct {
	zone  *Zone
	rates []rateStep
	known []tried
}

// asItIs is the room's air at the flow as things are.
func asItIs(zone *Zone) *trial { return &trial{zone: zone, rates: zone.exchanges()} }

type tried struct {
	load  *load
	found bool
	whole Curve
	curve Curve // of the time when people are inside
}

// present is the zone's flow as things are, the first of several.
func (t *trial) present() float64 {
	if len(t.zone.Flow) == 0 {
		return 0
	}
	return t.zone.Flow[0].CubicMetersPerSecond
}

// onceAnHour is the flow that changes the air once an hour.
func (t *trial) onceAnHour() float64 { return 1. / 60 / t.zone.exchange(1) }

// point tries a steady flow for a demand.
func (t *trial) point(flow float64, d *demand) point {
	if rate := t.zone.exchange(flow); len(t.rates) > 1 || t.rates[0].rate != rate {
		t.rates = append(t.rates[:0], rateStep{minute: math.Inf(-1), rate: rate})
		for i := range t.known {
			t.known[i].found = false
		}
	}
	return point{flow, d.spare(d.total(t))}
}

// total is what the terms come to at the trial's flow; it notes the windows that are worst.
func (d demand) total(t *trial) float64 {
	total := 0.0
	for i := range d.terms {
		term := &d.terms[i]
		greatest, start := t.curve(term.load).maxMeanFrom(term.windowMinutes, term.startMinute)
		term.startMinute = start
		total += term.weight * greatest
	}
	return total
}

func (t *trial) curve(l *load) Curve {
	at := slices.IndexFunc(t.known, func(k tried) bool { return k.load == l })
	if at < 0 {
		at = len(t.known)
		t.known = append(t.known, tried{load: l, whole: Curve{segments: make([]segment, 0, len(l.changes)+1)}})
	}
	k := &t.known[at]
	if !k.found {
		k.found, k.whole = true, l.curveIn(k.whole.segments[:0], t.rates)
		k.curve = l.occupied.curve(k.whole)
	}
	return k.curve
}
