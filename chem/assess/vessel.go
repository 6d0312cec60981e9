package assess

import (
	"cmp"
	"fmt"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// Codes of the findings about the vessel of a charge.
const (
	// CodeVesselTooHot refuses a program that is hotter than the vessel takes.
	CodeVesselTooHot = "VESSEL_TOO_HOT"
	// CodeVesselNearTop notes one that may become so by the furnace's tolerance.
	CodeVesselNearTop = "VESSEL_NEAR_TOP"
)

// ofVessel is whose figure a finding about a vessel rests on.
const ofVessel = "the top temperature stated for the vessel"

func vesselName(v chem.Vessel) string { return string(cmp.Or(v.Kind, "vessel")) }

// overheated finds a stage hotter than its vessel takes, whatever it is fired in. A vessel without a figure is not judged.
func (c Charge) overheated(index int) []finding.Finding {
	stage, peak := c.Recipe.Stages[index], c.Balance.Stages[index].PeakCelsius
	top := stage.Vessel.TopCelsius
	if top == 0 || peak <= top {
		return nil
	}
	return []finding.Finding{{
		Severity: finding.Block, Code: CodeVesselTooHot, Field: stagePath(index) + ".vessel.top_celsius", About: stage.ID,
		Message: fmt.Sprintf("stage %s fires to %g C, its %s takes at most %g C", stage.ID, peak, vesselName(stage.Vessel), top),
		Figures: []finding.Figure{{Name: "peak", Value: peak, Unit: "C"}, {Name: "top", Value: top, Unit: "C"}},
		Cure:    fmt.Sprintf("fire to at most %g C, or use a %s that takes %g C", top, vesselName(stage.Vessel), peak),
		Source:  ofVessel,
	}}
}

// nearTop notes a program within the furnace's tolerance of what the vessel takes.
func nearTop(stage chem.Stage, peak float64, furnace heat.Furnace, path string) []finding.Finding {
	top := stage.Vessel.TopCelsius
	if top == 0 || peak > top || peak+furnace.ToleranceCelsius <= top {
		return nil
	}
	return []finding.Finding{{
		Severity: finding.Note, Code: CodeVesselNearTop, Field: path + ".vessel.top_celsius", About: furnace.ID,
		Message: fmt.Sprintf("%s: %g C with a tolerance of %g C may pass what the %s of stage %s takes, %g C", furnace.ID, peak,
			furnace.ToleranceCelsius, vesselName(stage.Vessel), stage.ID, top),
		Figures: []finding.Figure{
			{Name: "peak", Value: peak, Unit: "C"}, {Name: "tolerance", Value: furnace.ToleranceCelsius, Unit: "C"},
			{Name: "top", Value: top, Unit: "C"},
		},
		Cure: fmt.Sprintf("fire to at most %g C", top-furnace.ToleranceCelsius), Source: ofVessel,
	}}
}
