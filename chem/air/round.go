package air

import "math"

// roundUp rounds to three figures, never below the value: for what must be at least so much.
func roundUp(x float64) float64 { return roundTo(x, math.Ceil) }

// roundDown rounds to three figures, never above the value: for what may be at most so much.
func roundDown(x float64) float64 { return roundTo(x, math.Floor) }

func roundTo(x float64, whole func(float64) float64) float64 {
	if x == 0 || !finite(x) {
		return x
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-2)
	return whole(x/unit) * unit
}
