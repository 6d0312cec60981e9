package heat

import "math"

// A course is the way of the temperature, made of pieces that each have a closed form:
//
//	linear      the control holds a rate (0 in a hold)
//	full power  T(t) = T_inf - (T_inf - T0) exp(-t/tau)
//	power off   T(t) = Ta + (T0 - Ta) exp(-t/tau_c), or the sum of two such exponentials where the lining is known
//
// The exponentials solve the lumped balance C dT/dt = P - (T - Ta)/R with T_inf = Ta + P R and tau = R C. A charge that takes
// h kilojoules per kelvin makes C greater by h, and so tau by R h.
type course []piece

// piece is one such part. limit and tau are of an exponential; tau is 0 for a linear piece.
type piece struct {
	from, to float64
	minutes  float64
	limit    float64
	tau      float64
	// quick is the part of from - limit that falls with quickTau instead of tau.
	quick, quickTau float64
	// fullPower tells heating from cooling among the exponentials.
	fullPower bool
	// lossTau scales the heat that a change of temperature takes in the furnace: tau upwards, tau_c downwards.
	lossTau float64
	// chargeKilojoules is what the charge takes; below 0 it gives it to a furnace that cools with its heat off.
	chargeKilojoules float64
}

func (c course) minutes() float64 {
	total := 0.0
	for _, p := range c {
		total += p.minutes
	}
	return total
}

// kelvinPerKilowatt is R, what a kilowatt of loss asks over ambient.
func (c Constants) kelvinPerKilowatt() float64 {
	return (c.FinalCelsius - c.AmbientCelsius) / c.NetKilowatts
}

// heatingTau is the time constant of heating with a charge that takes some kilojoules per kelvin.
func (c Constants) heatingTau(kilojoulesPerKelvin float64) float64 {
	return c.HeatingTauMinutes + c.kelvinPerKilowatt()*kilojoulesPerKelvin/60
}

// rise follows a rate (degrees per minute, +Inf for full power) through what the charge takes while the furnace can, and
// heats at full power where it cannot. A program that falls behind is not caught up with. It needs from <= to < FinalCelsius.
func (c Constants) rise(bands []band, rate float64) course {
	var way course
	for _, b := range bands {
		if b.from == b.to {
			way = append(way, c.dwell(b.to, b.kilojoules))
			continue
		}
		perKelvin := b.kilojoules / (b.to - b.from)
		tau := c.heatingTau(perKelvin)
		from := b.from
		reach := min(b.to, c.FinalCelsius-rate*tau) // above it the furnace is slower than the rate
		if from < reach {
			way = append(way, piece{from: from, to: reach, minutes: (reach - from) / rate, lossTau: c.HeatingTauMinutes,
				chargeKilojoules: perKelvin * (reach - from)})
			from = reach
		}
		if from < b.to {
			minutes := tau * math.Log((c.FinalCelsius-from)/(c.FinalCelsius-b.to))
			way = append(way, piece{from: from, to: b.to, minutes: minutes, limit: c.FinalCelsius, tau: tau, fullPower: true,
				lossTau: c.HeatingTauMinutes, chargeKilojoules: perKelvin * (b.to - from)})
		}
	}
	return way
}

// dwell is the time at one temperature until the charge has taken a heat that full power gives it beyond the loss.
func (c Constants) dwell(celsius, kilojoules float64) piece {
	spare := (c.FinalCelsius - celsius) / c.kelvinPerKilowatt()
	return piece{from: celsius, to: celsius, minutes: kilojoules / 60 / spare, fullPower: true, chargeKilojoules: kilojoules}
}

// points appends a piece's points after the last of a profile. The straight lines between them are off by at most
// h^2/8 max|T”| for a step h, which sets their number.
func (p piece) points(profile []Point) []Point {
	start := profile[len(profile)-1].Minute
	steps := 1
	if p.tau > 0 {
		steps = max(1, int(math.Ceil(p.minutes*math.Sqrt(p.bend()/(8*profileToleranceCelsius)))))
	}
	for i := 1; i < steps; i++ {
		after := p.minutes * float64(i) / float64(steps)
		profile = append(profile, Point{Minute: start + after, Celsius: p.at(after)})
	}
	if p.minutes > 0 {
		profile = append(profile, Point{Minute: start + p.minutes, Celsius: p.to})
	}
	return profile
}

// at is the temperature of an exponential piece some minutes after its start.
func (p piece) at(after float64) float64 {
	celsius := p.limit + (p.from-p.limit-p.quick)*math.Exp(-after/p.tau)
	if p.quickTau > 0 {
		celsius += p.quick * math.Exp(-after/p.quickTau)
	}
	return celsius
}

// bend is the greatest |T”| of an exponential piece, that at its start.
func (p piece) bend() float64 {
	bend := math.Abs(p.limit-p.from+p.quick) / (p.tau * p.tau)
	if p.quickTau > 0 {
		bend += math.Abs(p.quick) / (p.quickTau * p.quickTau)
	}
	return bend
}

// power is the heat into the chamber in kilowatts, its mean and its peak over the piece: net full power, or what the control
// gives, P = C dT/dt + (T - Ta)/R and what the charge takes. What a charge gives back while the control lowers the
// temperature is not credited.
func (c Constants) power(p piece) (mean, peak float64) {
	switch {
	case p.minutes <= 0:
		return 0, 0
	case p.fullPower:
		return c.NetKilowatts, c.NetKilowatts
	case p.tau > 0:
		return 0, 0
	}
	perDegree := 1 / c.kelvinPerKilowatt()
	taking := p.chargeKilojoules / 60 / p.minutes
	storing := p.lossTau * (p.to - p.from) / p.minutes
	mean = perDegree*(storing+(p.from+p.to)/2-c.AmbientCelsius) + taking
	peak = perDegree*(storing+max(p.from, p.to)-c.AmbientCelsius) + taking
	return max(0, mean), max(0, peak)
}

// storedKilowattHours is what chamber and lining hold more after a piece than before, as one lump.
func (c Constants) storedKilowattHours(p piece) float64 {
	return p.lossTau * (p.to - p.from) / c.kelvinPerKilowatt() / 60
}
