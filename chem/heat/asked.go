package heat

import (
	"fmt"
)

// Asked is a program's temperature over time as it asks for it, from a start temperature to the end of its last hold, on a
// furnace that follows whatever it is told. Errors: finding.Faults of the program, of "start_celsius", and of a segment at full
// power, which only a furnace has.
func (p Program) Asked(startCelsius float64) ([]Point, error) {
	faults := p.Faults()
	inRange(&faults, "start_celsius", startCelsius, minCelsius, maxCelsius)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	profile := []Point{{Celsius: startCelsius}}
	add := func(minutes, celsius float64) {
		if minutes > 0 {
			profile = append(profile, Point{Minute: profile[len(profile)-1].Minute + minutes, Celsius: celsius})
		}
	}
	celsius := startCelsius
	for i, s := range p.Segments {
		if s.RateCelsiusPerHour == 0 && s.ToCelsius != celsius {
			faults.Add(fmt.Sprintf("segments[%d].rate_celsius_per_hour", i), "a segment at full power takes as long as a furnace needs",
				"give a rate, or the furnace")
			continue
		}
		add(askedRampMinutes(celsius, s), s.ToCelsius)
		add(s.HoldMinutes, s.ToCelsius)
		celsius = s.ToCelsius
	}
	if minutes := profile[len(profile)-1].Minute; minutes > maxProgramMinutes {
		faults.Add("segments", fmt.Sprintf("the program takes %.0f minutes", minutes), fmt.Sprintf("give at most %.0f in all", maxProgramMinutes))
	}
	return profile, faults.Err()
}
