package heat

import (
	"cmp"
	"math"
	"slices"
)

// Lining is the course of a closed cooling that begins after a long hold: the chamber's excess over ambient falls as
// (1 - SlowShare) exp(-t/FastTauMinutes) + SlowShare exp(-t/SlowTauMinutes). Constants.TwoLumps says what that is in heat.
type Lining struct {
	FastTauMinutes float64 `json:"fast_tau_minutes"`
	SlowTauMinutes float64 `json:"slow_tau_minutes"`
	// SlowShare is in (0, 1).
	SlowShare float64 `json:"slow_share"`
}

// TwoLumps are the heat capacities and resistances behind the constants; false where they hold no lining. Both resistances
// together are what full power says, (FinalCelsius - AmbientCelsius)/NetKilowatts.
func (c Constants) TwoLumps() (TwoLumps, bool) {
	k := cooler{constants: c}
	l, ok := k.twoLumps()
	if !ok || c.NetKilowatts <= 0 || c.FinalCelsius <= c.AmbientCelsius {
		return TwoLumps{}, false
	}
	resistance, share := c.kelvinPerKilowatt(), l.heldShare()
	toLining := (1 - share) * resistance
	return TwoLumps{
		ChamberKilojoulesPerKelvin: 60 / (l.out * toLining), LiningKilojoulesPerKelvin: 60 / (l.into * toLining),
		ToLiningKelvinPerKilowatt: toLining, ToRoomKelvinPerKilowatt: share * resistance, AmbientCelsius: c.AmbientCelsius,
	}, true
}

// tellsLining reports whether closed-cooling times can tell the lining: at least two different stretches at or above 300 C,
// and two at or below it.
func tellsLining(times []Timing) bool {
	hot, cold := []Timing{}, []Timing{}
	for _, t := range times {
		switch {
		case t.ToCelsius >= DefaultColdBelowCelsius:
			hot = append(hot, t)
		case t.FromCelsius <= DefaultColdBelowCelsius:
			cold = append(cold, t)
		}
	}
	return distinctStretches(hot) >= 2 && distinctStretches(cold) >= 2
}

// fitLining takes two lumps for the cooling when the measured times tell them: each stretch is read as a part of one cooling
// from the hottest of them. They must fit twice as well as the one lump, and each time to a tenth.
func (c *Constants) fitLining(times []Timing) {
	if !tellsLining(times) {
		return
	}
	hottest := slices.MaxFunc(times, func(a, b Timing) int { return cmp.Compare(a.FromCelsius, b.FromCelsius) }).FromCelsius
	residuals := func(lining Lining) []float64 {
		l := lumpsOf(lining.FastTauMinutes, lining.SlowTauMinutes, lining.SlowShare)
		start := hottest - c.AmbientCelsius
		since := func(celsius float64) float64 {
			minutes, _ := l.coolsTo(start, l.heldShare()*start, celsius-c.AmbientCelsius)
			return minutes
		}
		off := make([]float64, len(times))
		for i, t := range times {
			off[i] = since(t.ToCelsius) - since(t.FromCelsius) - t.Minutes
		}
		return off
	}
	var best leastSquares
	for _, share := range []float64{0.3, 0.7} {
		begin := []float64{math.Log(c.CoolingTauMinutes * 1.5), math.Log(5), math.Log(share / (1 - share))}
		if found := fitLeastSquares(begin, func(p []float64) []float64 { return residuals(liningOf(p)) }); found.ok &&
			(!best.ok || found.squares < best.squares) {
			best = found
		}
	}
	if !best.ok {
		return
	}
	lining, law, one := liningOf(best.parameters), coolingLaw(c.AmbientCelsius), 0.0
	for _, t := range times {
		off := c.CoolingTauMinutes*law(t) - t.Minutes
		one += off * off
	}
	for i, off := range residuals(lining) {
		if !(math.Abs(off) <= 0.1*times[i].Minutes) {
			return
		}
	}
	if lining.plausible() && best.squares <= one/4 {
		c.Lining = &lining
	}
}

// liningOf turns what is searched into a lining: the logarithms of the slow time constant and of its ratio to the fast one,
// kept above 1, and the log odds of the share. Whatever is searched is a lining.
func liningOf(p []float64) Lining {
	bounded := func(x float64) float64 { return min(30, max(-30, x)) }
	slow := math.Exp(bounded(p[0]))
	return Lining{FastTauMinutes: slow / (1 + math.Exp(bounded(p[1]))), SlowTauMinutes: slow,
		SlowShare: 1 / (1 + math.Exp(-bounded(p[2])))}
}

// plausible refuses a lining that hardly differs from one lump.
func (l Lining) plausible() bool {
	return l.SlowTauMinutes >= 1.5*l.FastTauMinutes && l.SlowShare >= 0.02 && l.SlowShare <= 0.98
}
