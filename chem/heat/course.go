package heat

import "math"

// A course is the way of the temperature, made of pieces that each have a closed form:
//
//	linear      the control holds a rate (0 in a hold)
//	full power  T(t) = T_inf - (T_inf - T0) exp(-t/tau)
//	power off   T(t) = Ta + (T0 - Ta) exp(-t/tau_c)
//
// Both exponentials solve the lumped balance C dT/dt = P - (T - Ta)/R with T_inf = Ta + P R and tau = R C.
type course []piece

// piece is one such part. limit and tau are of an exponential; tau is 0 for a linear piece.
type piece struct {
	from, to float64
	minutes  float64
	limit    float64
	tau      float64
	// fullPower tells heating from cooling among the exponentials.
	fullPower bool
	// lossTau scales the heat that a change of temperature takes in a linear piece: tau upwards, tau_c downwards.
	lossTau float64
}

func (c course) minutes() float64 {
	total := 0.0
	for _, p := range c {
		total += p.minutes
	}
	return total
}

// rise follows a rate (degrees per minute, +Inf for full power) while the furnace can, then heats at full power.
// It needs from <= to < FinalCelsius.
func (c Constants) rise(from, to, rate float64) course {
	var way course
	reach := min(to, c.FinalCelsius-rate*c.HeatingTauMinutes) // above it the furnace is slower than the rate
	if from < reach {
		way = append(way, piece{from: from, to: reach, minutes: (reach - from) / rate, lossTau: c.HeatingTauMinutes})
		from = reach
	}
	if from < to {
		minutes := c.HeatingTauMinutes * math.Log((c.FinalCelsius-from)/(c.FinalCelsius-to))
		way = append(way, piece{from: from, to: to, minutes: minutes, limit: c.FinalCelsius, tau: c.HeatingTauMinutes,
			fullPower: true})
	}
	return way
}

// fall follows a rate (degrees per minute, +Inf for power off) while natural cooling allows, then cools naturally.
// It needs from >= to > AmbientCelsius.
func (c Constants) fall(from, to, rate float64) course {
	hotEnd := min(from, max(to, c.ColdBelowCelsius))
	way := c.fallThrough(from, hotEnd, rate, c.CoolingTauMinutes)
	return append(way, c.fallThrough(hotEnd, to, rate, c.CoolingTauMinutes*c.ColdFactor)...)
}

// cooling is the way with the heat off. With the door open it is quicker while hot; set down outside it counts as closed.
func (c Constants) cooling(from, to float64, cooling Cooling) course {
	if cooling != CoolOpen {
		return c.fall(from, to, math.Inf(1))
	}
	hotEnd := min(from, max(to, DefaultColdBelowCelsius))
	open := c
	open.CoolingTauMinutes *= OpenCoolingShare
	return append(open.fall(from, hotEnd, math.Inf(1)), c.fall(hotEnd, to, math.Inf(1))...)
}

// fallThrough is fall where one time constant rules.
func (c Constants) fallThrough(from, to, rate, tau float64) course {
	var way course
	reach := max(to, c.AmbientCelsius+rate*tau) // below it natural cooling is slower than the rate
	if from > reach {
		way = append(way, piece{from: from, to: reach, minutes: (from - reach) / rate, lossTau: tau})
		from = reach
	}
	if from > to {
		minutes := tau * math.Log((from-c.AmbientCelsius)/(to-c.AmbientCelsius))
		way = append(way, piece{from: from, to: to, minutes: minutes, limit: c.AmbientCelsius, tau: tau})
	}
	return way
}

// points appends a piece's points after the last of a profile. The straight lines between them are off by at most
// h^2/8 max|T”| for a step h, which sets their number.
func (p piece) points(profile []Point) []Point {
	start := profile[len(profile)-1].Minute
	steps := 1
	if p.tau > 0 {
		bend := math.Abs(p.limit-p.from) / (p.tau * p.tau)
		steps = max(1, int(math.Ceil(p.minutes*math.Sqrt(bend/(8*profileToleranceCelsius)))))
	}
	for i := 1; i < steps; i++ {
		after := p.minutes * float64(i) / float64(steps)
		celsius := p.limit + (p.from-p.limit)*math.Exp(-after/p.tau)
		profile = append(profile, Point{Minute: start + after, Celsius: celsius})
	}
	if p.minutes > 0 {
		profile = append(profile, Point{Minute: start + p.minutes, Celsius: p.to})
	}
	return profile
}

// power is the heat into the chamber in kilowatts, its mean and its peak over the piece, at netKilowatts full power:
// P = C dT/dt + (T - Ta)/R with R = (T_inf - Ta)/netKilowatts and C = tau/R.
func (c Constants) power(p piece, netKilowatts float64) (mean, peak float64) {
	switch {
	case p.minutes <= 0:
		return 0, 0
	case p.fullPower:
		return netKilowatts, netKilowatts
	case p.tau > 0:
		return 0, 0
	}
	perDegree := netKilowatts / (c.FinalCelsius - c.AmbientCelsius)
	storing := p.lossTau * (p.to - p.from) / p.minutes
	mean = perDegree * (storing + (p.from+p.to)/2 - c.AmbientCelsius)
	peak = perDegree * (storing + max(p.from, p.to) - c.AmbientCelsius)
	return max(0, mean), max(0, peak)
}
