package chem

import (
	"math"

	"saggar/chem/heat"
)

// temperatures over time are what a heat treatment asks for at the thermocouple, from the charge on and without the cooling;
// nil for bench work.
func (s Stage) temperatures() []heat.Point {
	if s.Program == nil {
		return nil
	}
	at := heat.Point{Celsius: max(startCelsius, s.ChargeAtCelsius)}
	points := []heat.Point{at}
	for _, segment := range s.Program.Segments {
		rate := segment.RateCelsiusPerHour
		if rate == 0 {
			rate = FullPowerCelsiusPerHour
		}
		at.Minute += 60 * math.Abs(segment.ToCelsius-at.Celsius) / rate
		at.Celsius = segment.ToCelsius
		points = append(points, at)
		at.Minute += segment.HoldMinutes
		points = append(points, at)
	}
	return points
}
