package air

import (
	"fmt"
	"math"
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

// captureUp rounds a capture up to two decimals, at most to all of it.
func captureUp(fraction float64) float64 {
	return min(1, math.Ceil(fraction*100*(1-rounding))/100)
}

// worded is a concentration for reading: in ppm, for a species whose limits are set by mass in mg/m3 first.
func worded(species string, ppm float64) string {
	gramsPerMole, err := GramsPerMole(species)
	if err != nil || !limitedByMass(species) {
		return threeFigures(ppm) + " ppm"
	}
	return fmt.Sprintf("%s mg/m3 (%s ppm)", threeFigures(ppm*gramsPerMole/MolarVolumeLiters), threeFigures(ppm))
}

// threeFigures rounds to three figures, thousands without an exponent.
func threeFigures(x float64) string {
	if math.Abs(x) < 1000 || !finite(x) {
		return fmt.Sprintf("%.3g", x)
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-2)
	return fmt.Sprintf("%.0f", math.Round(x/unit)*unit)
}
