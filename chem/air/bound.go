package air

import "math"

// run looks, in order of time, at the windows that may come to more than the floor, until the mean has passed the level.
func (s *sweep) run() {
	segments, until := s.segments, s.head.at
	begins, ends := &segments[s.tail.at], &segments[until]
	for at := s.tail.at; at+1 < len(segments) && !s.passed; at++ {
		if at += s.settledFrom(at, until); at+1 >= len(segments) {
			return
		}
		begins = &segments[at]
		next := &segments[at+1]
		last := next.start + s.window
		for ends.start < last && until+1 < len(segments) {
			until++
			ends = &segments[until]
		}
		// All from where the first window begins to after the last has ended is no less than any of them: most are settled by that.
		settled := ends.area-begins.area <= s.floor*s.window && ends.start >= last
		begins = next
		if settled {
			continue
		}
		if at != s.tail.at {
			s.over(at)
			s.below = segments[at].start
		}
		if s.atMost() > s.floor {
			s.through()
			s.floor = max(s.floor, s.best*(1-rounding))
		}
	}
}

// leap is how many segments are looked at together.
const leap = 16

// settledFrom is how many segments from one on hold no beginning of a window of more than the floor, by one look: all from where
// the first window begins to after the last has ended is less. It looks where that is little more than one window holds.
func (s *sweep) settledFrom(at, until int) int {
	beyond := at + leap
	if beyond >= len(s.segments) || s.segments[beyond].start-s.segments[at].start > s.window/8 {
		return 0
	}
	last := s.segments[beyond].start + s.window
	end := max(until, beyond)
	for end += leap; end < len(s.segments) && s.segments[end].start < last; end += leap {
	}
	if end >= len(s.segments) || s.segments[end].area-s.segments[at].area > s.floor*s.window {
		return 0
	}
	return leap
}

// reached is what some window comes to: the greatest of those that begin in a segment.
func (s *sweep) reached(at int) float64 {
	look := *s
	look.over(at)
	look.through()
	return look.best
}

// everyOf is how many segments are passed over from one look of fullest to the next.
const everyOf = 4

// fullest is a segment from whose start on the air is about worst over a window.
func (s *sweep) fullest() int {
	until, at, most := s.head.at, 0, math.Inf(-1)
	for i := 0; i+1 < len(s.segments); i += everyOf {
		last := s.segments[i+1].start + s.window
		for until+1 < len(s.segments) && s.segments[until].start < last {
			until++
		}
		length := max(s.window, s.segments[until].start-s.segments[i].start)
		if mean := (s.segments[until].area - s.segments[i].area) / length; mean > most {
			at, most = i, mean
		}
	}
	return at
}

// over sets the window to a segment's start without looking at what it holds.
func (s *sweep) over(at int) {
	s.tail, s.stale = s.begin(at), true
	for end := s.segments[at].start + s.window; s.head.at+1 < len(s.segments) && s.segments[s.head.at+1].start <= end; {
		s.head.at++
	}
}

// through looks at the windows that begin in the tail's segment.
func (s *sweep) through() {
	if s.stale {
		s.stale = false
		s.head = s.onward(edge{at: s.head.at}, s.segments[s.tail.at].start+s.window-s.segments[s.head.at].start)
		s.consider(s.tail, s.head)
	}
	for at := s.tail.at; s.tail.at == at && s.step(); {
	}
}

// atMost bounds the means of the windows that begin in the tail's segment, which is not the last: the whole from its start
// to the breakpoint at or after their last end, less the least that can lie in what no such window holds.
func (s *sweep) atMost() float64 {
	first, next := &s.segments[s.tail.at], &s.segments[s.tail.at+1]
	least, last := first.least(), next.start+s.window
	at := s.head.at
	for ; at+1 < len(s.segments) && s.segments[at].start < last; at++ {
		least = min(least, s.segments[at].least())
	}
	until, total := s.segments[at].start, s.segments[at].area
	if until < last { // the last segment has no end
		end := &s.segments[at]
		excess, area := end.after(last - until)
		least = min(least, end.x0+end.offset, excess+end.offset)
		until, total = last, total+area+end.offset*(last-until)
	}
	return (total - first.area - (until-first.start-s.window)*least) / s.window
}

// least is the lowest that a segment comes to.
func (s *segment) least() float64 { return min(s.x0, s.end) + s.offset }
