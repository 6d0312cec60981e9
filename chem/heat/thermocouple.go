package heat

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// Thermocouple is the letter of a thermocouple type with a reference function here: K, S, N, R or B.
type Thermocouple string

// ThermocoupleTypes lists the letters in the table's order.
func ThermocoupleTypes() []Thermocouple { return slices.Clone(references().types) }

// uniqueAboveCelsius is where the inverse of type B begins: its voltage falls below 0 between 0 C and 42 C (computed from the
// reference function), so that colder readings stand for two temperatures.
const uniqueAboveCelsius = 50

// reference is the reference function of one type.
type reference struct {
	ranges  []referenceRange
	coldest float64 // of the inverse
}

// referenceRange is a part of it: a polynomial, and for type K above 0 C a bell a0 exp(a1 (t - a2)^2) on top.
type referenceRange struct {
	low, high float64
	powers    []float64
	bell      [3]float64
}

type referenceTable struct {
	types  []Thermocouple
	byType map[Thermocouple]*reference
}

var references = sync.OnceValue(func() referenceTable {
	table := referenceTable{byType: map[Thermocouple]*reference{}}
	for _, term := range data.ThermocoupleTerms() {
		of := Thermocouple(term.Type)
		r := table.byType[of]
		if r == nil {
			r = &reference{coldest: term.LowCelsius}
			if of == "B" {
				r.coldest = uniqueAboveCelsius
			}
			table.byType[of] = r
			table.types = append(table.types, of)
		}
		r.add(term)
	}
	return table
})

// add takes in a coefficient; those of a range stand together, the powers in order.
func (r *reference) add(term data.ThermocoupleTerm) {
	if last := len(r.ranges) - 1; last < 0 || r.ranges[last].low != term.LowCelsius {
		r.ranges = append(r.ranges, referenceRange{low: term.LowCelsius, high: term.HighCelsius})
	}
	part := &r.ranges[len(r.ranges)-1]
	if strings.HasPrefix(term.Coefficient, "a") {
		part.bell[term.Coefficient[1]-'0'] = term.Value
		return
	}
	part.powers = append(part.powers, term.Value)
}

func (r *reference) low() float64  { return r.ranges[0].low }
func (r *reference) high() float64 { return r.ranges[len(r.ranges)-1].high }

// at is the voltage and its slope per degree at a temperature within the function's range.
func (r *reference) at(celsius float64) (millivolts, slope float64) {
	i := 0
	for i < len(r.ranges)-1 && celsius > r.ranges[i].high {
		i++
	}
	part := r.ranges[i]
	for _, c := range slices.Backward(part.powers) {
		slope = slope*celsius + millivolts
		millivolts = millivolts*celsius + c
	}
	if a := part.bell; a[0] != 0 {
		off := celsius - a[2]
		bell := a[0] * math.Exp(a[1]*off*off)
		millivolts += bell
		slope += 2 * a[1] * off * bell
	}
	return millivolts, slope
}

// Millivolts is the voltage of a thermocouple whose measuring junction is at a temperature and whose reference junction is at
// 0 C, by the ITS-90 reference function of its type (NIST Monograph 175). The error is finding.Faults naming "thermocouple"
// for an unknown type and "celsius" outside the function's range: K -270 to 1372 C, N -270 to 1300 C, S and R -50 to
// 1768.1 C, B 0 to 1820 C.
func (t Thermocouple) Millivolts(celsius float64) (float64, error) {
	r, err := t.reference()
	if err != nil {
		return 0, err
	}
	var faults finding.Faults
	inRange(&faults, "celsius", celsius, r.low(), r.high())
	if err := faults.Err(); err != nil {
		return 0, err
	}
	millivolts, _ := r.at(celsius)
	return millivolts, nil
}

// Celsius is the temperature of the measuring junction at which a thermocouple gives a voltage while its reference junction is
// at referenceCelsius: E(t) = E(measured) + E(reference), solved by Newton steps on the reference function itself, so that it
// and Millivolts undo each other to 1e-6 C (2e-4 C where two ranges of the function meet). The range is that of Millivolts,
// for type B from 50 C, since its voltage is not unique below. The error is finding.Faults naming "thermocouple", "reference_celsius" or "millivolts".
func (t Thermocouple) Celsius(millivolts, referenceCelsius float64) (float64, error) {
	r, err := t.reference()
	if err != nil {
		return 0, err
	}
	var faults finding.Faults
	inRange(&faults, "reference_celsius", referenceCelsius, max(minCelsius, r.low()), r.high())
	if err := faults.Err(); err != nil {
		return 0, err
	}
	reference, _ := r.at(referenceCelsius)
	least, _ := r.at(r.coldest)
	most, _ := r.at(r.high())
	total := millivolts + reference
	if !(total >= least && total <= most) {
		faults.Add("millivolts", fmt.Sprintf("%g at a reference junction of %g C is outside the range of type %s, %.4g to %.5g",
			millivolts, referenceCelsius, t, least-reference, most-reference), "check the type, the polarity and the junction")
		return 0, faults
	}
	return r.inverse(total), nil
}

// inverse finds the temperature of a voltage in range: Newton steps, halving the bracket where one would leave it.
func (r *reference) inverse(total float64) float64 {
	low, high := r.coldest, r.high()
	celsius := low + (high-low)/2
	for range 200 {
		millivolts, slope := r.at(celsius)
		if millivolts > total {
			high = celsius
		} else {
			low = celsius
		}
		next := celsius - (millivolts-total)/slope
		if !(next > low && next < high) {
			next = low + (high-low)/2
		}
		if math.Abs(next-celsius) < 1e-11*max(1, math.Abs(next)) {
			return next
		}
		celsius = next
	}
	return celsius
}

func (t Thermocouple) reference() (*reference, error) {
	r, ok := references().byType[t]
	if !ok {
		var faults finding.Faults
		oneOf(&faults, "thermocouple", t, references().types...)
		return nil, faults
	}
	return r, nil
}
