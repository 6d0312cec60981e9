package chem

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

// Bounds of a material's analysis. An oxide analysis rarely sums to 1; it is normalised within these.
const (
	maxAnalysisLines   = 60
	lowestAnalysisSum  = 0.9
	highestAnalysisSum = 1.1
	fractionRounding   = 1e-6
	leastMassFraction  = 1e-9 // no analysis sees less, and sums over it would be rounding
	maxSourceRunes     = 500
)

var hazards = []Hazard{HazardOxidiser, HazardSulfur, HazardSulfide, HazardCarbon, HazardMetalPowder, HazardMetalOxide,
	HazardAcid, HazardSilicaDust, HazardToxic, HazardFluoride}

// Validate lists every fault of the material by the path of its field.
func (m Material) Validate() finding.Faults {
	var faults finding.Faults
	CheckID(&faults, "id", m.ID)
	CheckTitle(&faults, "title", m.Title)
	if len(m.Source) > maxSourceRunes {
		faults.Add("source", fmt.Sprintf("is %d bytes long", len(m.Source)), fmt.Sprintf("use at most %d", maxSourceRunes))
	}
	if !(m.MoistureFraction >= 0 && m.MoistureFraction < 1) {
		faults.Add("moisture_fraction", fmt.Sprintf("%g is not in [0, 1)", m.MoistureFraction),
			"give the water by mass as weighed, 0.02 for 2 %")
	}
	checkRange(&faults, "purity_fraction", m.PurityFraction, bounds{0, 1})
	checkRange(&faults, "loss_on_ignition_fraction", m.LossOnIgnitionFraction, bounds{0, 1})
	for i, hazard := range m.Hazards {
		if !slices.Contains(hazards, hazard) {
			faults.Add(fmt.Sprintf("hazards[%d]", i), fmt.Sprintf("%q is no hazard", shortened(string(hazard))),
				fmt.Sprintf("use one of %v", hazards))
		}
	}
	m.checkAnalysis(&faults)
	return faults
}

func (m Material) checkAnalysis(faults *finding.Faults) {
	switch {
	case len(m.Phases) > 0 && len(m.Oxides) > 0:
		faults.Add("oxides", "both phases and an oxide analysis are given", "give one of the two")
	case len(m.Phases) == 0 && len(m.Oxides) == 0:
		faults.Add("phases", "neither phases nor an oxide analysis is given",
			"give at least one phase, such as formula CaCO3 with mass_fraction 1")
	case len(m.Phases) > maxAnalysisLines || len(m.Oxides) > maxAnalysisLines:
		faults.Add("phases", fmt.Sprintf("more than %d lines of analysis", maxAnalysisLines), "leave out the traces")
	}
	phases, oxides := 0.0, m.LossOnIgnitionFraction
	for i, phase := range m.Phases {
		phases += phase.MassFraction
		checkLine(faults, fmt.Sprintf("phases[%d]", i), phase)
	}
	for i, oxide := range m.Oxides {
		oxides += oxide.MassFraction
		checkLine(faults, fmt.Sprintf("oxides[%d]", i), Phase(oxide))
	}
	if phases > 1+fractionRounding {
		faults.Add("phases", fmt.Sprintf("the mass fractions sum to %g, above 1", phases), "give fractions of the dry mass")
	}
	if len(m.Oxides) > 0 && !(oxides >= lowestAnalysisSum && oxides <= highestAnalysisSum) {
		faults.Add("oxides", fmt.Sprintf("the analysis with its loss on ignition sums to %g", oxides),
			fmt.Sprintf("give fractions of the dry mass that sum to between %g and %g", lowestAnalysisSum, highestAnalysisSum))
	}
}

func checkLine(faults *finding.Faults, path string, line Phase) {
	if _, err := ParseFormula(line.Formula); err != nil {
		faults.Add(path+".formula", err.Error(), "")
	}
	if !(line.MassFraction >= leastMassFraction && line.MassFraction <= 1) {
		faults.Add(path+".mass_fraction", fmt.Sprintf("%g is not between %g and 1", line.MassFraction, leastMassFraction),
			"give the share of the dry mass, 0.25 for 25 %, or leave the line out")
	}
}

// checkMass notes a mass that is no number, below the bound or absurdly large.
func checkMass(faults *finding.Faults, field string, grams float64) {
	if math.IsNaN(grams) || grams < 0 || grams > maxMassGrams {
		faults.Add(field, fmt.Sprintf("%g g is not between 0 and %g g", grams, maxMassGrams), "give grams")
	}
}

// maxMassGrams is ten tonnes: no studio fires more in one go.
const maxMassGrams = 1e7
