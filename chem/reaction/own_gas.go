package reaction

import "fmt"

// CodeOwnGas warns of a bed that never is hot enough for its own gas to leave against the air's pressure.
const CodeOwnGas = "CONVERSION_OWN_GAS"

// ownGasSource is the source of the equilibrium.
const ownGasSource = "equilibrium constant from NASA/TP-2002-211556 (library of 2021) or, for minerals that it lacks, " +
	"Am. J. Sci. 278-A (1978)"

// OneBarCelsius is the temperature at which the reaction's gas has a pressure of 1 bar over its solids; below it a bed full
// of that gas is held back. False without a rate, with several gases or none, or where a table lacks a substance.
func (r Reaction) OneBarCelsius() (float64, bool) {
	return r.Kinetics.OneBarCelsius, r.Kinetics.OneBarCelsius > 0
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
