package air

import (
	"sort"
)

const (
	// forgottenTimes is after how many changes of its air a room holds nothing of what it held: below a double's last figure.
	forgottenTimes = 37
	// leastExchange is how much of the air must change over a window for its mean to be taken from what went in and stayed.
	leastExchange = 0.01
)

func (t *term) mean(zone *Zone, flow float64) float64 {
	if len(t.load.occupied.closed) > 0 {
		curve := t.load.occupied.curve(t.load.curve(steady(zone, flow)))
		if t.windowMinutes == 0 {
			return curve.At(t.startMinute) - curve.background
		}
		return curve.sum(t.startMinute, t.startMinute+t.windowMinutes)/t.windowMinutes - curve.background
	}
	rate := zone.exchange(flow)
	if t.windowMinutes == 0 {
		return t.load.excess(rate, t.startMinute)
	}
	return t.load.sum(rate, t.startMinute, t.startMinute+t.windowMinutes) / t.windowMinutes
}

// excess is what the room holds at a minute under a steady air exchange. What it has forgotten by then is left out.
func (l *load) excess(rate, minute float64) float64 {
	now := segment{start: l.first, x0: l.initial, rate: rate}
	if from := minute - forgottenTimes/rate; from > now.start {
		now.start, now.x0 = from, 0
	}
	l.walk(now.start, minute, func(gain, minutes float64) {
		now.gain = gain
		now.x0 = now.excessAfter(minutes)
	})
	return now.x0
}

// sum is that excess summed over a stretch of time: what went in, less what is more there at its end, over the exchange.
func (l *load) sum(rate, from, until float64) float64 {
	begins, total := l.excess(rate, from), 0.0
	if rate*(until-from) < leastExchange { // too little leaves to be told from that difference
		now := segment{x0: begins, rate: rate}
		l.walk(from, until, func(gain, minutes float64) {
			now.gain = gain
			excess, area := now.after(minutes)
			now.x0, total = excess, total+area
		})
		return total
	}
	l.walk(from, until, func(gain, minutes float64) { total += gain * minutes })
	return (total - l.excess(rate, until) + begins) / rate
}

// walk tells of each stretch of even gain between two minutes.
func (l *load) walk(from, until float64, tell func(gain, minutes float64)) {
	next := sort.Search(len(l.changes), func(i int) bool { return l.changes[i].minute > from })
	for from < until {
		end, gain := until, l.gain(next)
		if next < len(l.changes) {
			end = min(end, l.changes[next].minute)
		}
		if from < end {
			tell(gain, end-from)
		}
		from = end
		next++
	}
}

// most is what the room would hold if none of it ever left, in ppm: no flow makes it more.
func (l *load) most() float64 {
	total := l.background + l.initial
	if len(l.changes) > 0 {
		l.walk(l.first, l.last, func(gain, minutes float64) { total += gain * minutes })
	}
	return total
}
