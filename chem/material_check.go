package chem

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

// Bounds of a material's analysis.
const (
	maxAnalysisLines  = 60
	fractionRounding  = 1e-6
	leastMassFraction = 1e-9 // no analysis sees less, and sums over it would be rounding
	maxSourceRunes    = 500
	// analysisTolerance is how far an oxide analysis with its loss on ignition, or the parts of a mixture, may be from
	// adding up to 1; within it they are scaled to 1. Common practice, no source.
	analysisTolerance = 0.02
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
	for i, hazard := range m.Hazards {
		if !slices.Contains(hazards, hazard) {
			faults.Add(fmt.Sprintf("hazards[%d]", i), fmt.Sprintf("%q is no hazard", shortened(string(hazard))),
				fmt.Sprintf("use one of %v", hazards))
		}
	}
	m.checkWay(&faults)
	m.checkPhases(&faults)
	m.checkOxides(&faults)
	m.checkParts(&faults)
	m.checkLoss(&faults)
	return faults
}

// checkWay sees to it that the material is described in exactly one way.
func (m Material) checkWay(faults *finding.Faults) {
	ways := 0
	for _, given := range []int{len(m.Phases), len(m.Oxides), len(m.Parts)} {
		if given > 0 {
			ways++
		}
		if given > maxAnalysisLines {
			faults.Add("phases", fmt.Sprintf("more than %d lines of analysis", maxAnalysisLines), "leave out the traces")
		}
	}
	switch {
	case ways > 1:
		faults.Add("oxides", "more than one of phases, oxides and parts is given", "give one of the three")
	case ways == 0:
		faults.Add("phases", "none of phases, oxides and parts is given",
			"give at least one phase, such as formula CaCO3 with mass_fraction 1")
	}
}

func (m Material) checkPhases(faults *finding.Faults) {
	sum := 0.0
	for i, phase := range m.Phases {
		sum += phase.MassFraction
		checkLine(faults, fmt.Sprintf("phases[%d]", i), phase)
	}
	if sum > 1+fractionRounding {
		faults.Add("phases", fmt.Sprintf("the mass fractions sum to %g, above 1", sum), "give fractions of the dry mass")
	}
}

// checkOxides holds an analysis to adding up: to 1, or to the purity when it lists the described part alone.
func (m Material) checkOxides(faults *finding.Faults) {
	sum := m.LossOnIgnitionFraction
	for i, oxide := range m.Oxides {
		sum += oxide.MassFraction
		checkLine(faults, fmt.Sprintf("oxides[%d]", i), Phase(oxide))
	}
	if len(m.Oxides) > 0 && !addsUp(sum, 1) && !addsUp(sum, m.purity()) {
		faults.Add("oxides", fmt.Sprintf("the analysis with its loss on ignition sums to %g", sum),
			fmt.Sprintf("give fractions of the dry mass that sum to between %g and %g, or give purity_fraction for what the "+
				"analysis leaves open", 1-analysisTolerance, 1+analysisTolerance))
	}
}

// addsUp reports whether a sum is within the tolerance of what it should be; not for NaN.
func addsUp(sum, to float64) bool { return math.Abs(sum-to) <= analysisTolerance+fractionRounding }

func (m Material) purity() float64 {
	if m.PurityFraction == 0 {
		return 1
	}
	return m.PurityFraction
}

func (m Material) checkParts(faults *finding.Faults) {
	sum := 0.0
	for i, part := range m.Parts {
		path := fmt.Sprintf("parts[%d]", i)
		sum += part.MassFraction
		CheckID(faults, path+".material", part.Material)
		checkShare(faults, path+".mass_fraction", part.MassFraction)
	}
	if len(m.Parts) > 0 && !addsUp(sum, 1) {
		faults.Add("parts", fmt.Sprintf("the mass fractions sum to %g", sum),
			fmt.Sprintf("give fractions of the mass as weighed that sum to between %g and %g", 1-analysisTolerance,
				1+analysisTolerance))
	}
	if m.IsMixture() && m.PurityFraction != 0 {
		faults.Add("purity_fraction", "a mixture has the purity of its parts", "give it at the parts' own materials")
	}
}

// checkLoss checks the loss on ignition and what it is said to consist of.
func (m Material) checkLoss(faults *finding.Faults) {
	named := 0.0
	for _, line := range m.lossLines() {
		checkRange(faults, line.field, line.fraction, bounds{0, 1})
		named += line.fraction
	}
	checkRange(faults, "loss_on_ignition_fraction", m.LossOnIgnitionFraction, bounds{0, 1})
	if named > m.LossOnIgnitionFraction+fractionRounding {
		faults.Add("loss_on_ignition_fraction", fmt.Sprintf("its parts sum to %g, above its %g", named, m.LossOnIgnitionFraction),
			"give each part by mass of the dry material, together at most the whole loss")
	}
	if m.LossOnIgnitionFraction > 0 && len(m.Oxides) == 0 {
		faults.Add("loss_on_ignition_fraction", "there is no oxide analysis that it goes with",
			"leave it out: phases and parts say by themselves what leaves")
	}
}

// lossLine is one kind of what leaves on ignition, by mass of the dry material.
type lossLine struct {
	field, formula string
	fraction       float64
}

func (m Material) lossLines() []lossLine {
	return []lossLine{
		{"loss_on_ignition_water_fraction", "H2O", m.LossOnIgnitionWaterFraction},
		{"loss_on_ignition_carbon_dioxide_fraction", "CO2", m.LossOnIgnitionCarbonDioxideFraction},
		{"loss_on_ignition_organic_fraction", organicMatter, m.LossOnIgnitionOrganicFraction},
	}
}

// organicMatter is what organic loss on ignition counts as; see LossOnIgnitionOrganicFraction.
const organicMatter = "CH2"

func checkLine(faults *finding.Faults, path string, line Phase) {
	if _, err := ParseFormula(line.Formula); err != nil {
		faults.Add(path+".formula", err.Error(), "write the elements' symbols with their counts, such as Al2O3 or CaSO4.2H2O")
	}
	checkShare(faults, path+".mass_fraction", line.MassFraction)
}

func checkShare(faults *finding.Faults, field string, fraction float64) {
	if !(fraction >= leastMassFraction && fraction <= 1) {
		faults.Add(field, fmt.Sprintf("%g is not between %g and 1", fraction, leastMassFraction),
			"give the share by mass, 0.25 for 25 %, or leave the line out")
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
