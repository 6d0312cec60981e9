package chem

import (
	"fmt"
	"math"

	"saggar/chem/finding"
	"saggar/chem/heat"
)

// Bounds of a recipe's heat program, beyond those that chem/heat sets for any.
const (
	// maxProgramMinutes is 14 days: a program that asks for more never ends in practice.
	maxProgramMinutes = 14 * 24 * 60
	// roomCelsius is below what any furnace is needed for; a program that never passes it does nothing.
	roomCelsius = 40
	// startCelsius is where the first ramp is taken to begin.
	startCelsius = 20.0
)

// checkProgram lists every fault of a heat program: what chem/heat refuses, segments that do nothing, and a program that
// never passes 40 C or asks for more than 14 days.
func checkProgram(program heat.Program) finding.Faults {
	faults := program.Faults()
	if len(program.Segments) == 0 {
		return faults
	}
	peak, asked, from := math.Inf(-1), 0.0, startCelsius
	for i, segment := range program.Segments {
		if segment.ToCelsius == from && segment.HoldMinutes == 0 {
			faults.Add(fmt.Sprintf("segments[%d]", i), fmt.Sprintf("stays at %g C for no time", from),
				"give hold_minutes, or leave the segment out")
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
	return faults
}
