package air

import "math"

// simple reports whether the load is all that bears on its windows: the room begins empty, and they are minutes of the clock.
func (l *load) simple() bool { return l.initial == 0 && len(l.occupied.closed) == 0 }

// mayPass is when the windows begin whose mean can be above ppm at a steady exchange of air, of a load that is simple: stretches
// in order, apart by more than a window with what the room has not yet forgotten when it begins.
//
// It is found from what is given off alone: over a window the air that goes carries no more than what was there when it began and
// what is given off in it, so that its mean is at most (held + given)/(rate window).
func (l *load) mayPass(ppm, windowMinutes, rate float64) []Interval {
	left, enough := 0.0, 0.0
	held, apart := l.greatestGain()/rate, windowMinutes+forgottenTimes/rate
	if windowMinutes > 0 {
		enough = (ppm-l.background)*rate*windowMinutes*(1-rounding) - held
	} else {
		// In a moment: but for what is left of what was there before the room settled, no more than the greatest gain since over the
		// rate.
		left = math.Exp(-settleTimes)
		enough = rate * ((ppm-l.background)*(1-rounding) - left*held) / (1 - left)
	}
	var stretches []Interval
	over := l.givenOver(windowMinutes)
	if over.most <= enough {
		return nil
	}
	for i, given := range over.given {
		if given <= enough {
			continue
		}
		next := Interval{l.changes[i].minute, l.changes[i+1].minute}
		if windowMinutes == 0 {
			next.EndMinute += settleTimes / rate
		}
		if last := len(stretches) - 1; last >= 0 && next.StartMinute <= stretches[last].EndMinute+apart {
			stretches[last].EndMinute = next.EndMinute
		} else {
			stretches = append(stretches, next)
		}
	}
	return stretches
}

// settleTimes is after how many changes of its air a room is taken to be settled; e^-settleTimes is left of what was there.
const settleTimes = 3

// overWindow is what can be given off in windows of a length.
type overWindow struct {
	minutes float64
	most    float64   // the greatest of the next
	given   []float64 // ppm minutes in all the windows together that begin between a change and the next; for moments the gain
}

// givenOver is what can be given off in windows of a length, worked out once.
func (l *load) givenOver(windowMinutes float64) overWindow {
	for _, known := range l.over {
		if known.minutes == windowMinutes {
			return known
		}
	}
	over := overWindow{minutes: windowMinutes, most: math.Inf(-1)}
	list := l.lists.sumList(max(len(l.changes)-1, 0))
	given, until := l.givenUntil(), 0
	for i := range list {
		if windowMinutes == 0 {
			list[i] = l.changes[i].level
		} else {
			last := l.changes[i+1].minute + windowMinutes
			for until+1 < len(l.changes) && l.changes[until].minute < last {
				until++
			}
			list[i] = given[until] - given[i]
		}
		if list[i] > over.most {
			over.most = list[i]
		}
	}
	over.given = list
	l.over = append(l.over, over)
	return over
}

// givenUntil is what has been given off at each change, ppm, worked out once.
func (l *load) givenUntil() []float64 {
	if l.until == nil {
		l.until = l.lists.sumList(len(l.changes))
		sum := 0.0
		for i := range l.changes {
			if i > 0 {
				sum += l.changes[i-1].level * (l.changes[i].minute - l.changes[i-1].minute)
			}
			l.until[i] = sum
		}
	}
	return l.until
}

// greatestGain is the most that is given off in a minute, ppm, worked out once.
func (l *load) greatestGain() float64 {
	if l.greatest == 0 {
		for i := range l.changes {
			l.greatest = max(l.greatest, l.changes[i].level)
		}
	}
	return l.greatest
}
