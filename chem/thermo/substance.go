package thermo

import (
	"fmt"
	"math"
	"strconv"

	"saggar/chem"
	"saggar/chem/finding"
)

// Substance is a compound in one phase, or in its condensed phases one above the other. It is immutable.
type Substance struct {
	name    string
	formula chem.Formula
	source  string
	pieces  []piece // by rising temperature, without gaps
}

// State is what a substance is at one temperature, for one mole at 1 bar.
type State struct {
	Kelvin float64
	Phase  Phase
	// Polymorph is the solid's form, empty where the tables have but one.
	Polymorph                       string
	HeatCapacityJoulesPerMoleKelvin float64
	// EnthalpyKilojoulesPerMole counts from the elements at 298.15 K.
	EnthalpyKilojoulesPerMole  float64
	EntropyJoulesPerMoleKelvin float64
	GibbsKilojoulesPerMole     float64
}

// Name is the substance as its source writes it, such as "SiO2(a-qz)" or "kaolinite".
func (s *Substance) Name() string { return s.name }

// Formula is the compound.
func (s *Substance) Formula() chem.Formula { return s.formula }

// Source names where the figures come from.
func (s *Substance) Source() string { return s.source }

// RangeKelvin is the range of temperatures that the substance has figures for, both ends included.
func (s *Substance) RangeKelvin() (low, high float64) {
	return s.pieces[0].low, s.pieces[len(s.pieces)-1].high
}

// Polymorphs lists the forms of the substance by rising temperature; a form without a name of its own gives its phase.
func (s *Substance) Polymorphs() []string {
	var names []string
	for i := range s.pieces {
		name := s.pieces[i].label()
		if len(names) == 0 || names[len(names)-1] != name {
			names = append(names, name)
		}
	}
	return names
}

func (p *piece) label() string {
	if p.polymorph != "" {
		return p.polymorph
	}
	return string(p.phase)
}

// AtKelvin gives the state at a temperature in kelvin. Outside the range it returns finding.Faults at "kelvin".
func (s *Substance) AtKelvin(kelvin float64) (State, error) {
	p := s.within(kelvin)
	if p == nil {
		low, high := s.RangeKelvin()
		return State{}, outOfRange("kelvin", s.name, kelvin, [2]float64{low, high})
	}
	return p.state(kelvin), nil
}

// AtCelsius gives the state at a temperature in degrees Celsius. Outside the range it returns finding.Faults at
// "celsius".
func (s *Substance) AtCelsius(celsius float64) (State, error) {
	p := s.within(Kelvin(celsius))
	if p == nil {
		low, high := s.RangeKelvin()
		return State{}, outOfRange("celsius", s.name, celsius, [2]float64{Celsius(low), Celsius(high)})
	}
	return p.state(Kelvin(celsius)), nil
}

// Reduced gives G/RT and H/RT at a temperature in kelvin, for sums that must be quick; ok is false outside the range.
func (s *Substance) Reduced(kelvin float64) (gibbs, enthalpy float64, ok bool) {
	p := s.within(kelvin)
	if p == nil {
		return 0, 0, false
	}
	enthalpy, entropy := p.reduced(kelvin)
	return enthalpy - entropy, enthalpy, true
}

// PhaseAtKelvin is the phase at a temperature; empty outside the range.
func (s *Substance) PhaseAtKelvin(kelvin float64) Phase {
	if p := s.within(kelvin); p != nil {
		return p.phase
	}
	return ""
}

// FormAtKelvin is the polymorph at a temperature, or the phase where the form has no name of its own; empty outside the
// range.
func (s *Substance) FormAtKelvin(kelvin float64) string {
	if p := s.within(kelvin); p != nil {
		return p.label()
	}
	return ""
}

// Kelvin turns degrees Celsius into kelvin.
func Kelvin(celsius float64) float64 { return celsius + celsiusZeroKelvin }

// Celsius turns kelvin into degrees Celsius.
func Celsius(kelvin float64) float64 { return kelvin - celsiusZeroKelvin }

// GasConstant is R in J/mol/K, the value with which the coefficients were fitted.
func GasConstant() float64 { return gasConstant }

// within finds the piece that holds at a temperature, the lower one where two meet; nil outside the range.
func (s *Substance) within(kelvin float64) *piece {
	for i := range s.pieces {
		if p := &s.pieces[i]; kelvin <= p.high && kelvin >= p.low {
			return p
		}
	}
	return nil
}

func (p *piece) state(kelvin float64) State {
	enthalpy, entropy := p.reduced(kelvin)
	return State{
		Kelvin: kelvin, Phase: p.phase, Polymorph: p.polymorph,
		HeatCapacityJoulesPerMoleKelvin: p.heatCapacity(kelvin) * gasConstant,
		EnthalpyKilojoulesPerMole:       enthalpy * gasConstant * kelvin / 1000,
		EntropyJoulesPerMoleKelvin:      entropy * gasConstant,
		GibbsKilojoulesPerMole:          (enthalpy - entropy) * gasConstant * kelvin / 1000,
	}
}

func outOfRange(field, name string, value float64, ends [2]float64) error {
	message := fmt.Sprintf("%s is outside the range of %s", short(value), name)
	if math.IsNaN(value) || math.IsInf(value, 0) {
		message = "is no finite number"
	}
	cure := fmt.Sprintf("give %s to %s", short(ends[0]), short(ends[1]))
	if ends[0] == ends[1] {
		cure = "give " + short(ends[0]) + ": only its values there are tabled"
	}
	return finding.Faults{{Field: field, Message: message, Cure: cure}}
}

// short writes a temperature without the dust of the sum that made it.
func short(value float64) string {
	return strconv.FormatFloat(math.Round(value*1000)/1000, 'g', -1, 64)
}
