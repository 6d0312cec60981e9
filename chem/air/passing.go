package air

import "math"

// firstAbove is the first minute, not before from, at which the curve is above ppm; false when it never is.
func (c Curve) firstAbove(from, ppm float64) (float64, bool) {
	target := ppm - c.background
	if target < 0 {
		return from, true
	}
	for i := max(c.find(from), 0); i < len(c.segments); i++ {
		s := c.segments[i]
		if s.start < from {
			excess, _ := s.after(from - s.start)
			s.start, s.x0 = from, excess
		}
		if s.x0+s.offset > target {
			return s.start, true
		}
		rises := i+1 < len(c.segments) // after the last every release has ended
		if rises && s.end+s.offset > target {
			return s.start + reach(s.x0, s.gain, s.rate, target-s.offset), true
		}
	}
	return 0, false
}

// firstMeanAbove is the first minute, not before from, at which the mean over the window that ends there is above ppm; false
// when it never is. Between the breakpoints and maxima that the sweep of MaxMean meets, the mean passes a level upwards at
// most once.
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
	_, begins := crossing(s.below, s.beyond, func(minute float64) float64 {
		return s.level*windowMinutes - cut.sum(minute, minute+windowMinutes)
	})
	return begins + windowMinutes, true
}

// crossing narrows down where a smooth function that is not below zero at low, and below zero at high, falls through it: to
// crossingWidth, or to what a double can tell apart. It takes false positions, the value of an end that stays halved (Dowell and
// Jarratt, A modified regula falsi method, BIT 11, 1971, known as the Illinois method), and the middle every fourth time.
func crossing(low, high float64, f func(float64) float64) (last, first float64) {
	atLow, atHigh := f(low), f(high)
	stays := 0 // how often the high end has stayed in a row; below zero: the low one
	for try := 1; try <= crossingTries && high-low > crossingWidth; try++ {
		next := low + (high-low)*atLow/(atLow-atHigh)
		if try%4 == 0 || !(next > low && next < high) {
			next = (low + high) / 2
		}
		if next <= low || next >= high {
			break
		}
		at := f(next)
		if at < 0 {
			high, atHigh, stays = next, at, min(stays, 0)-1
			if stays < -1 {
				atLow /= 2
			}
		} else {
			low, atLow, stays = next, at, max(stays, 0)+1
			if stays > 1 {
				atHigh /= 2
			}
		}
	}
	return low, high
}

// crossingWidth is how near a crossing is narrowed down, in minutes, within so many tries.
const (
	crossingWidth = 1e-11
	crossingTries = 100
)
