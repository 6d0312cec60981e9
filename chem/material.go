// Package chem says what a charge is: elements, formulas, materials, recipes and the element balance of each stage.
// It is pure. Masses are grams, amounts moles, as the names say; it leaves temperature over time to chem/heat, air to
// chem/air and the release over time to chem/offgas.
package chem

// Hazard is a class of danger that a rule of the trade asks about.
type Hazard string

const (
	HazardOxidiser    Hazard = "oxidiser" // nitrate, chlorate, perchlorate, permanganate
	HazardSulfur      Hazard = "sulfur"
	HazardSulfide     Hazard = "sulfide"
	HazardCarbon      Hazard = "carbon"
	HazardMetalPowder Hazard = "metal_powder"
	HazardMetalOxide  Hazard = "metal_oxide" // a reducible oxide, dangerous with metal powder
	HazardAcid        Hazard = "acid"
	HazardSilicaDust  Hazard = "silica_dust"
	HazardToxic       Hazard = "toxic" // lead, cadmium, arsenic, mercury, beryllium, chromium(VI)
	HazardFluoride    Hazard = "fluoride"
)

// Phase is one compound in a material, by mass of the dry material.
type Phase struct {
	Formula      string  `json:"formula"`
	MassFraction float64 `json:"mass_fraction"` // (0, 1]
}

// Oxide is one line of an oxide analysis, by mass of the dry material.
type Oxide struct {
	Formula      string  `json:"formula"`
	MassFraction float64 `json:"mass_fraction"` // (0, 1]
}

// Material is something that is weighed out. It is described either by phases or by an oxide analysis, never both.
type Material struct {
	ID      string  `json:"id"`
	Version int     `json:"version"`
	Title   string  `json:"title"`
	Phases  []Phase `json:"phases"`
	Oxides  []Oxide `json:"oxides"`
	// LossOnIgnitionFraction goes with an oxide analysis and counts as water unless phases say otherwise.
	LossOnIgnitionFraction float64 `json:"loss_on_ignition_fraction"`
	// MoistureFraction is free water by mass as weighed, [0, 1).
	MoistureFraction float64 `json:"moisture_fraction"`
	// PurityFraction is the described part by mass of the dry material, (0, 1]; 0 means 1. The rest is inert.
	PurityFraction float64  `json:"purity_fraction"`
	Hazards        []Hazard `json:"hazards"`
	Source         string   `json:"source"` // where the analysis comes from
}
