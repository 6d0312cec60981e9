package air

import (
	"fmt"
	"math"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
)

// MolarVolumeLiters is the volume of one mole of gas at 25 C and 1 atm, as exposure limits are converted
// (footnote to 29 CFR 1910.1000 Table Z-1: "parts per million by volume at 25 C and 760 torr").
const MolarVolumeLiters = 24.45

// PPMFromMilligrams converts a concentration in mg/m3 to ppm by volume at 25 C and 1 atm.
// The molar mass is in g/mol and above zero; anything else gives an error, as does a concentration below zero.
func PPMFromMilligrams(milligramsPerCubicMeter, gramsPerMole float64) (float64, error) {
	if !(gramsPerMole > 0) || math.IsInf(gramsPerMole, 0) {
		return 0, fmt.Errorf("molar mass %v g/mol: give a number above zero", gramsPerMole)
	}
	if !(milligramsPerCubicMeter >= 0) || math.IsInf(milligramsPerCubicMeter, 0) {
		return 0, fmt.Errorf("concentration %v mg/m3: give a number of at least zero", milligramsPerCubicMeter)
	}
	return milligramsPerCubicMeter * MolarVolumeLiters / gramsPerMole, nil
}

// GramsPerMole is the molar mass of a species by its formula; an unknown formula gives chem's *FormulaError.
func GramsPerMole(species string) (float64, error) {
	if mass, ok := knownMolarMasses()[species]; ok {
		return mass, nil
	}
	formula, err := chem.ParseFormula(species)
	if err != nil {
		return 0, fmt.Errorf("species %q: %w", species, err)
	}
	return formula.MolarMass(), nil
}

// knownMolarMasses holds every formula of the limits table, so that a check under a lock parses none.
var knownMolarMasses = sync.OnceValue(func() map[string]float64 {
	masses := map[string]float64{}
	for _, row := range data.ExposureLimits() {
		if formula, err := chem.ParseFormula(row.Formula); err == nil {
			masses[row.Formula] = formula.MolarMass()
		}
	}
	return masses
})

// countedAs is the species whose limits a gas is held to: sulfur trioxide hydrates to sulfuric acid mist, mole for mole.
func countedAs(species string) string {
	if species == "SO3" {
		return "H2SO4"
	}
	return species
}

// wholePPM is a room of nothing but the gas.
const wholePPM = 1e6

// possible refuses a peak that is more gas than the room holds: the sums take the gas for thin in the air.
func possible(species string, peakPPM float64) error {
	if peakPPM <= wholePPM {
		return nil
	}
	return fault("sources", fmt.Sprintf("%s would come to %.3g ppm, and no room holds more than %.0f ppm of a gas", species, peakPPM,
		wholePPM), "look at the masses and minutes of the releases, and at the room's volume")
}
