package assess

import (
	"saggar/chem"
	"saggar/chem/heat"
)

// Ride is what a stage's charge is to others in one firing.
type Ride struct {
	// Liters is the room that its crucibles, or its packed charge in crucibles filled as far as the practice allows, take without
	// walls and shelves; 0: nothing says.
	Liters float64
	// MassGrams is its charge and ware, without vessels.
	MassGrams float64
	// Grams is as how much ordinary ware it counts for the furnace: its mass, or the ware that takes as much heat on the way to
	// the program's peak where that is more.
	Grams float64
	// Ware says that what others give off would settle on it: a glaze, a bisque, or ware with the charge.
	Ware bool
	// Contents is what of heat.Contents() it gives off.
	Contents []string
}

// Ride works out what a heat treatment of a charge made at a scale is to others. Errors: a bug in the charge's heat.
func (s Site) Ride(c Charge, index int, scale chem.Scale) (Ride, error) {
	stage, balance := c.Recipe.Stages[index], c.Balance.Stages[index]
	r := Ride{
		MassGrams: balance.MassInGrams + balance.WareGrams, Contents: c.contentWords(index),
		Ware: stage.Kind == chem.Glaze || stage.Kind == chem.Bisque || balance.WareGrams > 0,
	}
	switch {
	case balance.WareGrams > 0: // of any shape
	case scale.CrucibleCount > 0:
		r.Liters = float64(scale.CrucibleCount) * scale.CrucibleMilliliters / 1000
	case stage.TampedDensityGramsPerMilliliter > 0:
		r.Liters = balance.MassInGrams / stage.TampedDensityGramsPerMilliliter / s.Practice.MaxFillFraction / 1000
	}
	r.Grams = r.MassGrams
	const reference = 1000 // g of ordinary ware
	ware, err := heatOf(stage, chem.StageBalance{PeakCelsius: balance.PeakCelsius, WareGrams: reference})
	if err != nil {
		return r, err
	}
	if of := takenBy(ware.uptake, balance.PeakCelsius); of > 0 {
		r.Grams = max(r.Grams, reference*takenBy(c.taken[index].uptake, balance.PeakCelsius)/of)
	}
	return r, nil
}

// takenBy is the most that is taken by any temperature up to a peak, in kJ.
func takenBy(uptake []heat.HeatUptake, peakCelsius float64) float64 {
	most := 0.0
	for _, u := range uptake {
		if u.Celsius <= peakCelsius {
			most = max(most, u.Kilojoules)
		}
	}
	return most
}

// TreatBeside is Treat with so much ordinary ware of others in the same firing: it takes its heat, and nothing of it comes off
// here. Errors as Treat.
func (s Site) TreatBeside(c Charge, index int, furnaceID string, wareGrams float64) (Treatment, error) {
	heavier := c.Balance.Stages[index]
	heavier.WareGrams += wareGrams
	taken, err := heatOf(c.Recipe.Stages[index], heavier)
	if err != nil {
		return Treatment{}, err
	}
	c.taken = append([]chargeHeat(nil), c.taken...)
	c.taken[index] = taken
	return s.treat(c, index, furnaceID, wareGrams)
}

// Asked is a stage's treatment as chem/heat takes it.
func (s Site) Asked(c Charge, index int) heat.Treatment { return s.asked(c, index) }
