package air

import (
	"cmp"
	"slices"
)

// way is when a person is inside, in order of time; nil of a room, where anybody may be at any time.
type way []Interval

func wayOf(presences []Presence) way {
	w := way{}
	for _, p := range presences {
		if p.StartMinute < p.EndMinute {
			w = append(w, Interval{p.StartMinute, p.EndMinute})
		}
	}
	slices.SortFunc(w, func(a, b Interval) int { return cmp.Compare(a.StartMinute, b.StartMinute) })
	return w
}

// summed reports whether a mean is the sum over a whole day over its averaging time, not one of a window that moves: that of a
// person over a shift or more.
func (w way) summed(windowMinutes float64) bool { return w != nil && windowMinutes >= shiftMinutes }

// greatest is the greatest mean over an averaging time, and the minute from which it counts. What a person breathes over a shift
// is E = (Ca Ta + Cb Tb + ...) / 8 h, with the whole day in the sum also when it is longer than that (29 CFR
// 1910.1000(d)(1)(i)); the same holds for longer averaging times. Of a day longer than 24 h the worst 24 h count.
func (w way) greatest(c Curve, windowMinutes float64) (ppm, startMinute float64) {
	if !w.summed(windowMinutes) {
		return c.MaxMean(windowMinutes)
	}
	for i, day := range w.days(windowMinutes) {
		sum, from := c.sum(day.StartMinute, day.EndMinute), day.StartMinute
		if day.minutes() > dayMinutes {
			sum, from = c.between(day.StartMinute, day.EndMinute).MaxMean(dayMinutes)
			sum *= dayMinutes
		}
		if mean := sum / windowMinutes; i == 0 || mean > ppm {
			ppm, startMinute = mean, from
		}
	}
	return ppm, startMinute
}

// days are the stretches of time within which less than an averaging time lies between two stays.
func (w way) days(windowMinutes float64) []Interval {
	var days []Interval
	for _, stay := range w {
		if last := len(days) - 1; last >= 0 && stay.StartMinute-days[last].EndMinute < windowMinutes {
			days[last].EndMinute = stay.EndMinute
			continue
		}
		days = append(days, stay)
	}
	return days
}

// counted is the stretch of time from a minute on that a mean over an averaging time takes in.
func (w way) counted(minute, windowMinutes float64) Interval {
	counted := Interval{minute, minute + windowMinutes}
	if !w.summed(windowMinutes) {
		return counted
	}
	for _, day := range w.days(windowMinutes) {
		if day.StartMinute <= minute && minute < day.EndMinute {
			counted.EndMinute = max(counted.EndMinute, min(day.EndMinute, minute+dayMinutes))
		}
	}
	return counted
}

// times bounds how often the peak a mean can be.
func (w way) times(windowMinutes float64) float64 {
	if w.summed(windowMinutes) {
		return max(1, dayMinutes/windowMinutes)
	}
	return 1
}
