package thermo

import (
	"math"

	"saggar/chem/data"
)

// Phase is the state of matter of a substance.
type Phase string

const (
	// Gas is an ideal gas at 1 bar.
	Gas Phase = "gas"
	// Liquid is a pure liquid.
	Liquid Phase = "liquid"
	// Solid is a pure solid in one of its polymorphs.
	Solid Phase = "solid"
)

// The constants of the tables; see thermo-constants.csv in chem/data.
var (
	gasConstant       = data.ThermoConstant("gas constant of the fits")
	referenceKelvin   = data.ThermoConstant("reference temperature")
	atmosphereBar     = data.ThermoConstant("standard atmosphere")
	celsiusZeroKelvin = data.ThermoConstant("celsius zero")
)

// reachesReferenceKelvin is the highest lower end of a range that is still taken to reach the reference temperature: the
// sets that the source starts at 300 K hold their own enthalpy of formation at 298.15 K.
const reachesReferenceKelvin = 300

// piece is one polymorph over one range, in the form of data.CoefficientSet.
type piece struct {
	phase     Phase
	polymorph string
	low, high float64 // kelvin
	a         [7]float64
	b1, b2    float64
}

func pieceOfSet(set data.CoefficientSet) piece {
	return piece{
		phase: Phase(set.Phase), polymorph: set.Polymorph, low: lowEnd(set.LowKelvin), high: set.HighKelvin,
		a: set.A, b1: set.B1, b2: set.B2,
	}
}

func lowEnd(kelvin float64) float64 {
	if kelvin > referenceKelvin && kelvin <= reachesReferenceKelvin {
		return referenceKelvin
	}
	return kelvin
}

// pieceOfMineral writes Cp = A + B T + C/T^2 in nine coefficients, with enthalpy and entropy from the values at the
// reference temperature.
func pieceOfMineral(m data.MineralHeatCapacity, at data.ReferenceValue) piece {
	p := piece{phase: Solid, polymorph: m.Mineral, low: m.LowKelvin, high: m.HighKelvin}
	p.a[0], p.a[2], p.a[3] = m.C/gasConstant, m.A/gasConstant, m.B/gasConstant
	return p.anchored(at)
}

// pieceOfReference holds at the reference temperature only.
func pieceOfReference(at data.ReferenceValue) piece {
	p := piece{phase: Solid, polymorph: at.Substance, low: referenceKelvin, high: referenceKelvin}
	p.a[2] = at.HeatCapacityJoulesPerMoleKelvin / gasConstant
	return p.anchored(at)
}

// anchored sets the two constants of integration.
func (p piece) anchored(at data.ReferenceValue) piece {
	p.b1, p.b2 = 0, 0
	enthalpy, entropy := p.reduced(referenceKelvin)
	p.b1 = at.FormationKilojoulesPerMole*1000/gasConstant - enthalpy*referenceKelvin
	p.b2 = at.EntropyJoulesPerMoleKelvin/gasConstant - entropy
	return p
}

// heatCapacity is Cp/R.
func (p *piece) heatCapacity(t float64) float64 {
	a := &p.a
	return (a[0]/t+a[1])/t + a[2] + t*(a[3]+t*(a[4]+t*(a[5]+t*a[6])))
}

// reduced gives H/RT and S/R.
func (p *piece) reduced(t float64) (enthalpy, entropy float64) {
	a, ln := &p.a, math.Log(t)
	enthalpy = (-a[0]/t+a[1]*ln+p.b1)/t + a[2] + t*(a[3]/2+t*(a[4]/3+t*(a[5]/4+t*a[6]/5)))
	entropy = (-a[0]/(2*t)-a[1])/t + a[2]*ln + p.b2 + t*(a[3]+t*(a[4]/2+t*(a[5]/3+t*a[6]/4)))
	return enthalpy, entropy
}

// kilojoules is H in kJ/mol.
func (p *piece) kilojoules(t float64) float64 {
	enthalpy, _ := p.reduced(t)
	return enthalpy * gasConstant * t / 1000
}
