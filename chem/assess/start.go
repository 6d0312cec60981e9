package assess

import (
	"fmt"
	"slices"

	"saggar/chem"
	"saggar/chem/finding"
)

// RecipeFrom assesses a recipe that starts from a lot; no scale means the whole lot. The answer's charge is the recipe as
// started, without the stages before. Findings name fields of the whole recipe, and from_lot. Errors: finding.Faults, those of
// the lot under from_lot.
func (s Site) RecipeFrom(recipe chem.Recipe, materials chem.Materials, scale chem.Scale, start chem.Start) (Assessment, error) {
	started, err := s.Practice.StartFrom(recipe, materials, start)
	if err != nil {
		return Assessment{}, err
	}
	a, err := s.Recipe(started.Recipe, started.Materials, started.Scaled(scale))
	if err != nil {
		return Assessment{}, placed(err, started)
	}
	for i := range a.Findings {
		a.Findings[i].Field = started.Place(a.Findings[i].Field)
	}
	ofLot, err := started.Findings(s.Practice, a.Charge.Factor, s.OnDate)
	if err != nil {
		return Assessment{}, err
	}
	a.Findings = append(a.Findings, ofLot...)
	a.Assumptions = append(a.Assumptions, fmt.Sprintf("Started from lot %s as weighed and described; the stages before, and what may "+
		"pass between them and it, are left out.", start.Lot.ID))
	finding.SortWorstFirst(a.Findings)
	return a, nil
}

// placed gives faults the fields of the whole recipe. Other errors stay.
func placed(err error, started chem.Started) error {
	faults := slices.Clone(finding.FaultsOf(err))
	if faults == nil {
		return err
	}
	for i := range faults {
		faults[i].Field = started.Place(faults[i].Field)
	}
	return faults
}
