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
	// wellBelow is the share of the flow as it is at which a search around what is worst now begins, where it is enough.
	wellBelow = 0.5
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
// Where the flow as it is does not meet it, it is sought around the windows that are worst, with all else left out, which never
// asks for too much. Then the whole curves are held to it: where another window is worse by now, the search goes on around that
// one, and further around, so that the answer is held to the worst window at its own flow.
func (t *trial) enough(d *demand, from float64) (float64, bool) {
	if d.allowed() <= 0 {
		return 0, false
	}
	steady := len(t.zone.Flow) == 1
	if steady && from >= t.present() && (d.spare(d.now) >= 0 || from > t.present() && t.settled(d, from)) {
		return from, true
	}
	least := t.present()
	if d.spare(d.now) >= 0 {
		least *= wellBelow
	}
	from, low := max(from, least), from
	for around := float64(shortTermMinutes); steady && least > 0; around *= 4 {
		flow, ok := t.seek(d, from, func(x *term) float64 { return t.near(x, around) })
		if flow == least { // too much: what is worst now says nothing of that
			break
		}
		if !ok || t.point(flow, d, t.everywhere).spare >= -shortOf {
			return flow, ok
		}
		from = flow
	}
	return t.seek(d, low, t.everywhere)
}

// settled reports whether what is given off shows by itself that a demand of one term is met at a steady flow.
func (t *trial) settled(d *demand, flow float64) bool {
	x := &d.terms[0]
	return len(d.terms) == 1 && x.load.simple() && len(x.load.mayPass(d.ppm/x.weight, x.windowMinutes, t.zone.exchange(flow))) == 0
}

// seek is the least flow, from a given one on, that meets a demand as far as a look at its terms goes; false when none does.
func (t *trial) seek(d *demand, from float64, look func(*term) float64) (float64, bool) {
	last := t.known(d)
	if from > t.present() || from > 0 && d.spare(d.now) >= 0 {
		at := t.point(from, d, look)
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
		at := t.point(next, d, look)
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

// known are points to begin a search with, the nearest last: without any flow all stays that was given off, and what the air holds
// as things are is known (exact where the flow is steady, else a guess), as is what came of a search for another limit.
func (t *trial) known(d *demand) [3]point {
	most := d.spare(d.most())
	points := [3]point{{0, most}, {0, most}, {t.present(), d.spare(d.now)}}
	for _, one := range t.tried {
		if x := &d.terms[0]; len(d.terms) > 1 || one.load != x.load || one.windowMinutes != x.windowMinutes {
			continue
		}
		if p := (point{one.flow, d.spare(d.terms[0].weight * one.ppm)}); math.Abs(p.spare) < math.Abs(points[2].spare) {
			points = [3]point{points[1], points[2], p}
		}
	}
	return points
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
	most := l.background + l.initial
	if given := l.givenUntil(); len(given) > 0 {
		most += given[len(given)-1]
	}
	return most
}

// trial is a room's air at one flow after another, each curve in the place of the one before.
type trial struct {
	zone     *Zone
	rates    []rateStep
	segments []segment
	tried    []tried
}

// tried is what a species came to over a window at a steady flow.
type tried struct {
	load                     *load
	windowMinutes, flow, ppm float64
}

// asItIs is the room's air at the flow as things are.
func asItIs(zone *Zone) *trial {
	return &trial{zone: zone, rates: zone.exchanges()}
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

// point tries a steady flow for a demand, as far as a look at its terms goes.
func (t *trial) point(flow float64, d *demand, look func(*term) float64) point {
	t.rates = append(t.rates[:0], rateStep{minute: math.Inf(-1), rate: t.zone.exchange(flow)})
	total := 0.0
	for i := range d.terms {
		total += d.terms[i].weight * look(&d.terms[i])
	}
	if x := &d.terms[0]; len(d.terms) == 1 {
		t.tried = append(t.tried, tried{x.load, x.windowMinutes, flow, total / x.weight})
	}
	return point{flow, d.spare(total)}
}

// everywhere is a term's greatest mean; it notes its window.
func (t *trial) everywhere(x *term) float64 {
	rate := t.rates[0].rate
	if len(t.rates) > 1 || rate == 0 || !x.load.simple() {
		inside := x.load.occupied.curve(t.during(x.load, Interval{math.Inf(-1), math.Inf(1)}))
		x.ppm, x.startMinute = inside.maxMeanFrom(x.windowMinutes, x.startMinute)
		return x.ppm
	}
	if x.rate != rate {
		t.near(x, 0)
	}
	for _, begins := range x.load.mayPass(x.ppm, x.windowMinutes, rate) {
		if begins.StartMinute >= x.near.StartMinute && begins.EndMinute <= x.near.EndMinute {
			continue
		}
		bears := Interval{begins.StartMinute - forgottenTimes/rate, begins.EndMinute + x.windowMinutes}
		if more, start := t.during(x.load, bears).maxMeanWithin(x.windowMinutes, begins, x.ppm); more > x.ppm {
			x.ppm, x.startMinute = more, start
		}
	}
	return x.ppm
}

// near is a term's greatest mean in windows that begin some minutes around the one that was worst so far, as if nothing else were
// given off than bears on these; it notes its window.
func (t *trial) near(x *term, around float64) float64 {
	x.rate, x.near = t.rates[0].rate, Interval{x.startMinute - around, x.startMinute + around}
	begins, ends := x.load.occupied.clock(x.near.StartMinute), x.load.occupied.clock(x.near.EndMinute+x.windowMinutes)
	some := x.load.occupied.curve(t.during(x.load, Interval{begins - forgottenTimes/x.rate, ends}))
	x.ppm, x.startMinute = some.maxMeanWithin(x.windowMinutes, x.near, 0)
	return x.ppm
}

// during is a curve as if nothing were given off outside a stretch of time, good until the next one is asked for.
func (t *trial) during(l *load, stretch Interval) Curve {
	if count := len(l.changes) + len(t.rates); count > cap(t.segments) {
		t.segments = l.lists.segmentList(count)
	}
	return l.curveDuring(t.segments[:0], t.rates, stretch)
}
