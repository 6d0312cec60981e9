package heat

import (
	"fmt"
	"math"

	"saggar/chem/finding"
)

// Treatment is one heat treatment as it is asked of a furnace: the program and everything around it.
type Treatment struct {
	Program Program
	// Atmosphere empty means oxidising.
	Atmosphere Atmosphere
	// ChargeAtCelsius is the furnace's temperature when charged; up to ColdChargeCelsius it is charged cold.
	ChargeAtCelsius float64
	// OpenBelowCelsius is how cold the charge must be before opening; 0: DefaultOpenBelowCelsius. A charge set down
	// outside, or cooled open, is opened at the end of the program instead.
	OpenBelowCelsius float64
	ChargeMinutes    int // 0: DefaultChargeMinutes
	// FeedMinutes is how long an addition is fed while hot, before the hold of the hottest segment; 0: nothing is fed.
	FeedMinutes int
	// OpenMinutes is how long the cold furnace stands open before it is drawn.
	OpenMinutes    int
	MaxWaitMinutes int
	DrawMinutes    int // 0: DefaultDrawMinutes
	// FireWatch is what the recipe asks; the furnace may ask for more, never for less.
	FireWatch Watch
	// NothingComesOff says that the charge gives off nothing while it fires. Unset is the cautious end.
	NothingComesOff bool
	// ComesOffCooling says that the charge still gives something off after the program has ended.
	ComesOffCooling bool
	// SulfurChargedHot says that a batch with sulfur goes into the hot furnace.
	SulfurChargedHot bool
	// PeopleAtCharge is how many charge it; 0: one, or SulfurChargePeople for sulfur charged hot. Sulfur never less.
	PeopleAtCharge int
	ChargeGrams    float64
	// ChargeHeat is what the charge takes while it is heated, as in Conditions; empty: not counted.
	ChargeHeat []HeatUptake
	// Contents is what of Contents() the charge holds or gives off.
	Contents []string
	// ClearAfter asks for an empty oxidising burn-off after drawing, ClearMinutes at ClearAtCelsius; 0: the defaults,
	// no hotter than the furnace goes.
	ClearAfter     bool
	ClearAtCelsius float64
	ClearMinutes   int
}

// Faults lists what is wrong with a treatment by itself; those of its program come under "program.".
func (t Treatment) Faults() finding.Faults {
	var faults finding.Faults
	faults.AddUnder("program", t.Program.Faults())
	oneOf(&faults, "atmosphere", t.Atmosphere, "", Oxidising, Neutral, Reducing)
	oneOf(&faults, "fire_watch", t.FireWatch, "", WatchNone, InReach, InRoom)
	for i, content := range t.Contents {
		oneOf(&faults, fmt.Sprintf("contents[%d]", i), content, Contents()...)
	}
	inRange(&faults, "charge_at_celsius", t.ChargeAtCelsius, minCelsius, maxCelsius)
	inRange(&faults, "open_below_celsius", t.OpenBelowCelsius, 0, maxCelsius)
	inRange(&faults, "clear_at_celsius", t.ClearAtCelsius, 0, maxCelsius)
	inRange(&faults, "charge_grams", t.ChargeGrams, 0, math.MaxInt32)
	faults = append(faults, uptakeFaults(t.ChargeHeat)...)
	inRange(&faults, "people_at_charge", float64(t.PeopleAtCharge), 0, 20)
	minutes := []struct {
		field string
		value int
	}{{"charge_minutes", t.ChargeMinutes}, {"feed_minutes", t.FeedMinutes}, {"open_minutes", t.OpenMinutes},
		{"max_wait_minutes", t.MaxWaitMinutes}, {"draw_minutes", t.DrawMinutes}, {"clear_minutes", t.ClearMinutes}}
	for _, m := range minutes {
		inRange(&faults, m.field, float64(m.value), 0, maxStretchMinutes)
	}
	return faults
}

func (t Treatment) atmosphere() Atmosphere {
	if t.Atmosphere == "" {
		return Oxidising
	}
	return t.Atmosphere
}

func (t Treatment) chargedHot() bool { return t.ChargeAtCelsius > ColdChargeCelsius }

func (t Treatment) openBelow() float64 {
	if t.OpenBelowCelsius == 0 {
		return DefaultOpenBelowCelsius
	}
	return t.OpenBelowCelsius
}

// openedAt is the chamber's temperature when it is first opened after the fire.
func (t Treatment) openedAt(result Result) float64 {
	if t.Program.Cooling == SetDown || t.Program.Cooling == CoolOpen {
		return result.EndCelsius
	}
	return min(result.EndCelsius, result.OpenBelowCelsius)
}

// leftAt is the chamber's temperature when the charge is out.
func (t Treatment) leftAt(result Result) float64 {
	if t.Program.Cooling == SetDown {
		return result.EndCelsius
	}
	return min(result.EndCelsius, result.OpenBelowCelsius)
}

// fedProgram is the program with the time for feeding before the hold of its hottest segment, and that segment.
func (t Treatment) fedProgram() (Program, int) {
	fed := t.Program
	fed.Segments = append([]Segment(nil), t.Program.Segments...)
	hottest := 0
	for i, s := range fed.Segments {
		if s.ToCelsius > fed.Segments[hottest].ToCelsius {
			hottest = i
		}
	}
	fed.Segments[hottest].HoldMinutes += float64(t.FeedMinutes)
	return fed, hottest
}

// startCelsius is the temperature at which the program begins.
func (t Treatment) startCelsius(c Constants) float64 {
	if t.chargedHot() {
		return t.ChargeAtCelsius
	}
	return c.AmbientCelsius
}

// clearing is the program of the burn-off after it.
func (t Treatment) clearing(f Furnace, c Constants) Program {
	celsius, minutes := t.ClearAtCelsius, float64(t.ClearMinutes)
	if celsius == 0 {
		near := c.AmbientCelsius + 0.95*(c.FinalCelsius-c.AmbientCelsius)
		celsius = min(DefaultClearCelsius, f.TopCelsius, near)
	}
	if minutes == 0 {
		minutes = DefaultClearMinutes
	}
	return Program{Segments: []Segment{{ToCelsius: celsius, HoldMinutes: minutes}}}
}
