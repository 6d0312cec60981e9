package air

import "math"

// firstAbove is the first minute, not before from, at which the curve is above ppm; false when it never is.
func (c Curve) firstAbove(from, ppm float64) (float64, bool) {
	target := ppm - c.background
	if target < 0 {
		return from, true
	}
	pieces := c.pieces(from, math.Inf(1))
	for i, s := range pieces {
		if s.x0+s.offset > target {
			return s.start, true
		}
		if i+1 == len(pieces) {
			break // every release has ended: it rises no more
		}
		end, _ := s.after(pieces[i+1].start - s.start)
		if end+s.offset > target {
			return s.start + reach(s.x0, s.gain, s.rate, target-s.offset), true
		}
	}
	return 0, false
}

// firstMeanAbove is the first minute, not before from, at which the mean over the window that ends there is above ppm; false
// when it never is. Between the breakpoints and maxima that the sweep of MaxMean meets, the mean passes a level upwards at
// most once, so halving finds it.
func (c Curve) firstMeanAbove(from, windowMinutes, ppm float64) (float64, bool) {
	if windowMinutes == 0 {
		return c.firstAbove(from, ppm)
	}
	if c.background > ppm {
		return from, true
	}
	began := from - windowMinutes
	cut := Curve{species: c.species, segments: c.pieces(began, math.Inf(1))}
	if len(cut.segments) == 0 {
		return 0, false
	}
	if cut.segments[0].start > began {
		cut.segments = append([]segment{{start: began, rate: cut.segments[0].rate}}, cut.segments...)
	}
	cut.close()
	s := newSweep(cut.segments, windowMinutes)
	s.level, s.floor = ppm-c.background, ppm-c.background
	if s.best > s.level {
		return from, true
	}
	s.run()
	if !s.passed {
		return 0, false
	}
	low, high := s.below, s.beyond
	for range 60 {
		if middle := (low + high) / 2; cut.sum(middle, middle+windowMinutes) > s.level*windowMinutes {
			high = middle
		} else {
			low = middle
		}
	}
	return high + windowMinutes, true
}
