package chem

import (
	"fmt"
	"math"
	"strings"
	"time"

	"saggar/chem/finding"
)

// Lot is one delivery of a material, or one intermediate that a load made: what of it is at hand, and what it was when last
// looked at.
type Lot struct {
	ID string `json:"id"`
	// Material is what was delivered; empty for an intermediate, which describes itself.
	Material string `json:"material"`
	// Phases, or Oxides with their loss on ignition, are the lot's own analysis as in Material; without one a delivery is what
	// its material is. With one, PurityFraction goes with it.
	Phases                              []Phase `json:"phases"`
	Oxides                              []Oxide `json:"oxides"`
	LossOnIgnitionFraction              float64 `json:"loss_on_ignition_fraction"`
	LossOnIgnitionWaterFraction         float64 `json:"loss_on_ignition_water_fraction"`
	LossOnIgnitionCarbonDioxideFraction float64 `json:"loss_on_ignition_carbon_dioxide_fraction"`
	LossOnIgnitionOrganicFraction       float64 `json:"loss_on_ignition_organic_fraction"`
	PurityFraction                      float64 `json:"purity_fraction"`
	// MoistureFraction is the lot's own free water by mass as weighed, [0, 1); nil: the material's.
	MoistureFraction *float64 `json:"moisture_fraction"`
	Hazards          []Hazard `json:"hazards"` // besides those of its material
	// MassGrams is what is at hand, as last weighed.
	MassGrams float64 `json:"mass_grams"`
	// MadeOn is the day on which it was made, received, or last dried and weighed: ISO, such as 2027-03-01.
	MadeOn string `json:"made_on"`
	Owner  string `json:"owner"`
	// FromRun and FromStage say which run's stage made it; empty for a delivery.
	FromRun   string `json:"from_run"`
	FromStage string `json:"from_stage"`
}

// IsIntermediate reports whether the lot was made by a load instead of delivered.
func (l Lot) IsIntermediate() bool { return l.Material == "" }

func (l Lot) analysed() bool { return len(l.Phases) > 0 || len(l.Oxides) > 0 }

// Validate lists every fault of the lot by the path of its field; whether its material stands is Described's to say.
func (l Lot) Validate() finding.Faults {
	var faults finding.Faults
	CheckID(&faults, "id", l.ID)
	CheckTitle(&faults, "owner", l.Owner)
	CheckTitle(&faults, "from_run", l.FromRun)
	CheckTitle(&faults, "from_stage", l.FromStage)
	if l.Material != "" {
		CheckID(&faults, "material", l.Material)
	}
	if _, err := time.Parse(time.DateOnly, l.MadeOn); err != nil {
		faults.Add("made_on", fmt.Sprintf("%q is no date", shortened(l.MadeOn)), "give the day as 2027-03-01")
	}
	checkMass(&faults, "mass_grams", l.MassGrams)
	if l.MassGrams == 0 {
		faults.Add("mass_grams", "nothing of the lot is at hand", "weigh it and give grams")
	}
	switch {
	case !l.analysed() && l.IsIntermediate():
		faults.Add("phases", "the lot says neither what material it is nor what it consists of",
			"name its material, or give phases or oxides")
	case !l.analysed():
		l.checkWithoutAnalysis(&faults)
	default:
		faults = append(faults, l.ownMaterial().Validate()...)
	}
	return faults
}

// checkWithoutAnalysis checks what a delivery may say of itself when its analysis is the material's.
func (l Lot) checkWithoutAnalysis(faults *finding.Faults) {
	if l.PurityFraction != 0 || l.LossOnIgnitionFraction != 0 {
		faults.Add("purity_fraction", "purity or loss on ignition is given without an analysis that it goes with",
			"give the lot's own phases or oxides too")
	}
	probe := Material{ID: "lot", Phases: []Phase{{"SiO2", 1}}, Hazards: l.Hazards}
	if l.MoistureFraction != nil {
		probe.MoistureFraction = *l.MoistureFraction
	}
	*faults = append(*faults, probe.Validate()...)
}

// ownMaterial is the lot's own analysis as a material.
func (l Lot) ownMaterial() Material {
	m := Material{
		ID: l.ID, Title: l.ID, Phases: l.Phases, Oxides: l.Oxides, LossOnIgnitionFraction: l.LossOnIgnitionFraction,
		LossOnIgnitionWaterFraction:         l.LossOnIgnitionWaterFraction,
		LossOnIgnitionCarbonDioxideFraction: l.LossOnIgnitionCarbonDioxideFraction,
		LossOnIgnitionOrganicFraction:       l.LossOnIgnitionOrganicFraction,
		PurityFraction:                      l.PurityFraction, Hazards: l.Hazards,
	}
	if l.MoistureFraction != nil {
		m.MoistureFraction = *l.MoistureFraction
	}
	return m
}

// Described is what the lot consists of: its own analysis and moisture where it gives them, else its material's, mixtures
// resolved. Errors: finding.Faults of the lot, and of its material when that is not among the materials or has faults.
func (l Lot) Described(materials Materials) (Material, error) {
	faults := l.Validate()
	var base Material
	if !l.IsIntermediate() {
		if _, known := materials[l.Material]; !known {
			faults.Add("material", fmt.Sprintf("there is no material %q", shortened(l.Material)),
				"use the id of a material that exists")
			return Material{}, faults
		}
		resolved, wrong := materials.resolve(l.Material)
		base, faults = resolved, append(faults, wrong...)
	}
	if err := faults.Err(); err != nil {
		return Material{}, err
	}
	described := base
	if l.analysed() {
		described = l.ownMaterial()
		described.MoistureFraction = base.MoistureFraction
	}
	if l.MoistureFraction != nil {
		described.MoistureFraction = *l.MoistureFraction
	}
	described.ID, described.Title, described.Version = l.ID, l.ID, 0
	described.Hazards = append(append([]Hazard{}, base.Hazards...), l.Hazards...)
	return described, nil
}

// AgeDays is how many days the lot is old on an ISO date. Errors: finding.Faults when either is no date, or when the lot
// would be made after that day.
func (l Lot) AgeDays(onDate string) (int, error) {
	var faults finding.Faults
	on, err := time.Parse(time.DateOnly, onDate)
	if err != nil {
		faults.Add("on_date", fmt.Sprintf("%q is no date", shortened(onDate)), "give the day as 2027-03-01")
	}
	made, err := time.Parse(time.DateOnly, l.MadeOn)
	if err != nil {
		faults.Add("made_on", fmt.Sprintf("%q is no date", shortened(l.MadeOn)), "give the day as 2027-03-01")
	}
	if len(faults) == 0 && made.After(on) {
		faults.Add("made_on", fmt.Sprintf("%s is after %s", l.MadeOn, onDate), "give a day that has come")
	}
	if err := faults.Err(); err != nil {
		return 0, err
	}
	return int(math.Round(on.Sub(made).Hours() / 24)), nil
}

// Stale warns of a lot older than so many days: it takes up water and carbon dioxide from the air. Errors as AgeDays.
func (l Lot) Stale(onDate string, mostDays float64) ([]finding.Finding, error) {
	age, err := l.AgeDays(onDate)
	if err != nil || float64(age) <= mostDays {
		return nil, err
	}
	return []finding.Finding{{
		Severity: finding.Warn, Code: "LOT_STALE", Field: "from_lot.made_on", About: l.ID,
		Message: fmt.Sprintf("lot %s is %d days old, more than %g: it may have taken up water and carbon dioxide, so its mass "+
			"says less of what is in it", l.ID, age, mostDays),
		Figures: []finding.Figure{{Name: "age", Value: float64(age), Unit: "d"}, {Name: "most", Value: mostDays, Unit: "d"}},
		Cure:    "dry it, weigh it again, and give that day and mass", Source: "common practice, no source",
	}}, nil
}

// Intermediate is the lot that a stage of a balance leaves in the likely case: its mass, phases, inert rest and free water.
// A compound below 1e-9 of the dry mass counts as inert, and so does one whose formula is longer than is read, and what
// comes after 60 lines. It returns faults when the balance has no such stage, when nothing stays, or when madeOn is no date.
func (b BalanceResult) Intermediate(stageID, lotID, madeOn string) (Lot, error) {
	lot := Lot{ID: lotID, MadeOn: madeOn, FromStage: stageID}
	var faults finding.Faults
	for _, stage := range b.Stages {
		if stage.Stage != stageID {
			continue
		}
		lot.MassGrams = stage.MassOutGrams
		water := stage.MassOutGrams - stage.InertGrams
		for _, phase := range stage.Remaining {
			water -= phase.MassGrams
		}
		if water < stage.MassOutGrams*conservedTo {
			water = 0 // rounding
		}
		lot.describe(stage, stage.MassOutGrams-water)
		moisture := water / math.Max(stage.MassOutGrams, negligible)
		lot.MoistureFraction = &moisture
		faults = lot.Validate()
		return lot, faults.Err()
	}
	faults.Add("from_stage", fmt.Sprintf("there is no stage %q", shortened(stageID)), "use a stage's id")
	return Lot{}, faults
}

func (l *Lot) describe(stage StageBalance, dryGrams float64) {
	for _, phase := range stage.Remaining {
		share := phase.MassGrams / dryGrams
		if share < leastMassFraction || len(l.Phases) == maxAnalysisLines || len(phase.Formula) > maxFormulaBytes {
			continue
		}
		l.Phases = append(l.Phases, Phase{phase.Formula, math.Min(share, 1)})
	}
	if stage.ProductMoles > 0 && bindsSulfide(stage.Product) {
		l.Hazards = []Hazard{HazardSulfide}
	}
}

// bindsSulfide reports a product with sulfur that is no sulfate; acid would set hydrogen sulfide free from it.
func bindsSulfide(product string) bool {
	formula, err := ParseFormula(product)
	return err == nil && formula.Count("S") > 0 && !strings.Contains(product, "SO4")
}
