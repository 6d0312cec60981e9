package air

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem/finding"
	"saggar/chem/heat"
)

// commonPractice marks a rule that no source backs.
const commonPractice = "common practice, no source"

// RoomFlow is the flow of fresh air through a room in m3/s: the lesser of its make-up air and of what the branches of
// the given circuits draw from this room. A recirculating circuit counts as nothing, a circuit's other branches count
// for their own rooms only. Give the circuits that run; stopped ones are left out by the caller. Air given to another
// room is not counted: the cautious end.
func RoomFlow(room Room, circuits []Circuit) float64 {
	return min(room.MakeUpCubicMetersPerSecond, drawn(room, circuits))
}

func drawn(room Room, circuits []Circuit) float64 {
	total := 0.0
	for _, circuit := range circuits {
		if circuit.Recirculating {
			continue
		}
		for _, branch := range circuit.Branches {
			if branch.Room == room.ID {
				total += branch.CubicMetersPerSecond
			}
		}
	}
	return total
}

// extractionFindings warns of a room without any flow of fresh air in which something is given off: what escapes stays.
func (c *RoomCheck) extractionFindings() []finding.Finding {
	if slices.ContainsFunc(c.Zone.Flow, func(s FlowStep) bool { return s.CubicMetersPerSecond > 0 }) {
		return nil
	}
	var released []string
	for _, source := range c.Sources {
		for _, r := range source.Releases {
			if r.GramsPerMinute > 0 && !slices.Contains(harmless, r.Species) && !slices.Contains(released, r.Species) {
				released = append(released, r.Species)
			}
		}
	}
	if len(released) == 0 {
		return nil
	}
	slices.Sort(released)
	return []finding.Finding{{
		Severity: finding.Warn, Code: "AIR_NO_EXTRACTION", About: c.Zone.ID,
		Message: fmt.Sprintf("%s is given off in %s, through which no fresh air flows: what escapes stays there",
			strings.Join(released, ", "), c.Zone.name()),
		Figures: []finding.Figure{{Name: "flow", Value: 0, Unit: "m3/s"}},
		Cure:    "extraction that draws from the room to the outside, with make-up air for it, measured",
		Source:  commonPractice,
	}}
}

// Spillage refuses extraction above make-up air in a room with a flue of natural draught: the fan then draws the
// flue's gas back into the room. Air that the room gives to others counts as drawn; air from others is not credited.
func Spillage(room Room, circuits []Circuit, naturalDraughtFlue bool) []finding.Finding {
	out := drawn(room, circuits)
	for _, transfer := range room.Transfers {
		out += transfer.CubicMetersPerSecond
	}
	if !naturalDraughtFlue || out <= room.MakeUpCubicMetersPerSecond {
		return nil
	}
	return []finding.Finding{{
		Severity: finding.Block, Code: "AIR_FLUE_SPILLAGE", Field: "make_up_cubic_meters_per_second", About: room.ID,
		Message: fmt.Sprintf("extraction of %.3g m3/s exceeds make-up air of %.3g m3/s beside a flue of natural draught: "+
			"flue gas would be drawn into the room", out, room.MakeUpCubicMetersPerSecond),
		Figures: []finding.Figure{
			{Name: "extraction", Value: out, Unit: "m3/s"},
			{Name: "make_up", Value: room.MakeUpCubicMetersPerSecond, Unit: "m3/s"},
		},
		Cure:   fmt.Sprintf("make-up air of at least %.3g m3/s, or a fan-driven flue, or less extraction", roundUp(out)),
		Source: commonPractice,
	}}
}

// Shares of capture where the measurement does not say (common practice, no source).
const (
	smokeCaptureAtMost    = 0.5
	doorOpenShareOfClosed = 0.5
)

// EffectiveCapture is what may be counted on of a measured capture, closed and with the door open: nothing when it was
// never measured, at most half when it was seen with smoke only, and with the door open half of closed unless that
// was measured too (a door-open share of zero counts as not measured).
func EffectiveCapture(capture heat.Capture) (closed, doorOpen float64) {
	if capture.Method == "" || capture.MeasuredOn == "" {
		return 0, 0
	}
	closed, doorOpen = clampShare(capture.ClosedFraction), clampShare(capture.DoorOpenFraction)
	if doorOpen == 0 {
		doorOpen = doorOpenShareOfClosed * closed
	}
	if capture.Method == "smoke" {
		closed, doorOpen = min(closed, smokeCaptureAtMost), min(doorOpen, smokeCaptureAtMost)
	}
	return closed, doorOpen
}

// clampShare counts anything outside [0, 1], also NaN, at the cautious end of it.
func clampShare(share float64) float64 {
	if !(share > 0) {
		return 0
	}
	return min(share, 1)
}

// Measurement is a flow or a capture that a sum rests on, and when it was measured.
type Measurement struct {
	About      string // the branch's or furnace's identifier
	Quantity   string // "flow" or "capture"
	MeasuredOn string // ISO date, empty when never
}

// OldMeasurements warns of each measurement that was taken more than a year before the date, or never (common
// practice). Dates are ISO, such as "2026-03-31"; one that cannot be read counts as never. A date that cannot be read
// is an error.
func OldMeasurements(measurements []Measurement, onDate string) ([]finding.Finding, error) {
	on, err := parseDate("on_date", onDate)
	if err != nil {
		return nil, err
	}
	var findings []finding.Finding
	for _, m := range measurements {
		measured, err := time.Parse(time.DateOnly, m.MeasuredOn)
		if err == nil && !measured.AddDate(1, 0, 0).Before(on) {
			continue
		}
		message := fmt.Sprintf("the %s of %s was never measured", m.Quantity, m.About)
		if err == nil {
			message = fmt.Sprintf("the %s of %s was measured on %s, more than a year before %s",
				m.Quantity, m.About, m.MeasuredOn, onDate)
		}
		findings = append(findings, finding.Finding{
			Severity: finding.Warn, Code: "AIR_MEASUREMENT_OLD", Field: "measured_on", About: m.About,
			Message: message, Cure: "measure it again and note the date", Source: commonPractice,
		})
	}
	return findings, nil
}

func parseDate(field, text string) (time.Time, error) {
	date, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return time.Time{}, fault(field, fmt.Sprintf("%q is no date", text), "give one such as 2026-03-31")
	}
	return date, nil
}
