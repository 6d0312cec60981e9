package data

import (
	"slices"
	"sync"
)

// ThermocoupleTerm is one coefficient of the reference function of a thermocouple type, the thermoelectric voltage in
// millivolts with the reference junction at 0 C as a function of the temperature in degrees Celsius (ITS-90):
//
//	E(t) = c0 + c1 t + c2 t^2 + ... and for type K above 0 C also + a0 exp(a1 (t - a2)^2)
type ThermocoupleTerm struct {
	// Type is the letter of the thermocouple type: K, S, N, R or B.
	Type string
	// LowCelsius and HighCelsius bound the range in which the coefficient holds.
	LowCelsius, HighCelsius float64
	// Coefficient is its name, "c0" to "c13" or "a0" to "a2".
	Coefficient string
	Value       float64
	Read        Read
	Source      string
}

var thermocoupleTerms = sync.OnceValue(func() []ThermocoupleTerm {
	return mustRead("thermocouple-coefficients.csv", toThermocoupleTerm)
})

// ThermocoupleTerms returns the coefficients of all types, those of a range together, ranges from the coldest.
func ThermocoupleTerms() []ThermocoupleTerm { return slices.Clone(thermocoupleTerms()) }

func toThermocoupleTerm(r *row) ThermocoupleTerm {
	return ThermocoupleTerm{
		Type:        r.text("type"),
		LowCelsius:  r.number("low_c"),
		HighCelsius: r.number("high_c"),
		Coefficient: r.text("coefficient"),
		Value:       r.number("value"),
		Read:        Read(r.text("read")),
		Source:      r.text("source"),
	}
}
