package scheduler

import "sort"

// far is later than any minute that a valid problem can reach, and small enough to add a few of them.
const far = 1 << 52

// span is the closed range of whole numbers from lo to hi.
type span struct{ lo, hi int }

// set is a set of whole numbers: spans in rising order that do not overlap, of which only what lies in [lo, hi] counts.
// The bounds make cutting at either end free of copying; the spans are shared and never changed. The first span holds lo
// and the last holds hi, unless the set is empty (no spans).
type set struct {
	spans  []span
	lo, hi int
}

func newSet(spans []span) set {
	if len(spans) == 0 {
		return set{}
	}
	return set{spans: spans, lo: spans[0].lo, hi: spans[len(spans)-1].hi}
}

func single(lo, hi int) set {
	if lo > hi {
		return set{}
	}
	return newSet([]span{{lo, hi}})
}

func (s set) empty() bool { return len(s.spans) == 0 }

// at is the i-th span within the bounds.
func (s set) at(i int) span {
	sp := s.spans[i]
	if i == 0 {
		sp.lo = s.lo
	}
	if i == len(s.spans)-1 {
		sp.hi = s.hi
	}
	return sp
}

// atLeast drops what is below lo.
func (s set) atLeast(lo int) set {
	if s.empty() || lo <= s.lo {
		return s
	}
	if lo > s.hi {
		return set{}
	}
	first := 0
	if s.spans[0].hi < lo {
		first = sort.Search(len(s.spans), func(i int) bool { return s.spans[i].hi >= lo })
	}
	return set{spans: s.spans[first:], lo: max(lo, s.spans[first].lo), hi: s.hi}
}

// atMost drops what is above hi.
func (s set) atMost(hi int) set {
	if s.empty() || hi >= s.hi {
		return s
	}
	if hi < s.lo {
		return set{}
	}
	last := len(s.spans) - 1
	if s.spans[last].lo > hi {
		last = sort.Search(len(s.spans), func(i int) bool { return s.spans[i].lo > hi }) - 1
	}
	return set{spans: s.spans[:last+1], lo: s.lo, hi: min(hi, s.spans[last].hi)}
}

func (s set) between(lo, hi int) set { return s.atLeast(lo).atMost(hi) }

// appendSpan adds lo to hi to spans in rising order of lo, joining it to the last where they touch.
func appendSpan(spans []span, lo, hi int) []span {
	if lo > hi {
		return spans
	}
	if n := len(spans); n > 0 && lo <= spans[n-1].hi+1 {
		spans[n-1].hi = max(spans[n-1].hi, hi)
		return spans
	}
	return append(spans, span{lo, hi})
}

// within says whether every member of s is in t.
func (s set) within(t set) bool {
	j := 0
	for i := range s.spans {
		sp := s.at(i)
		for j < len(t.spans) && t.at(j).hi < sp.lo {
			j++
		}
		if j == len(t.spans) || t.at(j).lo > sp.lo || t.at(j).hi < sp.hi {
			return false
		}
	}
	return true
}

// intersect returns the common members; s itself, without copying, where t takes nothing away.
func intersect(s, t set) set {
	if s.empty() || t.empty() {
		return set{}
	}
	s, t = s.between(t.lo, t.hi), t.between(s.lo, s.hi)
	if len(t.spans) < 2 || s.within(t) {
		if t.empty() {
			return set{}
		}
		return s.between(t.lo, t.hi)
	}
	var spans []span
	for i, j := 0, 0; i < len(s.spans) && j < len(t.spans); {
		a, b := s.at(i), t.at(j)
		if lo, hi := max(a.lo, b.lo), min(a.hi, b.hi); lo <= hi {
			spans = append(spans, span{lo, hi})
		}
		if a.hi < b.hi {
			i++
		} else {
			j++
		}
	}
	return newSet(spans)
}

// union returns the members of either.
func union(s, t set) set {
	if s.empty() || t.within(s) {
		if s.empty() {
			return t
		}
		return s
	}
	spans := make([]span, 0, len(s.spans)+len(t.spans))
	for i, j := 0, 0; i < len(s.spans) || j < len(t.spans); {
		if j == len(t.spans) || (i < len(s.spans) && s.at(i).lo <= t.at(j).lo) {
			spans = appendSpan(spans, s.at(i).lo, s.at(i).hi)
			i++
		} else {
			spans = appendSpan(spans, t.at(j).lo, t.at(j).hi)
			j++
		}
	}
	return newSet(spans)
}

// shift says how far the values of one variable may lie from those of another: from lo to hi minutes. Sets hold their
// values in units of so many minutes, from for the given set and to for the result.
type shift struct{ lo, hi, from, to int }

// appendShifted appends, in rising order, every value that lies within the shift of a member of s and in the clip, which
// is in minutes.
func appendShifted(spans []span, s set, by shift, clip span) []span {
	for i := range s.spans {
		sp := s.at(i)
		if sp.lo*by.from+by.lo > clip.hi {
			return spans
		}
		switch {
		case sp.lo == sp.hi || by.hi-by.lo >= by.from-1:
			spans = appendMinutes(spans, sp.lo*by.from+by.lo, sp.hi*by.from+by.hi, by.to, clip)
		case by.from == by.to:
			// Of a range below a unit at most one multiple of the unit is a possible difference.
			if by.hi >= ceilDiv(by.lo, by.from)*by.from {
				move := ceilDiv(by.lo, by.from) * by.from
				spans = appendMinutes(spans, sp.lo*by.from+move, sp.hi*by.from+move, by.to, clip)
			}
		default:
			for q := sp.lo; q <= sp.hi && q*by.from+by.lo <= clip.hi; q++ {
				spans = appendMinutes(spans, q*by.from+by.lo, q*by.from+by.hi, by.to, clip)
			}
		}
	}
	return spans
}

func appendMinutes(spans []span, lo, hi, unit int, clip span) []span {
	return appendSpan(spans, ceilDiv(max(lo, clip.lo), unit), floorDiv(min(hi, clip.hi), unit))
}

func shifted(s set, by shift, clip span) set { return newSet(appendShifted(nil, s, by, clip)) }

func floorDiv(a, unit int) int {
	if unit == 1 {
		return a
	}
	q := a / unit
	if a%unit < 0 {
		q--
	}
	return q
}

func ceilDiv(a, unit int) int { return -floorDiv(-a, unit) }

// same says whether t is s itself, as the operations above return it when they take nothing away.
func (s set) same(t set) bool {
	return len(s.spans) == len(t.spans) && s.lo == t.lo && s.hi == t.hi &&
		(s.empty() || &s.spans[0] == &t.spans[0])
}
