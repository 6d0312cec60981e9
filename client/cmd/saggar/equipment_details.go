package main

import (
	"cmp"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// never is shown for a date of something that was not done yet.
const never = "never"

// roomDetails are where a room's air goes, and its alarms.
func roomDetails(m proto.Message) []render.Grid {
	room := m.(*saggarv1.Room)
	transfers := render.Grid{Title: "Air given to other rooms", Columns: []string{"to room", "m3/s"}}
	for _, t := range room.GetTransfers() {
		transfers.Rows = append(transfers.Rows, []string{t.GetToRoom(), render.Number(t.GetCubicMetersPerSecond())})
	}
	detectors := render.Grid{Title: "Detectors", Columns: []string{"species", "tested on"}}
	for _, d := range room.GetDetectors() {
		detectors.Rows = append(detectors.Rows, []string{d.GetSpecies(), cmp.Or(d.GetTestedOn(), never)})
	}
	contact := render.Grid{Columns: []string{"call"}, Rows: [][]string{{cmp.Or(room.GetEmergencyContact(), "not recorded")}}}
	return []render.Grid{transfers, detectors, contact}
}

// circuitDetails are the branches of a circuit with their measurements.
func circuitDetails(m proto.Message) []render.Grid {
	grid := render.Grid{Title: "Branches", Columns: []string{"branch", "room", "m3/s", "measured on", "damper", "how"}}
	for _, b := range m.(*saggarv1.ExtractionCircuit).GetBranches() {
		grid.Rows = append(grid.Rows, []string{
			b.GetId(), b.GetRoom(), render.Number(b.GetCubicMetersPerSecond()), cmp.Or(b.GetMeasuredOn(), never),
			b.GetDamperPosition(), b.GetMethod(),
		})
	}
	return []render.Grid{grid}
}

// furnaceDetails are what decides about a furnace besides its size: what it takes and how it was measured. Those that are
// about heat have no meaning at a bench.
func furnaceDetails(m proto.Message) []render.Grid {
	f := m.(*saggarv1.Furnace)
	facts := render.Grid{Columns: []string{"what", "value"}, Rows: [][]string{
		{"branch", cmp.Or(f.GetBranch(), "none")}, {"capture", captureWords(f.GetCapture())},
	}}
	if f.GetSource() != saggarv1.HeatSource_HEAT_SOURCE_BENCH {
		facts.Rows = append(facts.Rows, heatFacts(f)...)
	}
	times := render.Grid{Title: "Measured times", Columns: []string{"what", "from C", "to C", "min"}}
	times.Rows = append(timingRows("heating", f.GetHeatingTimes()), timingRows("cooling", f.GetCoolingTimes())...)
	steps := render.Grid{Title: "To stop it"}
	for i, step := range f.GetStopSteps() {
		steps.Rows = append(steps.Rows, paragraph("", fmt.Sprintf("%d. %s", i+1, step))...)
	}
	if len(steps.Rows) == 0 {
		steps = render.Grid{}
	}
	return []render.Grid{facts, times, steps}
}

func heatFacts(f *saggarv1.Furnace) [][]string {
	var atmospheres []string
	for _, a := range f.GetAtmospheres() {
		atmospheres = append(atmospheres, words(a))
	}
	net := "not stated"
	if f.GetNetKilowatts() > 0 {
		net = render.Number(f.GetNetKilowatts()) + " kW"
	}
	return [][]string{
		{"atmospheres", cmp.Or(strings.Join(atmospheres, ", "), "oxidising")},
		{"excludes", cmp.Or(strings.ReplaceAll(strings.Join(f.GetExcludes(), ", "), "_", " "), "nothing")},
		{"into the chamber", net}, {"control", cmp.Or(words(f.GetControl()), "not stated")},
		{"cut-out of its own", yes(f.GetOverTemperatureCutOut())},
	}
}

func timingRows(what string, timings []*saggarv1.Timing) [][]string {
	var rows [][]string
	for _, t := range timings {
		rows = append(rows, []string{
			what, render.Number(t.GetFromCelsius()), render.Number(t.GetToCelsius()), render.Number(t.GetMinutes()),
		})
	}
	return rows
}

// captureWords say what a branch draws away, and how that is known; what was not measured counts as nothing.
func captureWords(c *saggarv1.Capture) string {
	if c.GetMethod() == "" {
		return "not measured, counts as 0"
	}
	open := "half of that"
	if c.GetDoorOpenFraction() > 0 {
		open = render.Number(c.GetDoorOpenFraction())
	}
	return fmt.Sprintf("%s closed, %s with the door open; by %s, %s", render.Number(c.GetClosedFraction()), open, c.GetMethod(),
		cmp.Or(c.GetMeasuredOn(), never))
}
