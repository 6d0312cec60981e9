package air

import (
	"math"
	"sort"
)

// Curve is one species' concentration over time, exact: between two breakpoints the excess over the background follows
// x' = gain - rate x, which has the closed form x0 exp(-rate t) + gain t phi(rate t), phi(z) = (1 - exp(-z))/z, valid
// for every rate from zero on. After the last breakpoint it goes on for ever. The zero value is zero at all times.
//
// Minutes count from the origin that the releases use; concentrations are ppm. It is immutable and safe to share.
type Curve struct {
	species     string
	background  float64
	segments    []segment
	lastRelease float64
}

// segment holds from its start to the next segment's start.
type segment struct {
	start float64 // minute
	rate  float64 // air changes that count, per minute
	x0    float64 // excess at the start, ppm
	end   float64 // excess where the next segment starts, ppm; between the two it only rises or only falls
	gain  float64 // what escapes into the room, ppm a minute
	// offset is what stands beside the furnace above the room's air, ppm; zero for a room's own curve.
	offset float64
	area   float64 // excess and offset summed from the curve's start to this start, ppm minutes
}

// decay gives exp(-z), phi1(z) = (1 - exp(-z))/z and phi2(z) = (1 - phi1(z))/z for z from zero on, without loss of
// figures near zero.
func decay(z float64) (survives, phi1, phi2 float64) {
	if z < seriesBelow {
		phi2 = series(z)
		phi1 = 1 - z*phi2
		return 1 - z*phi1, phi1, phi2
	}
	survives = surviving(z)
	inverse := 1 / z
	phi1 = (1 - survives) * inverse
	return survives, phi1, (1 - phi1) * inverse
}

// surviving is exp(-z) for z from zero on, to a double's last figures, in half the time of math.Exp: z is k 64ths of ln 2 and a rest
// of at most 1/128 of it, of which six terms of the series are enough.
func surviving(z float64) float64 {
	if z > 700 {
		return math.Exp(-z)
	}
	k := int(z*(64/math.Ln2) + 0.5)
	r := z - float64(k)*ln2By64 - float64(k)*ln2By64Rest
	rest := 1 - r*(1-r*(1./2-r*(1./6-r*(1./24-r*(1./120)))))
	return math.Float64frombits(uint64(1023-k>>6)<<52) * halves[k&63] * rest
}

// ln2By64 is a 64th of ln 2 to 32 bits, so that whole times it are exact, and the rest of it.
const (
	ln2By64     = 0x58b90bfc / 137438953472. // 2^37
	ln2By64Rest = math.Ln2/64 - ln2By64
)

// halves are 2^(-i/64).
var halves = func() (powers [64]float64) {
	for i := range powers {
		powers[i] = math.Exp2(-float64(i) / 64)
	}
	return powers
}()

// seriesBelow is where phi2 is summed up as a series.
const seriesBelow = 0.05

// series is phi2 = 1/2 - z/6 + z^2/24 - ... to a double's last figure for z below seriesBelow.
func series(z float64) float64 {
	square := z * z
	return 1./2 - z*(1./6) + square*(1./24-z*(1./120)+square*(1./720-z*(1./5040)+square*(1./40320)))
}

// after gives the excess and its sum since the segment's start, tau minutes into it; the offset is not in either.
func (s *segment) after(tau float64) (excess, area float64) {
	survives, phi1, phi2 := decay(s.rate * tau)
	return s.x0*survives + s.gain*tau*phi1, tau * (s.x0*phi1 + s.gain*tau*phi2)
}

// reach is how long after its start the excess takes to come to the target, which it must lie between start and end.
func reach(x0, gain, rate, target float64) float64 {
	ahead := (target - x0) / (gain - rate*x0)
	if rate*ahead == 0 {
		return ahead
	}
	return -math.Log1p(-rate*ahead) / rate
}

// Species is the formula that the curve is about, as in the limits table.
func (c Curve) Species() string { return c.species }

// StartMinute is where the curve begins; before it the air holds the background only.
func (c Curve) StartMinute() float64 {
	if len(c.segments) == 0 {
		return 0
	}
	return c.segments[0].start
}

// At is the concentration in ppm at a minute; where it jumps, the value just after.
func (c Curve) At(minute float64) float64 { return c.in(c.find(minute), minute) }

// in is the concentration at a minute that lies in a segment; before the first is -1.
func (c Curve) in(at int, minute float64) float64 {
	if at < 0 {
		return c.background
	}
	s := &c.segments[at]
	excess, _ := s.after(minute - s.start)
	return c.background + excess + s.offset
}

// find is the index of the segment that holds at a minute, -1 before the first.
func (c Curve) find(minute float64) int {
	return sort.Search(len(c.segments), func(i int) bool { return c.segments[i].start > minute }) - 1
}

// Peak is the greatest concentration in ppm and the first minute when it is reached.
func (c Curve) Peak() (ppm, minute float64) {
	minute = c.StartMinute()
	for i := range c.segments {
		s := &c.segments[i]
		if value := s.x0 + s.offset; value > ppm {
			ppm, minute = value, s.start
		}
		if i+1 < len(c.segments) {
			next := &c.segments[i+1]
			if value := next.x0 + s.offset; value > ppm {
				ppm, minute = value, next.start
			}
		}
	}
	return c.background + ppm, minute
}

// MinuteBelow is the first minute, not before the last release has ended, from which on the concentration stays at or
// below ppm; false when it never does (no flow, or a background above it).
func (c Curve) MinuteBelow(ppm float64) (float64, bool) {
	target := ppm - c.background
	if len(c.segments) == 0 || target < 0 {
		return 0, len(c.segments) == 0 && target >= 0
	}
	minute := c.lastRelease
	for i := c.find(minute); i < len(c.segments); i++ {
		s := &c.segments[i]
		minute = max(minute, s.start)
		if excess, _ := s.after(minute - s.start); excess <= target {
			return minute, true
		}
		last := i+1 == len(c.segments)
		falls := s.rate > 0 && target > 0
		if falls && (last || c.segments[i+1].x0 <= target) {
			return s.start + reach(s.x0, s.gain, s.rate, target), true
		}
	}
	return 0, false
}

// close fills in the running sums once the segments stand.
func (c *Curve) close() {
	for i := 0; i+1 < len(c.segments); i++ {
		s, next := &c.segments[i], &c.segments[i+1]
		length := next.start - s.start
		excess, area := s.after(length)
		s.end, next.area = excess, s.area+area+s.offset*length
	}
}
