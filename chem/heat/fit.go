package heat

import (
	"fmt"
	"math"
	"slices"
)

// Constants are what a furnace's measured times say of it as one lump of heat: heating at full power it nears
// FinalCelsius with HeatingTauMinutes, cooling closed it nears AmbientCelsius with CoolingTauMinutes.
type Constants struct {
	// FinalCelsius is where full power would settle at last, above every temperature reached when measured.
	FinalCelsius      float64 `json:"final_celsius"`
	HeatingTauMinutes float64 `json:"heating_tau_minutes"`
	CoolingTauMinutes float64 `json:"cooling_tau_minutes"`
	// Lining is how it cools as two lumps, chamber and lining, which then decides the cooling instead of CoolingTauMinutes;
	// nil where what was measured does not tell it.
	Lining         *Lining `json:"lining,omitempty"`
	AmbientCelsius float64 `json:"ambient_celsius"`
	// ColdBelowCelsius is where cooling begins to take ColdFactor times what the one lump says: 300 C, or the coldest
	// measured temperature where cooling was measured further down.
	ColdBelowCelsius float64 `json:"cold_below_celsius"`
	ColdFactor       float64 `json:"cold_factor"`
	// MeasuredToCelsius is the hottest temperature in the measured heating times; above it the constants extrapolate.
	MeasuredToCelsius float64 `json:"measured_to_celsius"`
	// NetKilowatts is the heat into the chamber at full power and InputKilowatts what the supply then gives.
	NetKilowatts   float64  `json:"net_kilowatts"`
	InputKilowatts float64  `json:"input_kilowatts"`
	Assumptions    []string `json:"assumptions"`
}

// Fit finds a furnace's constants from its measured full-power heating times and closed-cooling times by least squares
// on the minutes. With a single distinct heating time it takes the furnace to settle a little above its top temperature
// and says so. The error is finding.Faults with fields of Furnace: a furnace without measured times has no constants,
// whatever its plate says.
func Fit(f Furnace) (Constants, error) {
	faults := f.Faults()
	switch {
	case f.Source == Bench:
		faults.Add("source", "a bench is not heated", "choose a furnace")
	default:
		if len(f.HeatingTimes) == 0 {
			faults.Add("heating_times", "no heating time was measured", "time one full-power heating, better two stretches of it")
		}
		if len(f.CoolingTimes) == 0 {
			faults.Add("cooling_times", "no cooling time was measured", "time one cooling with the furnace closed")
		}
		if f.NetKilowatts == 0 && f.InputKilowatts == 0 {
			faults.Add("net_kilowatts", "no power is stated", "give the heat into the chamber at full power")
		}
	}
	if err := faults.Err(); err != nil {
		return Constants{}, err
	}
	c := Constants{AmbientCelsius: f.AmbientCelsius, NetKilowatts: f.NetKilowatts, InputKilowatts: f.InputKilowatts}
	c.fillGaps()
	c.fitHeating(f)
	c.fitCooling(f.CoolingTimes)
	return c, nil
}

// fillGaps takes defaults for what is not stated, each with a word about it.
func (c *Constants) fillGaps() {
	if c.AmbientCelsius == 0 {
		c.AmbientCelsius = DefaultAmbientCelsius
		c.assume("ambient taken as %d C: none stated (common practice, no source)", DefaultAmbientCelsius)
	}
	if c.InputKilowatts == 0 {
		c.InputKilowatts = c.NetKilowatts
		c.assume("all power drawn from the supply taken to reach the chamber: no input power stated")
	}
	if c.NetKilowatts == 0 {
		c.NetKilowatts = c.InputKilowatts
		c.assume("all power drawn from the supply taken to reach the chamber: no net power stated")
	}
	c.assume("furnace and charge are one lump of heat with the constants of the measured times")
}

func (c *Constants) assume(format string, values ...any) {
	c.Assumptions = append(c.Assumptions, fmt.Sprintf(format, values...))
}

func (c *Constants) fitHeating(f Furnace) {
	for _, t := range f.HeatingTimes {
		c.MeasuredToCelsius = max(c.MeasuredToCelsius, t.ToCelsius)
	}
	top := max(f.TopCelsius, c.MeasuredToCelsius)
	rise := top - c.AmbientCelsius
	if distinctStretches(f.HeatingTimes) < 2 {
		c.FinalCelsius = top + FinalMarginShare*rise
		c.assume("full power taken to settle at %.0f C, %.0f %% above the rise to %.0f C: one heating time is measured, two "+
			"stretches would tell (common practice, no source)", c.FinalCelsius, 100*FinalMarginShare, top)
	} else {
		most := c.AmbientCelsius + maxFinalRatio*rise
		c.FinalCelsius = leastSquaresFinal(f.HeatingTimes, c.MeasuredToCelsius, most)
		if c.FinalCelsius > 0.99*most {
			c.assume("full power taken to settle at %.0f C, the most believed: the measured heating does not slow down",
				c.FinalCelsius)
		}
	}
	law := heatingLaw(c.FinalCelsius)
	c.HeatingTauMinutes = leastSquaresTau(f.HeatingTimes, law)
	c.assumeMisfit("heating", f.HeatingTimes, c.HeatingTauMinutes, law)
}

func (c *Constants) fitCooling(times []Timing) {
	law := coolingLaw(c.AmbientCelsius)
	c.CoolingTauMinutes = leastSquaresTau(times, law)
	c.ColdBelowCelsius, c.ColdFactor = DefaultColdBelowCelsius, DefaultColdFactor
	for _, t := range times {
		c.ColdBelowCelsius = min(c.ColdBelowCelsius, t.ToCelsius)
	}
	c.fitLining(times)
	if c.Lining != nil {
		c.assume("cooling by two lumps, chamber and lining, from the measured cooling times above and below %d C, as after a "+
			"long hold; below %.0f C, the coldest measured, %.0f %% more time (common practice, no source)",
			DefaultColdBelowCelsius, c.ColdBelowCelsius, 100*(c.ColdFactor-1))
		return
	}
	c.assume("cooling below %.0f C given %.0f %% more time than one lump fitted hotter (common practice, no source)",
		c.ColdBelowCelsius, 100*(c.ColdFactor-1))
	c.assumeMisfit("cooling", times, c.CoolingTauMinutes, law)
}

// assumeMisfit says when a measured time is more than a tenth away from what the constants give for it.
func (c *Constants) assumeMisfit(what string, times []Timing, tau float64, law func(Timing) float64) {
	worst := 0.0
	for _, t := range times {
		worst = max(worst, math.Abs(tau*law(t)-t.Minutes)/t.Minutes)
	}
	if worst > 0.1 {
		c.assume("the measured %s times do not fit one lump: the worst is off by %.0f %%", what, 100*worst)
	}
}

// heatingLaw gives a stretch's length at full power in units of tau.
func heatingLaw(final float64) func(Timing) float64 {
	return func(t Timing) float64 { return math.Log((final - t.FromCelsius) / (final - t.ToCelsius)) }
}

// coolingLaw gives a stretch's length with the power off in units of tau.
func coolingLaw(ambient float64) func(Timing) float64 {
	return func(t Timing) float64 { return math.Log((t.FromCelsius - ambient) / (t.ToCelsius - ambient)) }
}

// leastSquaresTau is the tau with the least sum of squared minutes between tau law(t) and the measured times.
func leastSquaresTau(times []Timing, law func(Timing) float64) float64 {
	lengths := make([]float64, len(times))
	for i, t := range times {
		lengths[i] = law(t)
	}
	return tauOf(times, lengths)
}

// tauOf is that tau where the lengths of the stretches in units of it are known.
func tauOf(times []Timing, lengths []float64) float64 {
	cross, square := 0.0, 0.0
	for i, x := range lengths {
		cross += x * times[i].Minutes
		square += x * x
	}
	return cross / square
}

// leastSquaresFinal searches the final temperature between reached and most whose best tau leaves the least squares.
// It searches log(final - reached), where the length of a stretch bends evenly: a grid, then the golden section.
func leastSquaresFinal(times []Timing, reached, most float64) float64 {
	final := func(u float64) float64 { return reached + math.Exp(u) }
	lengths := make([]float64, len(times))
	misfit := func(u float64) float64 {
		law := heatingLaw(final(u))
		for i, t := range times {
			lengths[i] = law(t)
		}
		tau, sum := tauOf(times, lengths), 0.0
		for i, x := range lengths {
			off := tau*x - times[i].Minutes
			sum += off * off
		}
		return sum
	}
	const cells = 200
	low, high := 0.0, math.Log(most-reached) // at least 1 C above what was reached
	cell := (high - low) / cells
	best, least := low, misfit(low)
	for i := 1; i <= cells; i++ {
		u := low + float64(i)*cell
		if sum := misfit(u); sum < least {
			best, least = u, sum
		}
	}
	return final(goldenSection(misfit, max(low, best-cell), min(high, best+cell)))
}

// goldenSection narrows [a, b] to the least value of a function with one valley there.
func goldenSection(f func(float64) float64, a, b float64) float64 {
	const golden = 1 / math.Phi
	left, right := b-golden*(b-a), a+golden*(b-a)
	atLeft, atRight := f(left), f(right)
	for range 80 { // either part is cut so that the point within is one of the next two
		if atLeft < atRight {
			b, right, atRight = right, left, atLeft
			left = b - golden*(b-a)
			atLeft = f(left)
		} else {
			a, left, atLeft = left, right, atRight
			right = a + golden*(b-a)
			atRight = f(right)
		}
	}
	return (a + b) / 2
}

// distinctStretches counts stretches with different ends; the same one timed twice tells only one thing.
func distinctStretches(times []Timing) int {
	var seen []Timing
	for _, t := range times {
		t.Minutes = 0
		if !slices.Contains(seen, t) {
			seen = append(seen, t)
		}
	}
	return len(seen)
}
