package chem

import (
	"cmp"
	"fmt"

	"saggar/chem/finding"
)

// Bounds of a scale.
const (
	maxCrucibles           = 1000
	maxCrucibleMilliliters = 1e6
)

// Validate lists every fault of the scale by its fields; whether the recipe can be scaled so is ScaleFactor's to say.
func (s Scale) Validate() finding.Faults {
	var faults finding.Faults
	checkRange(&faults, "factor", s.Factor, bounds{0, maxScaleFactor})
	checkMass(&faults, "product_grams", s.ProductGrams)
	checkWhole(&faults, "crucible_count", s.CrucibleCount, maxCrucibles)
	checkRange(&faults, "crucible_milliliters", s.CrucibleMilliliters, bounds{0, maxCrucibleMilliliters})
	checkRange(&faults, "crucible_fill_fraction", s.CrucibleFillFraction, bounds{0, 1})
	ways := 0
	for _, set := range []bool{s.Factor != 0, s.ProductGrams != 0, s.byCrucibles()} {
		if set {
			ways++
		}
	}
	if ways > 1 {
		faults.Add("factor", "the recipe is scaled in more than one way", "give one of factor, product_grams and crucibles")
	}
	if s.byCrucibles() && (s.CrucibleCount == 0 || s.CrucibleMilliliters == 0) {
		faults.Add("crucible_count", "crucibles need a count and a volume",
			"give crucible_count and crucible_milliliters above zero")
	}
	return faults
}

func (s Scale) byCrucibles() bool {
	return s.CrucibleCount != 0 || s.CrucibleMilliliters != 0 || s.CrucibleFillFraction != 0 || s.CrucibleStage != ""
}

// Findings warns of crucibles packed fuller than the practice allows.
func (s Scale) Findings(practice Practice) []finding.Finding {
	if !(s.CrucibleFillFraction > practice.MaxFillFraction) {
		return nil
	}
	return []finding.Finding{{
		Severity: finding.Warn,
		Code:     "CHARGE_CRUCIBLE_OVERFILLED",
		Field:    "scale.crucible_fill_fraction",
		Message: fmt.Sprintf("crucibles filled to %.2f are above %.2f: the charge may foam or swell over the rim",
			s.CrucibleFillFraction, practice.MaxFillFraction),
		Figures: []finding.Figure{
			{Name: "fill", Value: s.CrucibleFillFraction, Unit: "1"},
			{Name: "most", Value: practice.MaxFillFraction, Unit: "1"},
		},
		Cure:   fmt.Sprintf("fill to at most %.2f, or use more crucibles", practice.MaxFillFraction),
		Source: "common practice, no source",
	}}
}

// ScaleFactor works out a scale with the default practice; see Practice.ScaleFactor.
func ScaleFactor(recipe Recipe, materials Materials, scale Scale) (float64, error) {
	return DefaultPractice().ScaleFactor(recipe, materials, scale)
}

// ScaleFactor is what the recipe's own masses are multiplied by. It returns finding.Faults when scale, recipe or
// materials have faults, when a product is asked for that no stage forms, when no tamped density is known, or when the
// factor would not be in (0, 10000].
func (p Practice) ScaleFactor(recipe Recipe, materials Materials, scale Scale) (float64, error) {
	var faults finding.Faults
	faults.AddUnder("scale", scale.Validate())
	if err := faults.Err(); err != nil {
		return 0, err
	}
	if scale.ProductGrams == 0 && !scale.byCrucibles() { // nothing of the recipe's own amounts is needed
		_, wrong := p.checkInput(recipe, materials, 1)
		return cmp.Or(scale.Factor, 1), wrong.Err()
	}
	own, err := p.Balance(recipe, materials, 1)
	if err != nil {
		return 0, err
	}
	factor, field := 1.0, "scale.factor"
	switch {
	case scale.Factor > 0:
		factor = scale.Factor
	case scale.ProductGrams > 0:
		field = "scale.product_grams"
		factor = scale.ProductGrams / own.IdealProductGrams
		if own.IdealProductGrams == 0 {
			faults.Add(field, "no stage forms a product", "name the product of a stage, or scale by factor or crucibles")
		}
	case scale.byCrucibles():
		field = "scale.crucible_count"
		factor = p.crucibleFactor(recipe, own, scale, &faults)
	}
	if len(faults) == 0 && !(factor > 0 && factor <= maxScaleFactor) {
		faults.Add(field, fmt.Sprintf("asks for %g times the recipe, not in (0, %g]", factor, maxScaleFactor),
			"ask for an amount nearer the recipe's own")
	}
	if err := faults.Err(); err != nil {
		return 0, err
	}
	return factor, nil
}

// crucibleFactor divides the crucibles' volume by the charge's at the recipe's own scale.
func (p Practice) crucibleFactor(recipe Recipe, own BalanceResult, scale Scale, faults *finding.Faults) float64 {
	fill := scale.CrucibleFillFraction
	if fill == 0 {
		fill = p.MaxFillFraction
	}
	volume, found := 0.0, false
	for i, stage := range recipe.Stages {
		if scale.CrucibleStage != "" && scale.CrucibleStage != stage.ID {
			continue
		}
		found = true
		if stage.TampedDensityGramsPerMilliliter > 0 {
			volume = max(volume, own.Stages[i].MassInGrams/stage.TampedDensityGramsPerMilliliter)
		}
	}
	switch {
	case !found:
		faults.Add("scale.crucible_stage", fmt.Sprintf("there is no stage %q", shortened(scale.CrucibleStage)),
			"use a stage's id")
	case volume == 0:
		faults.Add("scale.crucible_stage", "no charge with a known tamped density fills a crucible",
			"give tamped_density_grams_per_milliliter at that stage")
	}
	if len(*faults) > 0 {
		return 0
	}
	return float64(scale.CrucibleCount) * scale.CrucibleMilliliters * fill / volume
}

// WeighOut lists what is weighed out, stage by stage, at factor times the recipe's own masses. A fraction of the
// intermediate is worked out from the ideal one: on the day it is taken of what was really weighed. Errors as Balance.
func WeighOut(recipe Recipe, materials Materials, factor float64) ([]WeighedMaterial, error) {
	balance, err := Balance(recipe, materials, factor)
	if err != nil {
		return nil, err
	}
	return balance.WeighOut(), nil
}

// WeighOut lists what is weighed out over all stages.
func (b BalanceResult) WeighOut() []WeighedMaterial {
	list := []WeighedMaterial{}
	for _, stage := range b.Stages {
		list = append(list, stage.WeighOut...)
	}
	return list
}
