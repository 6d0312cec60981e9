package chem

import "fmt"

// Amount is moles of one compound.
type Amount struct {
	Formula Formula
	Moles   float64
}

// Grams is the amount's mass.
func (a Amount) Grams() float64 { return a.Moles * a.Formula.MolarMass() }

// Breakdown is what a weighed-out mass of a material consists of.
type Breakdown struct {
	// Phases are the compounds of the dry material; an oxide analysis gives its oxides, and its loss on ignition as H2O.
	Phases []Amount
	// FreeWaterGrams is the moisture, not part of any phase.
	FreeWaterGrams float64
	// InertGrams is what the description leaves open: it stays through every stage and takes part in nothing.
	InertGrams float64
}

// WaterGrams is all the water, in grams: free, and bound as hydroxide or hydrate, half a mole for each mole of hydrogen.
func (b Breakdown) WaterGrams() float64 {
	grams := b.FreeWaterGrams
	for _, phase := range b.Phases {
		grams += phase.Moles * phase.Formula.Count("H") / 2 * rules().water.MolarMass()
	}
	return grams
}

// Breakdown corrects a mass as weighed for moisture and purity and divides it. It returns the material's faults, a fault
// when the mass is negative, not finite or above 1e7 g, and one for a mixture, which Materials.Breakdown divides.
func (m Material) Breakdown(massGrams float64) (Breakdown, error) {
	faults := m.Validate()
	if m.IsMixture() {
		faults.Add("parts", "a mixture is divided with the materials of its parts at hand", "resolve it first")
	}
	checkMass(&faults, "mass_grams", massGrams)
	if err := faults.Err(); err != nil {
		return Breakdown{}, fmt.Errorf("material %s: %w", m.ID, err)
	}
	return m.divide(massGrams)
}

// Moles counts the elements of the dry material in a mass as weighed; its free water is left out.
func (m Material) Moles(massGrams float64) (Moles, error) {
	parts, err := m.Breakdown(massGrams)
	if err != nil {
		return nil, err
	}
	total := Moles{}
	for _, phase := range parts.Phases {
		total.Add(phase.Formula.counts, phase.Moles)
	}
	return total, nil
}

// divide is Breakdown for a material and mass that were checked.
func (m Material) divide(massGrams float64) (Breakdown, error) {
	purity := m.purity()
	water := massGrams * m.MoistureFraction
	dry := massGrams - water
	parts := Breakdown{FreeWaterGrams: water, InertGrams: dry}
	for _, line := range m.normalised() {
		formula, err := ParseFormula(line.Formula)
		if err != nil {
			return Breakdown{}, err
		}
		grams := dry * purity * line.MassFraction
		parts.Phases = append(parts.Phases, Amount{formula, grams / formula.MolarMass()})
		parts.InertGrams -= grams
	}
	// What rounding leaves of a fully described material is not matter.
	if parts.InertGrams < dry*negligible {
		parts.InertGrams = 0
	}
	return parts, nil
}

// normalised returns the lines of the description as fractions of the described part: phases as they are, scaled down
// when rounding brings them above 1; an oxide analysis scaled to 1 with its loss on ignition, as water where it does not
// say what it is.
func (m Material) normalised() []Phase {
	lines, total := []Phase{}, 0.0
	for _, phase := range m.Phases {
		lines = append(lines, phase)
		total += phase.MassFraction
	}
	if len(m.Oxides) == 0 {
		return scaled(lines, max(1, total))
	}
	for _, oxide := range m.Oxides {
		lines = append(lines, Phase(oxide))
		total += oxide.MassFraction
	}
	unnamed := m.LossOnIgnitionFraction
	for _, loss := range m.lossLines() {
		if loss.fraction > 0 {
			lines = append(lines, Phase{loss.formula, loss.fraction})
			total += loss.fraction
			unnamed -= loss.fraction
		}
	}
	if unnamed > negligible {
		lines = append(lines, Phase{"H2O", unnamed})
		total += unnamed
	}
	return scaled(lines, total)
}

func scaled(lines []Phase, total float64) []Phase {
	for i := range lines {
		lines[i].MassFraction /= total
	}
	return lines
}
