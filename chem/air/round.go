package air

import (
	"fmt"
	"math"
	"strconv"
)

// What a cure names is given no finer than it is known. Each rounding goes to the safe side of the value.

// roundUp rounds to two figures, never below the value: for what must be at least so much.
func roundUp(x float64) float64 { return roundTo(x, math.Ceil) }

// roundDown rounds to two figures, never above the value: for what may be at most so much.
func roundDown(x float64) float64 { return roundTo(x, math.Floor) }

func roundTo(x float64, whole func(float64) float64) float64 {
	if x == 0 || !finite(x) {
		return x
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-1)
	return whole(x/unit) * unit
}

// captureUp rounds a capture up where what it lets escape has two figures, so that a capture below 1 stays below 1.
func captureUp(fraction float64) float64 {
	escapes := 1 - fraction
	if escapes < leastEscape {
		return 1
	}
	perUnit := math.Pow(10, 1-math.Floor(math.Log10(escapes)))
	return math.Round(perUnit-math.Floor(escapes*perUnit*(1+rounding))) / perUnit
}

// leastEscape is the share of a release that counts as none: no capture is known so well.
const leastEscape = 1e-9

// captureWorded is a capture for reading: two decimals, or as many as it has.
func captureWorded(fraction float64) string {
	short, whole := strconv.FormatFloat(fraction, 'f', 2, 64), strconv.FormatFloat(fraction, 'f', -1, 64)
	if len(whole) > len(short) {
		return whole
	}
	return short
}

// worded is a concentration for reading: in ppm, for a species whose limits are set by mass in mg/m3.
func worded(species string, ppm float64) string {
	value, unit := Shown(species, ppm)
	return threeFigures(value) + " " + unit
}

// Shown is a concentration in ppm as it is shown: for a species whose limits are set by mass alone (dust, fume, mist) in
// mg/m3, else in ppm.
func Shown(species string, ppm float64) (value float64, unit string) {
	gramsPerMole, err := GramsPerMole(countedAs(species))
	if err != nil || !LimitedByMass(species) {
		return ppm, "ppm"
	}
	return ppm * gramsPerMole / MolarVolumeLiters, "mg/m3"
}

// threeFigures rounds to three figures, thousands without an exponent.
func threeFigures(x float64) string {
	if math.Abs(x) < 1000 || !finite(x) {
		return fmt.Sprintf("%.3g", x)
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-2)
	return fmt.Sprintf("%.0f", math.Round(x/unit)*unit)
}
