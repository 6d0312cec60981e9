package heat

import (
	"math"
	"slices"
)

// startScaleCelsius is the unit in which the starts of stretches are searched around their first readings.
const startScaleCelsius = 10

// begins puts the starts of stretches, at their first readings, behind each of the other parameters to begin with.
func begins(stretches [][]Point, others ...[]float64) [][]float64 {
	for i := range others {
		others[i] = append(others[i], make([]float64, len(stretches))...)
	}
	return others
}

// startOf is the fitted start of a stretch.
func startOf(stretches [][]Point, parameters []float64, others, index int) float64 {
	return stretches[index][0].Celsius + startScaleCelsius*parameters[others+index]
}

// heating fits the readings at full power.
func (l *logFitter) heating(stretches [][]Point) {
	if len(stretches) == 0 {
		return
	}
	hottest, longest := 0.0, longestStretch(stretches)
	for _, part := range stretches {
		for _, p := range part {
			hottest = max(hottest, p.Celsius)
		}
	}
	final := func(x float64) float64 { return l.ambient + math.Exp(min(30, x)) }
	tau := func(x float64) float64 { return math.Exp(min(30, max(-30, x))) }
	course := func(parameters []float64, index int, minute float64) float64 {
		limit := final(parameters[0])
		return limit - (limit-startOf(stretches, parameters, 2, index))*math.Exp(-minute/tau(parameters[1]))
	}
	var others [][]float64
	part := stretches[longest]
	for _, over := range []float64{0.05, 0.4, 2} {
		limit := hottest + over*max(1, hottest-l.ambient)
		minutes := part[len(part)-1].Minute / max(0.01, math.Log((limit-part[0].Celsius)/(limit-part[len(part)-1].Celsius)))
		others = append(others, []float64{math.Log(max(1, limit-l.ambient)), math.Log(minutes)})
	}
	found := fitCurve(stretches, begins(stretches, others...), course)
	if !found.ok {
		l.faults.Add("heating_tau_minutes", "the readings at full power do not determine it", longerHeating)
		return
	}
	settles, slow := found.estimate(0, final), found.estimate(1, tau)
	l.require("final_celsius", settles, l.ambient, longerHeating)
	l.require("heating_tau_minutes", slow, 0, longerHeating)
	l.fit.FinalCelsius, l.fit.HeatingTauMinutes, l.fit.HeatingRMSCelsius = &settles, &slow, found.rms
	l.heated = readings(stretches)
	l.assume("heating at full power fitted as one lump to %d readings up to %.0f C", readings(stretches), hottest)
	l.assumeMisfit("heating", found)
	begin, end := startOf(stretches, found.parameters, 2, longest), course(found.parameters, longest, part[len(part)-1].Minute)
	l.fit.HeatingTimes = timings(cuts(begin, end, 3), func(from, to float64) float64 {
		return slow.Value * math.Log((settles.Value-from)/(settles.Value-to))
	})
}

const (
	longerHeating = "log a longer heating at full power, until it clearly slows down"
	longerCooling = "log a longer closed cooling, through at least half of the way down to ambient"
)

// cooling fits the readings of closed cooling: as one lump, and as two where they tell them.
func (l *logFitter) cooling(stretches [][]Point) {
	if len(stretches) == 0 {
		return
	}
	hot := above(stretches, DefaultColdBelowCelsius)
	one := hot
	if readings(hot) < eachSideOf300 {
		one = stretches
	}
	found := l.oneLump(one)
	if !found.ok {
		l.faults.Add("cooling_tau_minutes", "the readings of closed cooling do not determine it", longerCooling)
		return
	}
	tau := found.estimate(0, math.Exp)
	l.fit.CoolingTauMinutes, l.fit.CoolingRMSCelsius = &tau, found.rms
	l.cooled = readings(one)
	if l.twoLumps(stretches) {
		return
	}
	l.require("cooling_tau_minutes", tau, 0, longerCooling)
	longest := longestStretch(one)
	part := one[longest]
	begin := startOf(one, found.parameters, 1, longest)
	end := l.ambient + (begin-l.ambient)*math.Exp(-part[len(part)-1].Minute/tau.Value)
	l.assume("closed cooling fitted as one lump to %d readings down to %.0f C", readings(one), end)
	l.assumeMisfit("cooling", found)
	law := coolingLaw(l.ambient)
	l.fit.CoolingTimes = timings(cuts(begin, end, 2), func(from, to float64) float64 {
		return tau.Value * law(Timing{FromCelsius: from, ToCelsius: to})
	})
}

func (l *logFitter) oneLump(stretches [][]Point) curveFit {
	part := stretches[longestStretch(stretches)]
	first, last := part[0].Celsius-l.ambient, part[len(part)-1].Celsius-l.ambient
	minutes := part[len(part)-1].Minute / max(0.01, math.Log(max(1, first)/max(1, last)))
	course := func(p []float64, index int, minute float64) float64 {
		return l.ambient + (startOf(stretches, p, 1, index)-l.ambient)*math.Exp(-minute/math.Exp(min(30, max(-30, p[0]))))
	}
	return fitCurve(stretches, begins(stretches, []float64{math.Log(minutes)}), course)
}

// twoLumps fits chamber and lining to the stretches that cross 300 C far enough, each as begun after a long hold, and keeps
// them when they are determined and fit twice as well as one lump.
func (l *logFitter) twoLumps(stretches [][]Point) bool {
	crossing := slices.DeleteFunc(slices.Clone(stretches), func(part []Point) bool {
		below := len(part) - readings(above([][]Point{part}, DefaultColdBelowCelsius))
		return len(part)-below < eachSideOf300 || below < eachSideOf300 ||
			part[0].Celsius < DefaultColdBelowCelsius+leastSpanCelsius ||
			part[len(part)-1].Celsius > DefaultColdBelowCelsius-leastSpanCelsius
	})
	if len(crossing) == 0 {
		l.assume("two lumps are not tried: no closed cooling was logged from at least %d C to at most %d C with %d readings on "+
			"either side of %d C", DefaultColdBelowCelsius+leastSpanCelsius, DefaultColdBelowCelsius-leastSpanCelsius, eachSideOf300,
			DefaultColdBelowCelsius)
		return false
	}
	tau := math.Log(1.5 * l.fit.CoolingTauMinutes.Value)
	course := func(p []float64, index int, minute float64) float64 {
		lining := liningOf(p)
		return l.ambient + (startOf(crossing, p, 3, index)-l.ambient)*lining.left(minute)
	}
	found := fitCurve(crossing, begins(crossing, []float64{tau, math.Log(4), -1}, []float64{tau, math.Log(4), 1},
		[]float64{tau, math.Log(15), 0}), course)
	if !found.ok {
		l.assume("two lumps are not taken: the readings do not determine them")
		return false
	}
	lining := liningOf(found.parameters)
	estimate := liningEstimate(found)
	one := l.oneLump(crossing)
	switch {
	case !lining.plausible() || !estimate.FastTauMinutes.determined(0) || !estimate.SlowTauMinutes.determined(0) ||
		!estimate.SlowShare.determined(0):
		l.assume("two lumps are not taken: the readings do not determine them")
		return false
	case one.ok && found.squares > one.squares/4:
		l.assume("two lumps are not taken: they fit the readings no more than twice as well as one")
		return false
	}
	l.fit.Lining, l.fit.CoolingRMSCelsius = &estimate, found.rms
	l.cooled = readings(crossing)
	longest := longestStretch(crossing)
	begin := startOf(crossing, found.parameters, 3, longest)
	end := course(found.parameters, longest, crossing[longest][len(crossing[longest])-1].Minute)
	l.assume("closed cooling fitted as two lumps, chamber and lining, to %d readings down to %.0f C, begun as after a long hold",
		readings(crossing), end)
	l.assumeMisfit("cooling", found)
	hot, cold := cuts(begin, DefaultColdBelowCelsius, 2), cuts(DefaultColdBelowCelsius, end, 2)
	l.fit.CoolingTimes = timings(append(hot, cold[1:]...), l.through(lining, begin))
	return true
}

// through is how long a stretch of one cooling takes.
func (l *logFitter) through(lining Lining, begin float64) func(from, to float64) float64 {
	rates := lumpsOf(lining.FastTauMinutes, lining.SlowTauMinutes, lining.SlowShare)
	since := func(celsius float64) float64 {
		start := begin - l.ambient
		minutes, _ := rates.coolsTo(start, rates.heldShare()*start, min(start, celsius-l.ambient))
		return minutes
	}
	return func(from, to float64) float64 { return since(to) - since(from) }
}

// left is the share of the chamber's excess that is left after some minutes.
func (l Lining) left(minutes float64) float64 {
	return (1-l.SlowShare)*math.Exp(-minutes/l.FastTauMinutes) + l.SlowShare*math.Exp(-minutes/l.SlowTauMinutes)
}

// liningEstimate gives each value its interval. The fast time constant comes from two parameters, whose errors go together.
func liningEstimate(found curveFit) LiningEstimate {
	p := found.parameters
	ratio := math.Exp(p[1])
	pull := -ratio / (1 + ratio) // of the second parameter on the logarithm of the fast time constant
	variance := found.inverse.At(0, 0) + 2*pull*found.inverse.At(0, 1) + pull*pull*found.inverse.At(1, 1)
	err, fast := found.widened*math.Sqrt(max(0, variance)), liningOf(p).FastTauMinutes
	return LiningEstimate{
		FastTauMinutes: Estimate{Value: fast, StandardError: fast * err, Low95: fast * math.Exp(-found.reach*err),
			High95: fast * math.Exp(found.reach*err)},
		SlowTauMinutes: found.estimate(0, func(x float64) float64 { return liningOf([]float64{x, p[1], p[2]}).SlowTauMinutes }),
		SlowShare:      found.estimate(2, func(x float64) float64 { return liningOf([]float64{p[0], p[1], x}).SlowShare }),
	}
}

// above are the readings of each stretch before the first that is colder; a stretch with too few is left out.
func above(stretches [][]Point, celsius float64) [][]Point {
	var list [][]Point
	for _, part := range stretches {
		end := slices.IndexFunc(part, func(p Point) bool { return p.Celsius < celsius })
		if end < 0 {
			end = len(part)
		}
		if end >= leastReadings {
			list = append(list, part[:end])
		}
	}
	return list
}

func readings(stretches [][]Point) int {
	total := 0
	for _, part := range stretches {
		total += len(part)
	}
	return total
}

// longestStretch is the index of the stretch through the most degrees.
func longestStretch(stretches [][]Point) int {
	longest, most := 0, -1.0
	for i, part := range stretches {
		if through := math.Abs(part[len(part)-1].Celsius - part[0].Celsius); through > most {
			longest, most = i, through
		}
	}
	return longest
}

// cuts divides a way between two temperatures into equal parts at whole degrees, its ends rounded inwards; two temperatures
// at least, which stay as they are when they are closer than the rounding.
func cuts(from, to float64, parts int) []float64 {
	begin, end := math.Ceil(from), math.Floor(to)
	if to < from {
		begin, end = math.Floor(from), math.Ceil(to)
	}
	if math.Abs(end-begin) < 2*float64(parts) {
		return []float64{from, to}
	}
	list := []float64{begin}
	for i := 1; i < parts; i++ {
		list = append(list, math.Round(begin+(end-begin)*float64(i)/float64(parts)))
	}
	return append(list, end)
}

// timings are the stretches between temperatures, to a tenth of a minute; one that is shorter is left out.
func timings(through []float64, minutes func(from, to float64) float64) []Timing {
	var list []Timing
	for i := 1; i < len(through); i++ {
		long := math.Round(10*minutes(through[i-1], through[i])) / 10
		if long >= 0.1 {
			list = append(list, Timing{FromCelsius: through[i-1], ToCelsius: through[i], Minutes: long})
		}
	}
	return list
}
