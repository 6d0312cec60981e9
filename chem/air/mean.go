package air

import "math"

// MaxMean is the greatest mean over a window of the given minutes, in ppm, and the minute at which that window begins;
// a window of zero asks for the peak. Windows begin at the curve's start or later, which loses nothing: the curve never
// lies below what it was before. It is exact: the mean's slope is the difference between the two ends of the window,
// so its maxima lie where that difference falls through zero, and those points are solved for between breakpoints.
func (c Curve) MaxMean(windowMinutes float64) (ppm, startMinute float64) {
	if !(windowMinutes > 0) || len(c.segments) == 0 {
		return c.Peak()
	}
	sweep := newSweep(c.segments, windowMinutes)
	return c.greatest(&sweep, sweep.fullest())
}

// maxMeanFrom is MaxMean with the minute at which a window begins that comes near it, which makes the search shorter.
func (c Curve) maxMeanFrom(windowMinutes, nearMinute float64) (ppm, startMinute float64) {
	if !(windowMinutes > 0) || len(c.segments) == 0 {
		return c.Peak()
	}
	sweep := newSweep(c.segments, windowMinutes)
	return c.greatest(&sweep, max(c.find(nearMinute), 0))
}

// maxMeanWithin is MaxMean of the windows that begin within a stretch of time, where it is more than ppm: else some mean that is not.
func (c Curve) maxMeanWithin(windowMinutes float64, begins Interval, ppm float64) (greatest, startMinute float64) {
	if !(windowMinutes > 0) || len(c.segments) == 0 {
		return c.Peak()
	}
	s := newSweep(c.segments, windowMinutes)
	for at := max(c.find(begins.StartMinute), 0); at+1 < len(s.segments) && s.segments[at].start <= begins.EndMinute; at++ {
		if at > 0 {
			s.over(at)
		}
		if s.atMost() > max(ppm-c.background, s.best) {
			s.through()
		}
	}
	return c.background + s.best, s.bestStart
}

// greatest is the greatest mean of a sweep, which need look only for more than the windows of one segment come to.
func (c Curve) greatest(s *sweep, segment int) (ppm, startMinute float64) {
	s.floor = s.reached(segment) * (1 - rounding)
	s.run()
	return c.background + s.best, s.bestStart
}

// edge is one end of the moving window: a segment and where in it.
type edge struct {
	at     int     // index of the segment
	tau    float64 // minutes into it
	excess float64
	total  float64 // excess and offset summed from the curve's start
}

// sweep moves a window along the segments from breakpoint to breakpoint of either end.
type sweep struct {
	segments  []segment
	window    float64
	tail      edge // the window's beginning
	head      edge // the window's end
	stale     bool // only the head's segment is known, not where in it
	best      float64
	bestStart float64
	floor     float64 // segments in which no window comes to more are passed over
	level     float64 // the sweep notes where the mean first passes it
	passed    bool
	below     float64 // where the window began when it was last at or below the level
	beyond    float64 // and when it was first above
}

func newSweep(segments []segment, window float64) sweep {
	s := sweep{segments: segments, window: window, bestStart: segments[0].start, best: math.Inf(-1), level: math.Inf(1)}
	s.below = s.bestStart
	end := segments[0].start + window
	for s.head.at+1 < len(segments) && segments[s.head.at+1].start <= end {
		s.head.at++
	}
	s.tail = s.begin(0)
	s.head = s.onward(s.head, end-segments[s.head.at].start)
	s.consider(s.tail, s.head)
	return s
}

// begin is the edge at a segment's start.
func (s *sweep) begin(at int) edge {
	return edge{at: at, excess: s.segments[at].x0, total: s.segments[at].area}
}

// onward is the edge some minutes further in its segment.
func (s *sweep) onward(e edge, minutes float64) edge {
	seg := &s.segments[e.at]
	e.tau += minutes
	excess, area := seg.after(e.tau)
	e.excess, e.total = excess, seg.area+area+seg.offset*e.tau
	return e
}

func (s *sweep) consider(tail, head edge) {
	mean, begins := (head.total-tail.total)/s.window, s.segments[tail.at].start+tail.tau
	if mean > s.best {
		s.best, s.bestStart = mean, begins
	}
	switch {
	case s.passed:
	case mean > s.level:
		s.passed, s.beyond = true, begins
	default:
		s.below = begins
	}
}

// step moves to the next breakpoint that either end meets; false when the tail is in the last segment, from where the
// mean can only fall.
func (s *sweep) step() bool {
	if s.tail.at+1 == len(s.segments) {
		return false
	}
	length := s.segments[s.tail.at+1].start - s.segments[s.tail.at].start - s.tail.tau
	tailEnters, headEnters := true, false
	if s.head.at+1 < len(s.segments) {
		ahead := s.segments[s.head.at+1].start - s.segments[s.head.at].start - s.head.tau
		tailEnters, headEnters = length <= ahead, ahead <= length
		length = min(length, ahead)
	}
	length = max(length, 0)
	tail, head := s.move(s.tail, tailEnters, length), s.move(s.head, headEnters, length)
	s.inside(tail.excess, head.excess, length)
	s.consider(tail, head)
	s.tail, s.head = tail, head
	return true
}

// move takes an edge some minutes on; where it enters the next segment, what it holds there is known already.
func (s *sweep) move(e edge, enters bool, minutes float64) edge {
	if enters {
		return s.begin(e.at + 1)
	}
	return s.onward(e, minutes)
}

// inside looks for a maximum strictly between the sweep's place and length minutes on, where the ends' excess is given.
func (s *sweep) inside(tailEnds, headEnds, length float64) {
	from, to := &s.segments[s.tail.at], &s.segments[s.head.at]
	lift := to.offset - from.offset
	begins, ends := s.head.excess-s.tail.excess+lift, headEnds-tailEnds+lift
	if from.rate == to.rate {
		if begins > 0 && ends < 0 {
			s.considerInside(reach(s.head.excess-s.tail.excess, to.gain-from.gain, from.rate, -lift), length)
		}
		return
	}
	turn := s.turn(from, to)
	if !(turn > 0 && turn < length) {
		turn = length
	}
	s.considerFall(0, turn, length)
	s.considerFall(turn, length, length)
}

// turn is where the difference of two decays with different rates has its only extremum; NaN when it has none.
func (s *sweep) turn(from, to *segment) float64 {
	tailSlope := from.gain - from.rate*s.tail.excess
	headSlope := to.gain - to.rate*s.head.excess
	return math.Log(headSlope/tailSlope) / (to.rate - from.rate)
}

// rise is the difference between the window's ends, tau minutes on.
func (s *sweep) rise(tau float64) float64 {
	tail, head := s.onward(s.tail, tau), s.onward(s.head, tau)
	return head.excess + s.segments[head.at].offset - tail.excess - s.segments[tail.at].offset
}

// considerFall looks for the zero of the difference on a stretch on which it only falls or only rises.
func (s *sweep) considerFall(low, high, length float64) {
	if !(s.rise(low) > 0 && s.rise(high) < 0) {
		return
	}
	low, _ = crossing(low, high, s.rise)
	s.considerInside(low, length)
}

func (s *sweep) considerInside(tau, length float64) {
	if tau > 0 && tau < length {
		s.consider(s.onward(s.tail, tau), s.onward(s.head, tau))
	}
}
