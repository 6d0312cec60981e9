package heat

import "math"

// cooler follows a furnace down: as one lump, or as chamber and lining where its constants hold both.
type cooler struct {
	constants Constants
	// perKelvin is what the charge gives back, in kilojoules per kelvin.
	perKelvin float64
	// lining is the lining's excess over ambient; it is never less than after a long hold, the cautious end, since the
	// fitted lumps begin there too.
	lining float64
}

// twoLumps are the rates with the charge in the chamber; false where one lump is all that is known.
func (k *cooler) twoLumps() (lumps, bool) {
	c := k.constants
	if c.Lining == nil {
		return lumps{}, false
	}
	l := lumpsOf(c.Lining.FastTauMinutes, c.Lining.SlowTauMinutes, c.Lining.SlowShare)
	toLining := (1 - l.heldShare()) * c.kelvinPerKilowatt()
	l.out = 1 / (1/l.out + toLining*k.perKelvin/60)
	return l, true
}

// heated tells that the chamber has come up to a temperature.
func (k *cooler) heated(celsius float64) {
	if l, ok := k.twoLumps(); ok {
		k.lining = max(k.lining, l.heldShare()*(celsius-k.constants.AmbientCelsius))
	}
}

// held tells that it was held there.
func (k *cooler) held(celsius, minutes float64) {
	if l, ok := k.twoLumps(); ok {
		share := l.heldShare() * (celsius - k.constants.AmbientCelsius)
		k.lining = share + max(0, k.lining-share)*math.Exp(-(l.into+l.beyond)*minutes)
	}
}

// fall follows a rate (degrees per minute, +Inf for power off) while natural cooling allows, then cools naturally. All takes
// factor times as long as the closed furnace does. It needs from >= to > AmbientCelsius.
func (k *cooler) fall(from, to, rate, factor float64) course {
	c := k.constants
	hotEnd := min(from, max(to, c.ColdBelowCelsius))
	way := k.fallThrough(from, hotEnd, rate, factor)
	return append(way, k.fallThrough(hotEnd, to, rate, factor*c.ColdFactor)...)
}

// cooling is the way with the heat off. With the door open it is quicker while hot; set down outside it counts as closed.
func (k *cooler) cooling(from, to float64, cooling Cooling) course {
	if cooling != CoolOpen {
		return k.fall(from, to, math.Inf(1), 1)
	}
	hotEnd := min(from, max(to, DefaultColdBelowCelsius))
	return append(k.fall(from, hotEnd, math.Inf(1), OpenCoolingShare), k.fall(hotEnd, to, math.Inf(1), 1)...)
}

// fallThrough is fall with one set of time constants.
func (k *cooler) fallThrough(from, to, rate, factor float64) course {
	if from <= to {
		return nil
	}
	if l, ok := k.twoLumps(); ok {
		return k.fallBeforeLining(l.slowed(factor), from, to, rate)
	}
	c := k.constants
	tau := factor * (c.CoolingTauMinutes + c.kelvinPerKilowatt()*k.perKelvin/60)
	lossTau := factor * c.CoolingTauMinutes
	var way course
	reach := max(to, c.AmbientCelsius+rate*tau) // below it natural cooling is slower than the rate
	if from > reach {
		way = append(way, piece{from: from, to: reach, minutes: (from - reach) / rate, lossTau: lossTau})
		from = reach
	}
	if from > to {
		minutes := tau * math.Log((from-c.AmbientCelsius)/(to-c.AmbientCelsius))
		way = append(way, piece{from: from, to: to, minutes: minutes, limit: c.AmbientCelsius, tau: tau, lossTau: lossTau,
			chargeKilojoules: k.perKelvin * (to - from)})
	}
	return way
}

// fallBeforeLining is fallThrough with the lining behind the chamber. The way's heat stays that of one lump.
func (k *cooler) fallBeforeLining(l lumps, from, to, rate float64) course {
	var way course
	c := k.constants
	asked := (from - to) / rate
	if followed := l.follows(from-c.AmbientCelsius, k.lining, rate, asked); followed > 0 {
		reach := to
		if followed < asked {
			reach = max(to, from-rate*followed)
		}
		k.lining = l.behindRamp(from-c.AmbientCelsius, k.lining, -rate, followed)
		way = append(way, piece{from: from, to: reach, minutes: followed, lossTau: c.CoolingTauMinutes})
		from = reach
	}
	if from > to {
		quick, _ := l.split(from-c.AmbientCelsius, k.lining)
		fast, slow := l.eigenvalues()
		minutes, lining := l.coolsTo(from-c.AmbientCelsius, k.lining, to-c.AmbientCelsius)
		k.lining = lining
		way = append(way, piece{from: from, to: to, minutes: minutes, limit: c.AmbientCelsius, tau: 1 / slow, quick: quick,
			quickTau: 1 / fast, lossTau: c.CoolingTauMinutes, chargeKilojoules: k.perKelvin * (to - from)})
	}
	return way
}

// behindRamp is the lining's excess while the chamber's goes from a value at a rate per minute.
func (l lumps) behindRamp(chamber, lining, rate, minutes float64) float64 {
	behind := l.into + l.beyond
	slope := l.into * rate / behind
	start := (l.into*chamber - slope) / behind
	return start + slope*minutes + (lining-start)*math.Exp(-behind*minutes)
}

// follows is how long, at most the minutes asked, the control can lower the chamber at a rate per minute with some power
// left: until out (u1 - u2) falls to the rate. From then on the furnace cools slower than asked, ever more so.
func (l lumps) follows(chamber, lining, rate, minutes float64) float64 {
	if math.IsInf(rate, 1) {
		return 0
	}
	spare := func(after float64) float64 {
		return l.out*(chamber-rate*after-l.behindRamp(chamber, lining, -rate, after)) - rate
	}
	if spare(0) <= 0 {
		return 0
	}
	if spare(minutes) >= 0 {
		return minutes
	}
	low, high := 0.0, minutes
	for range 100 {
		if middle := low + (high-low)/2; spare(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}
