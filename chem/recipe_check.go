package chem

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
	"saggar/chem/heat"
)

// Bounds of a recipe: beyond them an entry is a slip of the pen.
const (
	maxStages             = 50
	maxAdditions          = 100
	maxBenchMinutes       = 14 * 24 * 60
	maxLagMinutes         = 366 * 24 * 60
	maxHandlingMinutes    = 24 * 60
	maxBedMillimeters     = 2000
	maxTampedDensity      = 25.0 // g/ml, above that of any metal powder
	maxIntermediateFactor = 10.0
)

var (
	heatKinds    = []StageKind{Calcine, Reduce, Oxidise, Sinter, Bisque, Glaze, Anneal, Melt, BurnOut}
	benchKinds   = []StageKind{Dry, Weigh, Mix, Grind, Pack, Wash, Label}
	lids         = []Lid{"", OpenLid, LooseLid, SealedLid}
	vesselKinds  = []VesselKind{"", Crucible, Saggar, Tray}
	atmospheres  = []heat.Atmosphere{heat.Oxidising, heat.Neutral, heat.Reducing}
	fireWatches  = []heat.Watch{"", heat.WatchNone, heat.InReach, heat.InRoom}
	celsiusRange = bounds{-50, 2000}
)

// Materials finds a material by its identifier.
type Materials map[string]Material

// Validate lists every fault of the recipe by the path of its field; materials says which identifiers exist. It checks
// neither the materials themselves nor whether any furnace can do a stage.
func (r Recipe) Validate(materials Materials) finding.Faults {
	var faults finding.Faults
	CheckID(&faults, "id", r.ID)
	CheckTitle(&faults, "title", r.Title)
	switch {
	case len(r.Stages) == 0:
		faults.Add("stages", "there is no stage", "give at least one")
	case len(r.Stages) > maxStages:
		faults.Add("stages", fmt.Sprintf("%d stages are given", len(r.Stages)), fmt.Sprintf("give at most %d", maxStages))
		return faults
	}
	seen := map[string]bool{}
	filled := false // whether an earlier stage put anything in
	for i, stage := range r.Stages {
		path := fmt.Sprintf("stages[%d]", i)
		if seen[stage.ID] {
			faults.Add(path+".id", fmt.Sprintf("%q is used twice", stage.ID), "give each stage its own id")
		}
		seen[stage.ID] = true
		faults.AddUnder(path, stage.validate())
		faults.AddUnder(path, stage.checkAdditions(materials, filled))
		filled = filled || len(stage.Additions) > 0
	}
	faults.AddUnder("", r.checkLags())
	return faults
}

func (s Stage) validate() finding.Faults {
	var faults finding.Faults
	CheckID(&faults, "id", s.ID)
	CheckTitle(&faults, "title", s.Title)
	heated, bench := slices.Contains(heatKinds, s.Kind), slices.Contains(benchKinds, s.Kind)
	if !heated && !bench {
		faults.Add("kind", fmt.Sprintf("%q is no kind of stage", shortened(string(s.Kind))),
			fmt.Sprintf("use one of %v or %v", heatKinds, benchKinds))
	}
	switch {
	case s.Program == nil && s.BenchMinutes == 0:
		faults.Add("program", "the stage has neither a heat program nor bench minutes", "give one of the two")
	case s.Program != nil && s.BenchMinutes != 0:
		faults.Add("bench_minutes", "the stage has both a heat program and bench minutes", "give one of the two")
	case s.Program != nil:
		faults.AddUnder("program", checkProgram(*s.Program))
	case heated:
		faults.Add("program", fmt.Sprintf("a %s stage needs a heat program", s.Kind), "give at least one segment")
	}
	checkWhole(&faults, "bench_minutes", s.BenchMinutes, maxBenchMinutes)
	faults.AddUnder("", s.checkFiring())
	faults.AddUnder("", s.checkCharge())
	faults.AddUnder("", s.checkMeasured())
	return faults
}

// checkFiring checks what only a heat treatment has, and that bench work has none of it.
func (s Stage) checkFiring() finding.Faults {
	var faults finding.Faults
	if s.Program == nil {
		if s.Product != "" {
			faults.Add("product", "bench work forms nothing", "name the product at a stage with a heat program")
		}
		return faults
	}
	checkOneOf(&faults, "atmosphere", s.Atmosphere, atmospheres)
	checkOneOf(&faults, "lid", s.Lid, lids)
	checkOneOf(&faults, "fire_watch", s.FireWatch, fireWatches)
	checkRange(&faults, "charge_at_celsius", s.ChargeAtCelsius, celsiusRange)
	checkRange(&faults, "open_below_celsius", s.OpenBelowCelsius, celsiusRange)
	if s.Product != "" {
		if _, err := ParseFormula(s.Product); err != nil {
			faults.Add("product", err.Error(), "")
		}
	}
	return faults
}

func (s Stage) checkCharge() finding.Faults {
	var faults finding.Faults
	checkMass(&faults, "ware_grams", s.WareGrams)
	checkOneOf(&faults, "vessel.kind", s.Vessel.Kind, vesselKinds)
	checkRange(&faults, "vessel.top_celsius", s.Vessel.TopCelsius, bounds{0, celsiusRange.high})
	checkRange(&faults, "bed_depth_millimeters", s.BedDepthMillimeters, bounds{0, maxBedMillimeters})
	checkRange(&faults, "tamped_density_grams_per_milliliter", s.TampedDensityGramsPerMilliliter,
		bounds{0, maxTampedDensity})
	checkWhole(&faults, "charge_minutes", s.ChargeMinutes, maxHandlingMinutes)
	checkWhole(&faults, "draw_minutes", s.DrawMinutes, maxHandlingMinutes)
	checkWhole(&faults, "max_wait_minutes", s.MaxWaitMinutes, maxBenchMinutes)
	checkRange(&faults, "max_intermediate_age_days", float64(s.MaxIntermediateAgeDays), bounds{0, maxAgeDays})
	for i, furnace := range s.Furnaces {
		CheckID(&faults, fmt.Sprintf("furnaces[%d]", i), furnace)
	}
	return faults
}

func (s Stage) checkAdditions(materials Materials, filled bool) finding.Faults {
	var faults finding.Faults
	if len(s.Additions) > maxAdditions {
		faults.Add("additions", fmt.Sprintf("%d additions are given", len(s.Additions)),
			fmt.Sprintf("give at most %d", maxAdditions))
		return faults
	}
	for i, addition := range s.Additions {
		path := fmt.Sprintf("additions[%d]", i)
		if _, known := materials[addition.Material]; !known {
			faults.Add(path+".material", fmt.Sprintf("there is no material %q", shortened(addition.Material)),
				"use the id of a material that exists")
		}
		checkMass(&faults, path+".mass_grams", addition.MassGrams)
		fraction := addition.FractionOfIntermediate
		checkRange(&faults, path+".fraction_of_intermediate", fraction, bounds{0, maxIntermediateFactor})
		if (addition.MassGrams > 0) == (fraction > 0) {
			faults.Add(path, "exactly one of mass_grams and fraction_of_intermediate must be above zero", "give one of the two")
		}
		if fraction > 0 && !filled {
			faults.Add(path+".fraction_of_intermediate", "no earlier stage puts anything in, so there is no intermediate",
				"give mass_grams")
		}
		if addition.FedHot && s.Program == nil {
			faults.Add(path+".fed_hot", "bench work is not hot", "leave it out, or add it at a stage with a heat program")
		}
	}
	return faults
}

func checkWhole(faults *finding.Faults, field string, value, most int) {
	if value < 0 || value > most {
		faults.Add(field, fmt.Sprintf("%d is not between 0 and %d", value, most), "give whole minutes")
	}
}

func checkOneOf[T ~string](faults *finding.Faults, field string, value T, allowed []T) {
	if !slices.Contains(allowed, value) {
		faults.Add(field, fmt.Sprintf("%q is not known", shortened(string(value))), fmt.Sprintf("use one of %q", allowed))
	}
}

// peakCelsius is the highest temperature that the stage asks for; 0 for bench work.
func (s Stage) peakCelsius() float64 {
	if s.Program == nil {
		return 0
	}
	peak := s.ChargeAtCelsius
	for _, segment := range s.Program.Segments {
		peak = math.Max(peak, segment.ToCelsius)
	}
	return peak
}
