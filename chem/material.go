// Package chem says what a charge is: elements, formulas, materials, recipes and the element balance of each stage.
// It is pure. Masses are grams, amounts moles, as the names say; it leaves temperature over time to chem/heat, air to
// chem/air and the release over time to chem/offgas.
package chem

import "slices"

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

// Hazards lists every class that a material can declare, each once.
func Hazards() []Hazard { return slices.Clone(hazards) }

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

// MixturePart is one material in a mixture of several.
type MixturePart struct {
	// Material is the id of the part, in the same studio; it may be a mixture itself.
	Material string `json:"material"`
	// MassFraction is by mass as weighed, moist and impure, (0, 1].
	MassFraction float64 `json:"mass_fraction"`
}

// Material is something that is weighed out. It is described in exactly one of three ways: by phases, by an oxide analysis
// with its loss on ignition, or as a mixture of other materials, each with a moisture and purity of its own.
type Material struct {
	ID      string `json:"id"`
	Version int    `json:"version"`
	Title   string `json:"title"`
	// Phases are what the material really consists of: soda ash that has taken up water is part Na2CO3, part Na2CO3*H2O.
	Phases []Phase       `json:"phases"`
	Oxides []Oxide       `json:"oxides"`
	Parts  []MixturePart `json:"parts"`
	// LossOnIgnitionFraction goes with an oxide analysis, by mass of the dry material. What of it the three fractions below
	// do not name counts as water.
	LossOnIgnitionFraction              float64 `json:"loss_on_ignition_fraction"`
	LossOnIgnitionWaterFraction         float64 `json:"loss_on_ignition_water_fraction"`
	LossOnIgnitionCarbonDioxideFraction float64 `json:"loss_on_ignition_carbon_dioxide_fraction"`
	// LossOnIgnitionOrganicFraction counts as CH2: of what binders, waxes and lignite hold, that is the richest in carbon, so
	// the carbon oxides are at the cautious end (common practice, no source).
	LossOnIgnitionOrganicFraction float64 `json:"loss_on_ignition_organic_fraction"`
	// MoistureFraction is free water by mass as weighed, [0, 1). A mixture has it besides the moisture of its parts, whose
	// fractions are then of what is not this water.
	MoistureFraction float64 `json:"moisture_fraction"`
	// PurityFraction is the described part by mass of the dry material, (0, 1]; 0 means 1. The rest is inert. The parts of a
	// mixture have their own.
	PurityFraction float64  `json:"purity_fraction"`
	Hazards        []Hazard `json:"hazards"`
	Source         string   `json:"source"` // where the analysis comes from
}

// IsMixture reports whether the material is described by other materials.
func (m Material) IsMixture() bool { return len(m.Parts) > 0 }
