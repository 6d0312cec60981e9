package air

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"saggar/chem/finding"
)

// occupancy is when nobody is inside a room: stretches of time in order, apart, each longer than cutMinutes. Limits are held
// in the time that is left when they are cut out: a window of eight hours then holds eight hours inside. That is the
// cautious end for people who were outside for a part of it: their time outside never makes a mean smaller, since
// elsewhere they may have breathed the same. Each stretch leaves cutMinutes of itself, so that what the air was when people
// left still counts as a moment.
type occupancy struct {
	closed []Interval
	before []float64 // minutes cut out before each of them
}

func newOccupancy(unoccupied []Interval) occupancy {
	o := occupancy{closed: slices.DeleteFunc(joined(unoccupied), func(i Interval) bool { return i.minutes() <= cutMinutes })}
	cut := 0.0
	for _, interval := range o.closed {
		o.before = append(o.before, cut)
		cut += interval.minutes() - cutMinutes
	}
	return o
}

func (i Interval) minutes() float64 { return i.EndMinute - i.StartMinute }

// joined is the intervals in order of time, those that touch as one.
func joined(intervals []Interval) []Interval {
	sorted := slices.Clone(intervals)
	slices.SortFunc(sorted, func(a, b Interval) int { return cmp.Compare(a.StartMinute, b.StartMinute) })
	var result []Interval
	for _, next := range sorted {
		if last := len(result) - 1; last >= 0 && next.StartMinute <= result[last].EndMinute {
			result[last].EndMinute = max(result[last].EndMinute, next.EndMinute)
			continue
		}
		result = append(result, next)
	}
	return result
}

// inside is how much of a minute is left of it when the time outside is cut out: the same minute while nothing was cut.
func (o occupancy) inside(minute float64) float64 {
	next := sort.Search(len(o.closed), func(i int) bool { return o.closed[i].StartMinute >= minute })
	if next == 0 {
		return minute
	}
	last := o.closed[next-1]
	if minute < last.EndMinute {
		return last.StartMinute - o.before[next-1] + min(minute-last.StartMinute, cutMinutes)
	}
	return minute - o.before[next-1] - last.minutes() + cutMinutes
}

// clock is the minute of the clock for one of inside; within the sliver that is left of a stretch, one of its ends.
func (o occupancy) clock(inside float64) float64 {
	next := sort.Search(len(o.closed), func(i int) bool { return o.closed[i].StartMinute-o.before[i] >= inside })
	if next == 0 {
		return inside
	}
	last := o.closed[next-1]
	if into := inside - (last.StartMinute - o.before[next-1]); into < cutMinutes/2 {
		return last.StartMinute
	}
	return inside + o.before[next-1] + last.minutes() - cutMinutes
}

// curve cuts the time outside out of a room's curve. What is cut out is no segment of it: the rest is exact.
func (o occupancy) curve(whole Curve) Curve {
	if len(o.closed) == 0 || len(whole.segments) == 0 {
		return whole
	}
	cut := Curve{species: whole.species, background: whole.background, lastRelease: o.inside(whole.lastRelease)}
	add := func(from, until, shift float64) {
		for _, s := range whole.pieces(from, until) {
			s.start -= shift
			cut.segments = append(cut.segments, s)
		}
	}
	from, shift := math.Inf(-1), 0.0
	for _, closed := range o.closed {
		add(from, closed.StartMinute, shift)
		add(closed.StartMinute, closed.StartMinute+cutMinutes, shift)
		from = closed.EndMinute
		shift += closed.minutes() - cutMinutes
	}
	add(from, math.Inf(1), shift)
	cut.close()
	return cut
}

// firstBelow is the first minute, not before from, at which the curve is at or below ppm; false when it never is again.
func (c Curve) firstBelow(from, ppm float64) (float64, bool) {
	target := ppm - c.background
	if target >= 0 && (len(c.segments) == 0 || from < c.segments[0].start) {
		return from, true
	}
	for i := max(c.find(from), 0); i < len(c.segments); i++ {
		s := c.segments[i]
		if s.start < from {
			s.x0, _ = s.after(from - s.start)
			s.start = from
		}
		if s.x0+s.offset <= target {
			return s.start, true
		}
		steady := math.Inf(1)
		if s.rate > 0 {
			steady = s.gain/s.rate + s.offset
		}
		if steady >= target {
			continue
		}
		at := s.start + reach(s.x0, s.gain, s.rate, target-s.offset)
		if next := i + 1; next == len(c.segments) || at <= c.segments[next].start {
			return at, true
		}
	}
	return 0, false
}

// reentryFindings looks at the end of each time for which the room is closed and signed: the added gas must then be gone
// so far that people may come in again.
func (s survey) reentryFindings(zone *Zone, stays map[string]stay) []finding.Finding {
	var found []finding.Finding
	for _, closed := range newOccupancy(zone.Unoccupied).closed {
		var worst finding.Finding
		latest := math.Inf(-1)
		for _, m := range s {
			there, ours := stays[m.whole.species]
			level, limited := reentryLevel(m.limits)
			if !ours || !limited || closed.EndMinute < there.from || closed.EndMinute > there.until {
				continue
			}
			if ppm := m.whole.At(closed.EndMinute); above(ppm, level) {
				minute, falls := m.whole.firstBelow(closed.EndMinute, level)
				if !falls {
					minute = math.Inf(1)
				}
				if minute > latest {
					worst, latest = m.reentryFinding(zone, closed, ppm, minute), minute
				}
			}
		}
		if worst.Code != "" {
			found = append(found, worst)
		}
	}
	return found
}

func (m *measured) reentryFinding(zone *Zone, closed Interval, ppm, minute float64) finding.Finding {
	level, _ := reentryLevel(m.limits)
	limit, isShift := strictest(m.limits, refusesShift)
	if !isShift {
		limit, _ = strictest(m.limits, func(Limit) bool { return true })
	}
	result := finding.Finding{
		Severity: finding.Block, Code: "AIR_REENTRY", Field: "unoccupied", About: zone.ID,
		Message: fmt.Sprintf("%s is closed and signed until minute %.0f, when it still holds %s of %s: people may come in below "+
			"%s", zone.name(), closed.EndMinute, worded(m.whole.species, ppm), m.whole.species, worded(m.whole.species, level)),
		Figures: []finding.Figure{
			{Name: "concentration", Value: ppm, Unit: "ppm"}, {Name: "reentry_level", Value: level, Unit: "ppm"},
			{Name: "signed_until", Value: closed.EndMinute, Unit: "min"},
		},
		Source: fmt.Sprintf("a tenth of the limit: %s, on %s", commonPractice, limit.Source),
	}
	if math.IsInf(minute, 1) {
		result.Cure = "fresh air through the room: without it the gas never goes"
		return result
	}
	result.Figures = append(result.Figures, finding.Figure{Name: "reentry_possible", Value: minute, Unit: "min"})
	result.Cure = fmt.Sprintf("keep the room closed and signed until minute %.0f at least, and go in only after a detector shows "+
		"that it is below %s; or more flow, or a smaller charge", math.Ceil(minute), worded(m.whole.species, level))
	return result
}

// openWhileSigned refuses a furnace that stands open in a room while nobody is said to be inside: somebody opens it.
func (c *RoomCheck) openWhileSigned(sources []Source) []finding.Finding {
	closed := newOccupancy(c.Zone.Unoccupied).closed
	var found []finding.Finding
	for i := range sources {
		for _, open := range sources[i].openings() {
			at := slices.IndexFunc(closed, func(i Interval) bool {
				return open.StartMinute < i.EndMinute && i.StartMinute < open.EndMinute
			})
			if at < 0 {
				continue
			}
			found = append(found, finding.Finding{
				Severity: finding.Block, Code: "AIR_OPENED_WHILE_SIGNED", Field: "unoccupied", About: c.Zone.ID,
				Message: fmt.Sprintf("%s is open from minute %.0f to %.0f, while %s is closed and signed from minute %.0f to %.0f: "+
					"whoever opens it is inside", sources[i].Name, open.StartMinute, open.EndMinute, c.Zone.name(),
					closed[at].StartMinute, closed[at].EndMinute),
				Figures: []finding.Figure{{Name: "opens", Value: open.StartMinute, Unit: "min"}},
				Cure:    "sign the room closed only while no furnace in it is charged, fed, opened or drawn", Source: commonPractice,
			})
			break
		}
	}
	return found
}

// occupancyAssumption says for whom and over what time the limits are held.
func (z *Zone) occupancyAssumption() string {
	if len(z.Unoccupied) == 0 {
		return "people stay in the room for the whole of each averaging time"
	}
	var times string
	for _, interval := range joined(z.Unoccupied) {
		times += fmt.Sprintf(" from minute %.0f to %.0f,", interval.StartMinute, interval.EndMinute)
	}
	return "nobody is inside while the room is closed and signed," + times + " and that time is cut out of every averaging time: " +
		"a mean over a shift counts a whole shift inside, since elsewhere the same may have been breathed"
}
