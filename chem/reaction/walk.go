package reaction

import (
	"math"
	"slices"

	"saggar/chem/heat"
	"saggar/chem/kinetics"
)

const (
	// stepCelsius is the most by which any temperature is let change in a step, about.
	stepCelsius = kinetics.StepCelsius
	// cornerShare is the longest step after a corner of the profile, of the time L^2/a in which a bed follows its face.
	cornerShare      = 0.05
	secondsPerMinute = 60.0
	// shortestSeconds is the least that the bed makes a step last; it is stable at any.
	shortestSeconds = 1e-3
	// jumpMinutes is so short a stretch of a profile that it is a jump.
	jumpMinutes = 1e-6
	minCelsius  = -100.0
)

// places are where the kinetic time is kept: the layers of the bed, then its core, then its surface.
const (
	corePlace    = bedCells
	surfacePlace = bedCells + 1
	placeCount   = bedCells + 2
)

// walk follows the temperatures of a charge and what they do to one reaction. Without a depth only the surface is followed.
type walk struct {
	rate kinetics.Rate
	bed  bed
	// minute and face are where it stands.
	minute, face float64
	seconds      float64 // the next step's length, as far as the temperatures ask
	longest      float64 // the most that any step may last
	// theta is the kinetic time at each place, and rates the rate constants, with their logarithms, at the last temperature.
	theta, rates, logs [placeCount]float64
}

func newWalk(r Reaction, q Request) *walk {
	w := &walk{rate: r.Rate, minute: q.Profile[0].Minute, face: q.Profile[0].Celsius, longest: math.Inf(1)}
	w.bed = *newBed(q.InitialCelsius, q.DepthMillimeters/1000, q.diffusivity())
	w.jump(w.face)
	return w
}

// jump sets the face to another temperature at once, as when a cold charge meets a hot furnace, and begins with steps in
// which the first layer hardly feels it.
func (w *walk) jump(celsius float64) {
	w.face = celsius
	w.seconds = secondsPerMinute
	if w.deep() {
		w.seconds = max(shortestSeconds, min(w.seconds, 0.01/w.bed.perSecond))
	}
	w.takeRates(&w.rates, &w.logs)
}

func (w *walk) deep() bool { return w.bed.perSecond > 0 }

// temperature at a place.
func (w *walk) temperature(place int) float64 {
	switch {
	case place == surfacePlace:
		return w.face
	case place == corePlace:
		return w.bed.core()
	default:
		return w.bed.cells[place]
	}
}

// firstPlace is where the places that count begin.
func (w *walk) firstPlace() int {
	if w.deep() {
		return 0
	}
	return surfacePlace
}

// takeRates notes the rate constants at the present temperatures; where nothing moves, or nothing is left, they are 0.
func (w *walk) takeRates(rates, logs *[placeCount]float64) {
	for p := w.firstPlace(); p < placeCount; p++ {
		celsius := w.temperature(p)
		rates[p], logs[p] = 0, 0
		if celsius > w.rate.FrozenCelsius && w.theta[p] < w.rate.DoneSeconds {
			logs[p] = w.rate.LogPerSecond(celsius)
			rates[p] = math.Exp(logs[p])
		}
	}
}

// along goes to the end of a profile, which begins where the walk stands, and tells of every step until told to stop.
func (w *walk) along(profile []heat.Point, tell func() (goOn bool)) {
	for _, point := range profile {
		if point.Minute-w.minute < jumpMinutes {
			w.jump(point.Celsius)
			continue
		}
		if w.deep() { // a corner: what is quick in the bed is followed again
			w.seconds = max(shortestSeconds, min(w.seconds, cornerShare*bedCells*bedCells/w.bed.perSecond))
		}
		rate := (point.Celsius - w.face) / ((point.Minute - w.minute) * secondsPerMinute)
		for w.minute < point.Minute {
			left := (point.Minute - w.minute) * secondsPerMinute
			step := min(w.seconds, w.longest, stepCelsius/math.Abs(rate))
			if step >= left*(1-1e-9) {
				w.advance(point.Celsius, left)
				w.minute = point.Minute
			} else {
				w.advance(w.face+rate*step, step)
			}
			if tell != nil && !tell() {
				return
			}
		}
	}
}

// advance makes one step to a temperature of the face and sets the length of the next by how much the bed changed.
func (w *walk) advance(face, seconds float64) {
	start := w.bed.cells
	w.bed.step(w.face, face, seconds)
	most := math.Abs(face - w.face)
	if w.deep() {
		for i, before := range start {
			most = max(most, math.Abs(w.bed.cells[i]-before))
		}
	}
	w.face = face
	w.minute += seconds / secondsPerMinute
	var rates, logs [placeCount]float64
	w.takeRates(&rates, &logs)
	for p := w.firstPlace(); p < placeCount; p++ {
		w.theta[p] += seconds * kinetics.Mean(w.rates[p], rates[p], logs[p]-w.logs[p])
	}
	w.rates, w.logs = rates, logs
	w.seconds = max(shortestSeconds, seconds*min(2, max(0.3, stepCelsius/max(most, 1e-9))))
}

// fraction converted at a place.
func (w *walk) fraction(place int) float64 { return w.rate.Converted(w.theta[place]) }

// done reports that nothing is left to react.
func (w *walk) done() bool { return w.theta[w.last()] >= w.rate.DoneSeconds }

// meanFraction is the average over the bed, the surface's without a depth.
func (w *walk) meanFraction() float64 {
	if !w.deep() {
		return w.fraction(surfacePlace)
	}
	sum := 0.0
	for p := range bedCells {
		sum += w.fraction(p)
	}
	return sum / bedCells
}

// last is the place that reacts last: the core, or the surface without a depth.
func (w *walk) last() int {
	if w.deep() {
		return corePlace
	}
	return surfacePlace
}

// hold stays at the face's temperature until the last place has had a kinetic time, and returns the minutes; false when that
// takes longer than most minutes.
func (w *walk) hold(kineticTime, most float64) (float64, bool) {
	start, place := w.minute, w.last()
	for w.theta[place] < kineticTime {
		if w.minute-start > most {
			return 0, false
		}
		missing := kineticTime - w.theta[place]
		if settled := math.Abs(w.face-w.temperature(place)) < 0.02; settled || w.face <= w.rate.FrozenCelsius {
			if w.rates[place] == 0 {
				return 0, false
			}
			minutes := w.minute - start + missing/w.rates[place]/secondsPerMinute
			return minutes, minutes <= most
		}
		before, minute := w.theta[place], w.minute
		w.advance(w.face, w.seconds)
		if gained := w.theta[place] - before; gained >= missing {
			return minute - start + (w.minute-minute)*missing/gained, true
		}
	}
	return w.minute - start, true
}

// arrival is when a profile first comes to its peak, and how long it then stays there; reachedWithinCelsius counts as there.
func arrival(profile []heat.Point) (at int, peak, holdMinutes float64) {
	for i, p := range profile {
		if i == 0 || p.Celsius > peak {
			at, peak = i, p.Celsius
		}
	}
	at = slices.IndexFunc(profile, func(p heat.Point) bool { return p.Celsius >= peak-reachedWithinCelsius })
	end := at
	for end+1 < len(profile) && profile[end+1].Celsius >= peak-reachedWithinCelsius {
		end++
	}
	return at, peak, profile[end].Minute - profile[at].Minute
}

// reachedWithinCelsius is how near the peak counts as at it.
const reachedWithinCelsius = 1e-6
