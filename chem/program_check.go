package chem

import (
	"fmt"
	"math"

	"saggar/chem/finding"
	"saggar/chem/heat"
)

// Bounds of a heat program.
const (
	maxSegments = 100
	// maxProgramMinutes is 14 days: a program that asks for more never ends in practice.
	maxProgramMinutes = 14 * 24 * 60
	// roomCelsius is below what any furnace is needed for; a program that never passes it does nothing.
	roomCelsius = 40
	// startCelsius is where the first ramp is taken to begin.
	startCelsius             = 20.0
	maxRateCelsiusPerHour    = 20000
	lowestRateCelsiusPerHour = 0.1
)

// CheckProgram lists every fault of a heat program: temperatures, rates and holds out of range, segments that do
// nothing, and a program that asks for more than 14 days. Whether a furnace can follow it is chem/heat's to say.
func CheckProgram(program heat.Program) finding.Faults {
	var faults finding.Faults
	switch {
	case len(program.Segments) == 0:
		faults.Add("segments", "the program has no segments", "give at least one, such as to_celsius 600")
		return faults
	case len(program.Segments) > maxSegments:
		faults.Add("segments", fmt.Sprintf("%d segments are given", len(program.Segments)),
			fmt.Sprintf("give at most %d", maxSegments))
		return faults
	}
	peak, asked := math.Inf(-1), 0.0
	from := startCelsius
	for i, segment := range program.Segments {
		path := fmt.Sprintf("segments[%d]", i)
		faults.AddUnder(path, checkSegment(segment))
		if segment.ToCelsius == from && segment.HoldMinutes == 0 {
			faults.Add(path, fmt.Sprintf("stays at %g C for no time", from), "give hold_minutes, or leave the segment out")
		}
		asked += segment.HoldMinutes
		if segment.RateCelsiusPerHour > 0 {
			asked += math.Abs(segment.ToCelsius-from) / segment.RateCelsiusPerHour * 60
		}
		from, peak = segment.ToCelsius, math.Max(peak, segment.ToCelsius)
	}
	if asked > maxProgramMinutes {
		faults.Add("segments", fmt.Sprintf("the program asks for %.0f minutes and never ends in practice", asked),
			fmt.Sprintf("shorten holds or raise rates to at most %d minutes in all", maxProgramMinutes))
	}
	if peak <= roomCelsius {
		faults.Add("segments", fmt.Sprintf("the program never passes %d C", roomCelsius), "give the temperature to fire to")
	}
	checkOneOf(&faults, "cooling", program.Cooling, []heat.Cooling{"", heat.CoolClosed, heat.CoolOpen, heat.SetDown})
	return faults
}

func checkSegment(segment heat.Segment) finding.Faults {
	var faults finding.Faults
	checkRange(&faults, "to_celsius", segment.ToCelsius, celsiusRange)
	checkRange(&faults, "hold_minutes", segment.HoldMinutes, bounds{0, maxProgramMinutes})
	if segment.RateCelsiusPerHour != 0 {
		checkRange(&faults, "rate_celsius_per_hour", segment.RateCelsiusPerHour,
			bounds{lowestRateCelsiusPerHour, maxRateCelsiusPerHour})
	}
	return faults
}
