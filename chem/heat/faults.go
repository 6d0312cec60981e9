package heat

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

// Faults lists what is wrong with a program by itself, under paths such as "segments[0].to_celsius".
func (p Program) Faults() finding.Faults {
	var faults finding.Faults
	if n := len(p.Segments); n == 0 || n > maxSegments {
		faults.Add("segments", fmt.Sprintf("%d segments", n), fmt.Sprintf("give 1 to %d", maxSegments))
	}
	total := 0.0
	for i, s := range p.Segments {
		at := fmt.Sprintf("segments[%d].", i)
		inRange(&faults, at+"to_celsius", s.ToCelsius, 1, maxCelsius)
		inRange(&faults, at+"rate_celsius_per_hour", s.RateCelsiusPerHour, 0, maxRateCelsiusPerHour)
		inRange(&faults, at+"hold_minutes", s.HoldMinutes, 0, maxStretchMinutes)
		total += s.HoldMinutes
	}
	if total > maxProgramMinutes {
		faults.Add("segments", fmt.Sprintf("the holds alone take %.0f minutes", total),
			fmt.Sprintf("give at most %.0f in all", maxProgramMinutes))
	}
	oneOf(&faults, "cooling", p.Cooling, "", CoolClosed, CoolOpen, SetDown)
	return faults
}

// Faults lists what is wrong with a furnace's own description, measured or not. What it stands in and draws on is left
// to whoever knows the studio; that times were measured at all is asked by Fit.
func (f Furnace) Faults() finding.Faults {
	var faults finding.Faults
	oneOf(&faults, "source", f.Source, Electric, Gas, Bench)
	oneOf(&faults, "control", f.Control, "", Programmed, SetPoint, ByHand)
	for i, a := range f.Atmospheres {
		oneOf(&faults, fmt.Sprintf("atmospheres[%d]", i), a, Oxidising, Neutral, Reducing)
	}
	for i, e := range f.Excludes {
		oneOf(&faults, fmt.Sprintf("excludes[%d]", i), e, Contents()...)
	}
	inRange(&faults, "net_kilowatts", f.NetKilowatts, 0, maxKilowatts)
	inRange(&faults, "input_kilowatts", f.InputKilowatts, 0, maxKilowatts)
	if f.InputKilowatts > 0 && f.NetKilowatts > f.InputKilowatts {
		faults.Add("net_kilowatts", fmt.Sprintf("%g is above input_kilowatts %g", f.NetKilowatts, f.InputKilowatts),
			"more heat cannot come in than the supply gives")
	}
	inRange(&faults, "ambient_celsius", f.AmbientCelsius, minCelsius, maxAmbientCelsius)
	inRange(&faults, "chamber_liters", f.ChamberLiters, 0, math.MaxInt32)
	inRange(&faults, "max_charge_grams", f.MaxChargeGrams, 0, math.MaxInt32)
	inRange(&faults, "tolerance_celsius", f.ToleranceCelsius, 0, 200)
	inRange(&faults, "max_rate_celsius_per_hour", f.MaxRateCelsiusPerHour, 0, maxRateCelsiusPerHour)
	inRange(&faults, "capture.closed_fraction", f.Capture.ClosedFraction, 0, 1)
	inRange(&faults, "capture.door_open_fraction", f.Capture.DoorOpenFraction, 0, 1)
	for a, grams := range f.FlueCarbonMonoxideGramsPerKilowattHour {
		inRange(&faults, fmt.Sprintf("flue_carbon_monoxide_grams_per_kilowatt_hour[%s]", a), grams, 0, 1000)
	}
	if f.Source != Bench {
		faults = append(faults, f.heatFaults()...)
	}
	return faults
}

// heatFaults are those of what only a heated furnace has.
func (f Furnace) heatFaults() finding.Faults {
	var faults finding.Faults
	ambient := f.AmbientCelsius
	if ambient == 0 {
		ambient = DefaultAmbientCelsius
	}
	inRange(&faults, "top_celsius", f.TopCelsius, maxAmbientCelsius, maxCelsius)
	for i, t := range f.HeatingTimes {
		at := fmt.Sprintf("heating_times[%d].", i)
		timingFaults(&faults, at, t)
		if t.ToCelsius <= max(t.FromCelsius, ambient) {
			faults.Add(at+"to_celsius", fmt.Sprintf("%g is not above from_celsius %g and ambient %g", t.ToCelsius,
				t.FromCelsius, ambient), "heating goes up")
		}
	}
	for i, t := range f.CoolingTimes {
		at := fmt.Sprintf("cooling_times[%d].", i)
		timingFaults(&faults, at, t)
		if t.ToCelsius >= t.FromCelsius {
			faults.Add(at+"to_celsius", fmt.Sprintf("%g is not below from_celsius %g", t.ToCelsius, t.FromCelsius),
				"cooling goes down")
		}
		if t.ToCelsius < ambient+minAboveAmbientCelsius {
			faults.Add(at+"to_celsius", fmt.Sprintf("%g is not above ambient %g by %g C", t.ToCelsius, ambient,
				minAboveAmbientCelsius), "end the measured stretch hotter, where the temperature still falls")
		}
	}
	if len(faults) == 0 {
		faults = f.misfits(ambient)
	}
	return faults
}

// misfits are the heating times that no furnace like a lump of heat has beside the others: most likely a slip of the pen.
func (f Furnace) misfits(ambient float64) finding.Faults {
	var faults finding.Faults
	c := Constants{AmbientCelsius: ambient}
	if len(f.HeatingTimes) == 0 {
		return nil
	}
	c.fitHeating(f)
	law := heatingLaw(c.FinalCelsius)
	for i, t := range f.HeatingTimes {
		fitted := c.HeatingTauMinutes * law(t)
		if off := math.Abs(t.Minutes - fitted); off > mostMisfitShare*fitted && off > mostMisfitMinutes {
			faults.Add(fmt.Sprintf("heating_times[%d].minutes", i), fmt.Sprintf("%g from %g C to %g C does not go with the other "+
				"heating times: all together give %.0f", t.Minutes, t.FromCelsius, t.ToCelsius, fitted),
				"time the stretches again at full power, the furnace all but empty, and correct what is wrong")
		}
	}
	return faults
}

func timingFaults(faults *finding.Faults, at string, t Timing) {
	inRange(faults, at+"from_celsius", t.FromCelsius, minCelsius, maxCelsius)
	inRange(faults, at+"to_celsius", t.ToCelsius, minCelsius, maxCelsius)
	inRange(faults, at+"minutes", t.Minutes, 0.1, maxStretchMinutes)
}

// faults lists why constants cannot be used; those from Fit always can.
func (c Constants) faults() finding.Faults {
	var faults finding.Faults
	inRange(&faults, "constants.ambient_celsius", c.AmbientCelsius, minCelsius, maxAmbientCelsius)
	inRange(&faults, "constants.final_celsius", c.FinalCelsius, c.AmbientCelsius+minAboveAmbientCelsius,
		2*maxFinalRatio*maxCelsius)
	inRange(&faults, "constants.heating_tau_minutes", c.HeatingTauMinutes, 1e-3, math.MaxInt32)
	inRange(&faults, "constants.cooling_tau_minutes", c.CoolingTauMinutes, 1e-3, math.MaxInt32)
	if l := c.Lining; l != nil {
		inRange(&faults, "constants.lining.slow_tau_minutes", l.SlowTauMinutes, 1e-3, math.MaxInt32)
		inRange(&faults, "constants.lining.fast_tau_minutes", l.FastTauMinutes, 1e-6, l.SlowTauMinutes*(1-1e-6))
		inRange(&faults, "constants.lining.slow_share", l.SlowShare, 1e-6, 1-1e-6)
	}
	inRange(&faults, "constants.cold_below_celsius", c.ColdBelowCelsius, minCelsius, maxCelsius)
	inRange(&faults, "constants.cold_factor", c.ColdFactor, 1, 10)
	inRange(&faults, "constants.net_kilowatts", c.NetKilowatts, 1e-6, maxKilowatts)
	inRange(&faults, "constants.input_kilowatts", c.InputKilowatts, 1e-6, maxKilowatts)
	return faults
}

// inRange notes a number outside [least, most]; NaN is outside of every range.
func inRange(faults *finding.Faults, field string, value, least, most float64) {
	if !within(value, least, most) {
		faults.Add(field, fmt.Sprintf("%g is not between %g and %g", value, least, most), "")
	}
}

// within is false for what is no number.
func within(value, least, most float64) bool { return value >= least && value <= most }

// oneOf notes a word that is none of those allowed.
func oneOf[T ~string](faults *finding.Faults, field string, value T, allowed ...T) {
	if !slices.Contains(allowed, value) {
		faults.Add(field, fmt.Sprintf("%q is not known", string(value)), fmt.Sprintf("give one of %q", allowed))
	}
}
