package domain

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// GearKind is what a piece of gear protects.
type GearKind string

// The kinds of gear.
const (
	Respirator GearKind = "respirator"
	Goggles    GearKind = "goggles"
	FaceShield GearKind = "face_shield"
	Gloves     GearKind = "gloves"
	Suit       GearKind = "suit"
)

// Gear is what somebody wears at an open furnace: one piece, or several like ones.
type Gear struct {
	ID    string   `json:"id"`
	Title string   `json:"title,omitempty"`
	Kind  GearKind `json:"kind"`
	// Class of a respirator, as in 29 CFR 1910.134 Table 1: type, mode and facepiece joined by slashes.
	Class    string `json:"class,omitempty"`
	Count    int    `json:"count"`               // of like pieces; 0: one
	FittedTo string `json:"fitted_to,omitempty"` // who alone wears it; empty: shared
	// CartridgeGases are what its cartridge takes; none: it has no cartridge.
	CartridgeGases []string `json:"cartridge_gases,omitempty"`
	CartridgeHours float64  `json:"cartridge_hours,omitempty"` // how long it may be used
	// UsedHours is how long it had been used at UsedTime; zero time: every booked use counts.
	UsedHours   float64   `json:"used_hours,omitempty"`
	UsedTime    time.Time `json:"used_time,omitzero"`
	InstalledOn string    `json:"installed_on,omitempty"` // YYYY-MM-DD
	OutOfUse    bool      `json:"out_of_use,omitempty"`
	// SpentHours is how long its cartridge has been used by now, and BookedHours with everything that is booked, where it is shown.
	SpentHours  float64 `json:"-"`
	BookedHours float64 `json:"-"`
}

// Items is how many there are.
func (g Gear) Items() int { return max(g.Count, 1) }

// Filters reports whether it cleans the air that is there, so that it is worth what its cartridge is.
func (g Gear) Filters() bool {
	return strings.HasPrefix(g.Class, "air_purifying/") || strings.HasPrefix(g.Class, "papr/")
}

// Words say what it is.
func (g Gear) Words() string {
	words := fmt.Sprintf("%s (%s", g.ID, strings.ReplaceAll(string(g.Kind), "_", " "))
	if g.Class != "" {
		words += " " + g.Class
	}
	if len(g.CartridgeGases) > 0 {
		words += ", cartridge for " + strings.Join(g.CartridgeGases, ", ")
	}
	return words + ")"
}

// Check returns what is wrong with gear by itself, at the instant when it is recorded.
func (g Gear) Check(now time.Time) finding.Faults {
	var faults finding.Faults
	known := slices.ContainsFunc(data.ProtectionFactors(), func(f data.ProtectionFactor) bool { return g.Class == f.Class() })
	switch {
	case g.Kind == Respirator && !known:
		faults.Add("respirator_class", fmt.Sprintf("%q is no class of respirator", g.Class),
			"give type, mode and facepiece such as air_purifying/negative pressure/full_facepiece")
	case g.Kind != Respirator && g.Class != "":
		faults.Add("respirator_class", "only a respirator has a class", "leave it out")
	}
	switch cartridge := len(g.CartridgeGases) > 0; {
	case cartridge && !g.Filters():
		faults.Add("cartridge_gases", "only what cleans the air has a cartridge", "leave it out")
	case cartridge && !(g.CartridgeHours > 0):
		faults.Add("cartridge_hours", "for how long the cartridge may be used is not said", "give hours as its maker states them")
	case cartridge && g.Items() > 1:
		faults.Add("count", fmt.Sprintf("%d cartridges cannot be counted as one", g.Count), "give each a resource of its own")
	case !cartridge && g.CartridgeHours > 0:
		faults.Add("cartridge_gases", "hours are given without the gases that the cartridge takes", "name them, such as SO2")
	}
	if g.FittedTo != "" && g.Items() > 1 {
		faults.Add("count", "several are fitted to one person", "give one, or leave fitted_to out")
	}
	checkDate(&faults, "installed_on", g.InstalledOn)
	checkRecorded(&faults, "used_time", g.UsedTime, now)
	return faults
}
