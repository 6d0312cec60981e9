package heat

import (
	"cmp"
	"math"
	"slices"
)

// Span is a stretch of time [StartMinute, EndMinute) in the minutes of a profile.
type Span struct {
	StartMinute float64 `json:"start_minute"`
	EndMinute   float64 `json:"end_minute"`
}

// At returns the temperature at a minute of a profile, linear between its points and constant before the first and after
// the last. An empty profile gives 0.
func At(profile []Point, minute float64) float64 {
	if len(profile) == 0 {
		return 0
	}
	after, _ := slices.BinarySearchFunc(profile, minute, func(p Point, m float64) int { return cmp.Compare(p.Minute, m) })
	switch {
	case after == 0:
		return profile[0].Celsius
	case after == len(profile):
		return profile[after-1].Celsius
	}
	a, b := profile[after-1], profile[after]
	return a.Celsius + (b.Celsius-a.Celsius)*(minute-a.Minute)/(b.Minute-a.Minute)
}

// TimeBetween returns when a profile is at or above low and below high while it rises or holds, in order, adjoining
// stretches joined. A hold at low counts, a hold at high does not. Cooling through the range does not count.
func TimeBetween(profile []Point, lowCelsius, highCelsius float64) []Span {
	var spans []Span
	for i := 1; i < len(profile); i++ {
		span, ok := risingBetween(profile[i-1], profile[i], lowCelsius, highCelsius)
		if !ok {
			continue
		}
		if last := len(spans) - 1; last >= 0 && spans[last].EndMinute == span.StartMinute {
			spans[last].EndMinute = span.EndMinute
			continue
		}
		spans = append(spans, span)
	}
	return spans
}

// risingBetween clips one straight line of a profile to the range.
func risingBetween(a, b Point, low, high float64) (Span, bool) {
	if b.Celsius < a.Celsius || b.Celsius < low || a.Celsius >= high || b.Minute <= a.Minute {
		return Span{}, false
	}
	span := Span{StartMinute: a.Minute, EndMinute: b.Minute}
	perDegree := (b.Minute - a.Minute) / (b.Celsius - a.Celsius) // +Inf in a hold, where neither end is clipped
	if a.Celsius < low {
		span.StartMinute = a.Minute + (low-a.Celsius)*perDegree
	}
	if b.Celsius > high {
		span.EndMinute = a.Minute + (high-a.Celsius)*perDegree
	}
	return span, span.EndMinute > span.StartMinute
}

// WholeMinutes rounds a length up to whole minutes, as bookings need it. Rounding noise below a ten-thousandth of a
// second does not make a minute. A negative length or NaN gives 0.
func WholeMinutes(minutes float64) int {
	if !(minutes > 0) {
		return 0
	}
	return int(math.Ceil(min(minutes, math.MaxInt32) - roundingToleranceMinutes))
}
