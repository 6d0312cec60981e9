package reaction

import (
	"fmt"
	"math"

	"saggar/chem/finding"
)

// Weighing is a charge weighed before and after a firing, both without the vessel.
type Weighing struct {
	BeforeGrams, AfterGrams float64
	// Moisture by mass of the charge as weighed, in [0, 1).
	MoistureFractionBefore, MoistureFractionAfter float64
	// TheoreticalLossFraction is what the dry charge loses by mass when all of it has reacted, in (0, 1].
	TheoreticalLossFraction float64
	// ReadabilityGrams is the last digit of the balance, above 0.
	ReadabilityGrams float64
}

// Measured is the conversion that a weighing shows.
type Measured struct {
	Conversion float64
	// Uncertainty is expanded with k = 2, from the readability of the balance alone.
	Uncertainty          float64
	LossGrams            float64 // of the dry charge
	TheoreticalLossGrams float64
	Assumptions          []string
}

// Measure is the loss over the theoretical loss, both of the dry charge. A reading is off by at most half a digit, evenly
// spread: u = d/sqrt(12) (JCGM 100:2008, 4.3.7). Errors: finding.Faults for weights that cannot be, which a charge that gained,
// or lost more than it can, by more than the uncertainty is; within it the conversion is held to [0, 1].
func (w Weighing) Measure() (Measured, error) {
	if err := w.faults().Err(); err != nil {
		return Measured{}, err
	}
	dryBefore, dryAfter := w.BeforeGrams*(1-w.MoistureFractionBefore), w.AfterGrams*(1-w.MoistureFractionAfter)
	whole := dryBefore * w.TheoreticalLossFraction
	loss := dryBefore - dryAfter
	reading := w.ReadabilityGrams / math.Sqrt(12)
	// alpha = (1 - dryAfter/dryBefore)/l, differentiated by each reading.
	byAfter := (1 - w.MoistureFractionAfter) / whole
	byBefore := byAfter * w.AfterGrams / w.BeforeGrams
	m := Measured{
		Conversion: loss / whole, Uncertainty: 2 * reading * math.Hypot(byAfter, byBefore), LossGrams: loss, TheoreticalLossGrams: whole,
		Assumptions: []string{
			"Nothing was spilled, and nothing but the reaction changed the mass: no other loss, nothing taken from the air.",
			"The uncertainty (k = 2) is of the balance's readability alone (JCGM 100:2008, 4.3.7), not of moisture or purity.",
		},
	}
	var faults finding.Faults
	if m.Conversion < -m.Uncertainty {
		faults.Add("after_grams", fmt.Sprintf("the dry charge gained %.4g g, from %.6g to %.6g g", -loss, dryBefore, dryAfter),
			"weigh again without the vessel, or correct the moisture before")
	}
	if m.Conversion > 1+m.Uncertainty {
		faults.Add("after_grams", fmt.Sprintf("the dry charge lost %.4g g, more than the %.4g g that it can", loss, whole),
			"look for spilled charge, correct the moisture before, or name all that leaves")
	}
	m.Conversion = min(1, max(0, m.Conversion))
	return m, faults.Err()
}

func (w Weighing) faults() finding.Faults {
	var faults finding.Faults
	check := func(field string, value float64, right bool, cure string) {
		if math.IsNaN(value) || math.IsInf(value, 0) || !right {
			faults.Add(field, fmt.Sprintf("%g cannot be", value), cure)
		}
	}
	const mostGrams = 1e7
	check("before_grams", w.BeforeGrams, w.BeforeGrams > 0 && w.BeforeGrams <= mostGrams, "give grams above 0, at most 1e7")
	check("after_grams", w.AfterGrams, w.AfterGrams >= 0 && w.AfterGrams <= mostGrams, "give grams from 0 to 1e7")
	check("readability_grams", w.ReadabilityGrams, w.ReadabilityGrams > 0 && w.ReadabilityGrams <= w.BeforeGrams,
		"give the last digit of the balance in grams, below what was weighed")
	share := func(field string, moisture float64) {
		check(field, moisture, moisture >= 0 && moisture < 1, "give a fraction from 0, below 1")
	}
	share("moisture_fraction_before", w.MoistureFractionBefore)
	share("moisture_fraction_after", w.MoistureFractionAfter)
	check("theoretical_loss_fraction", w.TheoreticalLossFraction, w.TheoreticalLossFraction > 0 && w.TheoreticalLossFraction <= 1,
		"give a fraction above 0, at most 1")
	return faults
}

// LossFraction is what a formula unit loses by mass when all of it reacts: the mass of its solids short of its own, negative
// where it takes up more from the air than leaves.
func (r Reaction) LossFraction() float64 {
	kept := 0.0
	for _, y := range r.Solids {
		kept += y.Moles * tabledCounts(y.Formula).Grams()
	}
	return 1 - kept/r.unitGrams
}
