package chem

import (
	"fmt"
	"maps"
	"slices"

	"saggar/chem/finding"
)

// Draw says that what is put in of a material comes from a lot.
type Draw struct {
	Stage    string `json:"stage"`    // empty: every stage that puts the material in
	Material string `json:"material"` // empty: the lot's own
	Lot      Lot    `json:"lot"`
}

// LotMaterial is the id under which a recipe written by StartFrom or DrawnFrom puts a lot in.
func LotMaterial(lotID string) string { return lotPrefix + lotID }

// material is the material for which the lot is put in.
func (d Draw) material() string {
	if d.Material == "" {
		return d.Lot.Material
	}
	return d.Material
}

// DrawnFrom writes a recipe whose additions come from lots, which are reckoned with as they describe themselves. Of the lots'
// masses nothing is checked but that they are above 0. Errors: finding.Faults under draws[i], of a lot, or when no addition, or
// one that another draw has, is meant.
func (r Recipe) DrawnFrom(materials Materials, draws []Draw) (Recipe, Materials, error) {
	var faults finding.Faults
	drawn := r
	drawn.Stages = slices.Clone(r.Stages)
	all := maps.Clone(materials)
	for i, draw := range draws {
		path := fmt.Sprintf("draws[%d]", i)
		described, err := draw.Lot.Described(materials)
		if err != nil {
			faults.AddUnder(path+".lot", finding.FaultsOf(err))
			continue
		}
		all[LotMaterial(draw.Lot.ID)] = described
		if !draw.apply(r, &drawn) {
			faults.Add(path+".material", fmt.Sprintf("no addition of %q is left for lot %s%s", shortened(draw.material()), draw.Lot.ID,
				atStage(draw.Stage)), "name the material of an addition, and each stage's only once")
		}
	}
	return drawn, all, faults.Err()
}

func atStage(stage string) string {
	if stage == "" {
		return ""
	}
	return " at stage " + shortened(stage)
}

// apply puts the lot in for every addition that is meant, and says whether there was one.
func (d Draw) apply(from Recipe, drawn *Recipe) bool {
	found := false
	for i, stage := range from.Stages {
		if d.Stage != "" && d.Stage != stage.ID {
			continue
		}
		for k, addition := range stage.Additions {
			if addition.Material != d.material() || drawn.Stages[i].Additions[k].Material != addition.Material {
				continue
			}
			found = true
			additions := slices.Clone(drawn.Stages[i].Additions)
			additions[k].Material = LotMaterial(d.Lot.ID)
			drawn.Stages[i].Additions = additions
		}
	}
	return found
}
