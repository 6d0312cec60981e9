package reaction

import (
	"fmt"
	"math"
	"sync"

	"saggar/chem/thermo"
)

// CodeOwnGas warns of a bed that never is hot enough for its own gas to leave against the air's pressure.
const CodeOwnGas = "CONVERSION_OWN_GAS"

// ownGasSource is the source of the equilibrium.
const ownGasSource = "equilibrium constant from NASA/TP-2002-211556 (library of 2021) or, for minerals that it lacks, " +
	"Am. J. Sci. 278-A (1978)"

// ownGas is the temperature at which the one gas of each reaction with a rate has 1 bar over its solids, by the reaction's
// name. Reactions of several gases, or with a substance that no table has, are not in it.
var ownGas = sync.OnceValue(func() map[string]float64 {
	known := map[string]float64{}
	for _, r := range table() {
		if !r.HasRate() || len(r.Gases) != 1 {
			continue
		}
		coefficients := map[string]float64{r.Formula: -1}
		for _, solid := range r.Solids {
			coefficients[solid.Formula] += solid.Moles
		}
		coefficients[r.Gases[0].Formula+"(g)"] += r.Gases[0].Moles
		if equation, err := thermo.NewReaction(coefficients); err == nil {
			if celsius, ok := oneBar(equation); ok {
				known[r.Name] = celsius
			}
		}
	}
	return known
})

// oneBar is where ln K passes zero upwards, to 0.01 K; false when it does not within the tables.
func oneBar(equation *thermo.Reaction) (float64, bool) {
	lnK := func(celsius float64) float64 {
		state, err := equation.AtCelsius(celsius)
		if err != nil {
			return math.NaN()
		}
		return state.LnK
	}
	const step = 5.0
	for low := 30.0; low < 1500; low += step {
		if !(lnK(low) < 0 && lnK(low+step) >= 0) {
			continue
		}
		high := low + step
		for high-low > 0.01 {
			if middle := (low + high) / 2; lnK(middle) < 0 {
				low = middle
			} else {
				high = middle
			}
		}
		return high, true
	}
	return 0, false
}

// OneBarCelsius is the temperature at which the reaction's gas has a pressure of 1 bar over its solids; below it a bed full
// of that gas is held back. False without a rate, with several gases or none, or where a table lacks a substance.
func (r Reaction) OneBarCelsius() (float64, bool) {
	celsius, known := ownGas()[r.Name]
	return celsius, known
}

// heldBack says why a peak is too cool for a bed full of its own gas; empty where it is not.
func (r Reaction) heldBack(peak float64) string {
	celsius, known := r.OneBarCelsius()
	if !known || peak >= celsius {
		return ""
	}
	return fmt.Sprintf("%.0f C is below %.0f C, where the %s of %s comes to 1 bar: a bed full of its own gas is held back, and "+
		"no hold is sure to be enough", peak, celsius, r.Gases[0].Formula, r.Name)
}
