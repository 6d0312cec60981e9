// Package kinetics holds the models of f(alpha) and the rate d(alpha)/dt = A exp(-E/RT) f(alpha) of the reactions that
// chem/data/reactions.csv has one for. It knows no charge and no bed: what it answers holds for something everywhere as hot
// as a thermocouple says, which both the balance of a charge and the walk through a bed build on.
//
// Since f does not depend on the temperature, alpha is a function of the kinetic time theta = integral of A exp(-E/RT) dt
// alone, by d(alpha)/d(theta) = f(alpha): models with a closed integral form are inverted, the others are integrated once.
// Temperatures are degrees Celsius, kinetic times seconds. Nothing here is changed after it is made; all of it may be used by
// several goroutines at once.
package kinetics

import (
	"math"

	"saggar/chem/data"
	"saggar/chem/heat"
)

const (
	// StepCelsius is how far a temperature may go in a step: between its ends the logarithm of the rate is then straight to a
	// part in a thousand.
	StepCelsius = 5.0
	// gasConstant is R, J/mol/K, exact since the SI of 2019.
	gasConstant = 8.314462618
	// zeroCelsius is 0 C in kelvin.
	zeroCelsius = 273.15
	// frozenLogPerSecond is ln of a rate constant so small that no program's length makes it count.
	frozenLogPerSecond = -34.0
	// leftUnreacted is the fraction that counts as nothing.
	leftUnreacted = 1e-9
	// coldestCelsius is where colder temperatures are held to, far below where any rate counts.
	coldestCelsius   = -100.0
	secondsPerMinute = 60.0
)

// Rate is a tabled rate with its model read.
type Rate struct {
	data.Kinetics
	// F is the form of f(alpha).
	F Model
	// FrozenCelsius is the temperature below which the rate counts as nothing, and DoneSeconds the kinetic time after which
	// nothing is left to react.
	FrozenCelsius, DoneSeconds     float64
	logFrequency, activationKelvin float64
}

// NewRate reads a tabled rate; false where none is tabled. A model that cannot be read is a bug, which the tests find.
func NewRate(tabled data.Kinetics) (Rate, bool) {
	if tabled.Model == "" {
		return Rate{}, false
	}
	model, known := ModelNamed(tabled.Model)
	if !known {
		panic("bug: no kinetic model " + tabled.Model)
	}
	r := Rate{
		Kinetics: tabled, F: model, DoneSeconds: model.KineticTime(1 - leftUnreacted),
		logFrequency:     math.Log(tabled.FrequencyPerSecond),
		activationKelvin: 1000 * tabled.ActivationKilojoulesPerMole / gasConstant,
	}
	r.FrozenCelsius = r.activationKelvin/(r.logFrequency-frozenLogPerSecond) - zeroCelsius
	return r, true
}

// LogPerSecond is ln of the rate constant A exp(-E/RT) in 1/s.
func (r Rate) LogPerSecond(celsius float64) float64 {
	return r.logFrequency - r.activationKelvin/(max(celsius, coldestCelsius)+zeroCelsius)
}

// PerSecond is the rate constant A exp(-E/RT).
func (r Rate) PerSecond(celsius float64) float64 { return math.Exp(r.LogPerSecond(celsius)) }

// Converted is the fraction at a kinetic time in seconds, in [0, 1].
func (r Rate) Converted(kineticSeconds float64) float64 {
	if kineticSeconds >= r.DoneSeconds {
		return 1
	}
	return r.F.Fraction(kineticSeconds)
}

// Along is the fraction converted at the end of a profile, whose points are in the order of time and joined by straight
// lines, of something as hot as it says. A profile of fewer than two points converts nothing.
func (r Rate) Along(profile []heat.Point) float64 {
	theta := 0.0
	for i := 1; i < len(profile) && theta < r.DoneSeconds; i++ {
		theta += r.between(profile[i-1], profile[i])
	}
	return r.Converted(theta)
}

// between is the kinetic time of one straight line, in steps of StepCelsius at most.
func (r Rate) between(a, b heat.Point) float64 {
	seconds := (b.Minute - a.Minute) * secondsPerMinute
	if seconds <= 0 || max(a.Celsius, b.Celsius) <= r.FrozenCelsius {
		return 0
	}
	steps := max(1, math.Ceil(math.Abs(b.Celsius-a.Celsius)/StepCelsius))
	sum, before := 0.0, r.LogPerSecond(a.Celsius)
	for i := 1.0; i <= steps; i++ {
		after := r.LogPerSecond(a.Celsius + (b.Celsius-a.Celsius)*i/steps)
		sum += Mean(math.Exp(before), math.Exp(after), after-before)
		before = after
	}
	return sum * seconds / steps
}

// Mean is that of a rate whose logarithm goes evenly, by difference, from one value to another.
func Mean(from, to, difference float64) float64 {
	if from == 0 || to == 0 || math.Abs(difference) < 1e-3 {
		return (from + to) / 2
	}
	return (to - from) / difference
}
