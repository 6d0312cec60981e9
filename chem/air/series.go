package air

import (
	"math"
)

const (
	seriesPointsAtMost = 2000 // a species
	endlessTailMinutes = 1440 // shown after the last release where the gas never goes
)

// Stay is from a first release to the moment at which a species is below a hundredth of its strictest limit for good.
// What happens in a room before Stay less LongestAveragingMinutes, or after it more that, shares no window with it.
// False when the gas never goes; End is then a day after the last release.
func Stay(curves []Curve) (Interval, bool) {
	stay, gone := Interval{math.Inf(1), math.Inf(-1)}, true
	for _, curve := range curves {
		end, goes := curve.goneMinute()
		stay.StartMinute = min(stay.StartMinute, curve.StartMinute())
		stay.EndMinute = max(stay.EndMinute, end)
		gone = gone && goes
	}
	if len(curves) == 0 {
		return Interval{}, true
	}
	return stay, gone
}

// LongestAveragingMinutes is the longest averaging time of any published limit.
func LongestAveragingMinutes() float64 {
	longest := 0.0
	for _, limits := range limitTable() {
		for _, limit := range limits {
			longest = max(longest, limit.AveragingMinutes)
		}
	}
	return longest
}

// goneMinute is when the species' excess is below a hundredth of its strictest limit (of its own peak where it has
// none) for good.
func (c Curve) goneMinute() (float64, bool) {
	peak, _ := c.Peak()
	level := peak - c.background
	if limit, ok := strictest(limitsOf(c.species), func(Limit) bool { return true }); ok {
		level = limit.PPM
	}
	if minute, goes := c.MinuteBelow(c.background + goneShareOfStrictest*level); goes {
		return minute, true
	}
	return c.lastRelease + endlessTailMinutes, false
}

// series samples all curves over the whole stay of the gas, in order of time, then species.
func (s survey) series(step float64) []SeriesPoint {
	curves := make([]Curve, len(s))
	for i, m := range s {
		curves[i] = m.whole
	}
	stay, _ := Stay(curves)
	length := stay.EndMinute - stay.StartMinute
	if step == 0 {
		step = max(1, math.Ceil(length/defaultSeriesPointCount))
	}
	step = max(step, length/seriesPointsAtMost)
	if len(curves) == 0 {
		return []SeriesPoint{}
	}
	count := int(math.Ceil(length / step))
	points := make([]SeriesPoint, 0, (count+1)*len(curves))
	next := make([]int, len(curves)) // of each curve, the first segment that has not begun
	for i := range count + 1 {
		minute := stay.StartMinute + float64(i)*step
		for k, curve := range curves {
			for next[k] < len(curve.segments) && curve.segments[next[k]].start <= minute {
				next[k]++
			}
			points = append(points, SeriesPoint{minute, curve.species, curve.in(next[k]-1, minute)})
		}
	}
	return points
}
