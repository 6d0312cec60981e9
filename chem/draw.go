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

// OfOtherMaterials warns of deliveries that are put in for a material that they are not of, even where they hold the same elements:
// grain size, hazards and what breaks down are the other material's. Figures are how much more of each element a gram of the lot
// as weighed holds. Materials must hold both; a draw whose lot or material cannot be worked out is left to DrawnFrom.
func OfOtherMaterials(materials Materials, draws []Draw) []finding.Finding {
	var found []finding.Finding
	for i, draw := range draws {
		if draw.Lot.IsIntermediate() || draw.Lot.Material == draw.material() {
			continue
		}
		figures, err := draw.differences(materials)
		if err != nil {
			continue
		}
		found = append(found, finding.Finding{
			Severity: finding.Warn, Code: "LOT_OF_OTHER_MATERIAL", Field: fmt.Sprintf("draws[%d].lot", i), About: draw.Lot.ID,
			Message: fmt.Sprintf("lot %s is of %s, and is put in for %s%s", draw.Lot.ID, draw.Lot.Material, draw.material(), atStage(draw.Stage)),
			Figures: figures,
			Cure:    fmt.Sprintf("name a lot of %s, or substitute %s for it in the recipe", draw.material(), draw.Lot.Material),
		})
	}
	return found
}

// differences are the mass fractions of each element in the lot less those in the material it is put in for, both as weighed.
func (d Draw) differences(materials Materials) ([]finding.Figure, error) {
	lot, err := d.Lot.Described(materials)
	if err != nil {
		return nil, err
	}
	meant, faults := materials.resolve(d.material())
	if err := faults.Err(); err != nil {
		return nil, err
	}
	more, err := lot.Moles(1)
	if err != nil {
		return nil, err
	}
	less, err := meant.Moles(1)
	if err != nil {
		return nil, err
	}
	more.Add(less, -1)
	var figures []finding.Figure
	for _, symbol := range more.Symbols() {
		figures = append(figures, finding.Figure{Name: "more_" + symbol, Value: more[symbol] * gramsPerMole(symbol), Unit: "1"})
	}
	return figures, nil
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
