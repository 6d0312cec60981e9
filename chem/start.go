package chem

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"

	"saggar/chem/finding"
)

// Start says at which stage a recipe starts, and from which lot.
type Start struct {
	Stage string `json:"stage"` // empty: the first
	Lot   Lot    `json:"lot"`
}

// Started is a recipe that starts from a lot, written as a recipe that weighs the lot out at its first stage; everything that
// reckons with recipes reckons with it as it stands.
type Started struct {
	Recipe    Recipe
	Materials Materials
	// Skipped is how many stages of the whole recipe come before the start.
	Skipped int
	// UnitGrams is the lot's mass at factor 1: what the whole recipe would have there at its own scale, or all that is at hand
	// where nothing comes before.
	UnitGrams float64
	// WholeLotFactor uses all that is at hand.
	WholeLotFactor float64
	lot            Lot
}

// lotPrefix sets the lot's name apart from materials' ids, which hold no slash.
const lotPrefix = "lots/"

// StartFrom writes a recipe as started from a lot. A fraction of the intermediate at that stage becomes a mass, worked out
// from the lot's as weighed, less its moisture. Lags with a stage that is left out no longer hold. Errors: finding.Faults of the lot under
// from_lot, of start_stage, and of the whole recipe when a stage comes before.
func (p Practice) StartFrom(recipe Recipe, materials Materials, start Start) (Started, error) {
	var faults finding.Faults
	first := 0
	if start.Stage != "" {
		first = slices.IndexFunc(recipe.Stages, func(s Stage) bool { return s.ID == start.Stage })
	}
	if first < 0 || len(recipe.Stages) == 0 {
		faults.Add("start_stage", fmt.Sprintf("the recipe has no stage %q", shortened(start.Stage)), "use the id of one of its stages")
		first = 0
	}
	described, err := start.Lot.Described(materials)
	if err != nil {
		faults.AddUnder("from_lot", finding.FaultsOf(err))
	}
	if err := faults.Err(); err != nil {
		return Started{}, err
	}
	unit := start.Lot.MassGrams
	if first > 0 {
		own, err := p.Balance(recipe, materials, 1)
		if err != nil {
			return Started{}, err
		}
		if expected := own.Stages[first-1].MassOutGrams; expected > 0 {
			unit = expected
		}
	}
	s := Started{Materials: Materials{lotPrefix + start.Lot.ID: described}, Skipped: first, UnitGrams: unit,
		WholeLotFactor: start.Lot.MassGrams / unit, lot: start.Lot}
	for id, material := range materials {
		s.Materials[id] = material
	}
	s.Recipe = startedRecipe(recipe, first, Addition{Material: lotPrefix + start.Lot.ID, MassGrams: unit},
		unit*(1-described.MoistureFraction))
	return s, nil
}

func startedRecipe(recipe Recipe, first int, lot Addition, dryGrams float64) Recipe {
	recipe.Stages = slices.Clone(recipe.Stages[first:])
	additions := []Addition{lot}
	for _, addition := range recipe.Stages[0].Additions {
		if addition.FractionOfIntermediate > 0 && addition.MassGrams == 0 {
			addition.MassGrams, addition.FractionOfIntermediate = addition.FractionOfIntermediate*dryGrams, 0
		}
		additions = append(additions, addition)
	}
	recipe.Stages[0].Additions = additions
	left := map[string]bool{}
	for _, stage := range recipe.Stages {
		left[stage.ID] = true
	}
	recipe.Lags = slices.DeleteFunc(slices.Clone(recipe.Lags), func(l Lag) bool { return !left[l.FromStage] || !left[l.ToStage] })
	return recipe
}

// Scaled is the scale to reckon with: where none is asked for, the whole lot.
func (s Started) Scaled(scale Scale) Scale {
	if scale == (Scale{}) {
		scale.Factor = s.WholeLotFactor
	}
	return scale
}

// Findings warn of a stale lot, and block a factor that asks for more of it than is at hand. Errors: faults of the dates,
// under from_lot where they are the lot's.
func (s Started) Findings(p Practice, factor float64, onDate string) ([]finding.Finding, error) {
	most := p.MaxIntermediateAgeDays
	if own := s.Recipe.Stages[0].MaxIntermediateAgeDays; own > 0 {
		most = float64(own)
	}
	var found []finding.Finding
	if s.lot.IsIntermediate() {
		stale, err := s.lot.Stale(onDate, most)
		if err != nil {
			var faults finding.Faults
			faults.AddUnder("from_lot", finding.FaultsOf(err))
			return nil, faults
		}
		found = stale
	}
	if asked := factor * s.UnitGrams; asked > s.lot.MassGrams*(1+fractionRounding) {
		found = append(found, finding.Finding{
			Severity: finding.Block, Code: "LOT_TOO_SMALL", Field: "from_lot.mass_grams", About: s.lot.ID,
			Message: fmt.Sprintf("the scale takes %.4g g of lot %s, of which %.4g g are at hand", asked, s.lot.ID, s.lot.MassGrams),
			Figures: []finding.Figure{
				{Name: "asked", Value: asked, Unit: "g"}, {Name: "at_hand", Value: s.lot.MassGrams, Unit: "g"},
			},
			Cure:   fmt.Sprintf("scale by a factor of at most %.4g, or make more of it first", s.WholeLotFactor),
			Source: "the recipe's element balance",
		})
	}
	return found, nil
}

var stageField = regexp.MustCompile(`^stages\[(\d+)\](\.additions\[(\d+)\])?(.*)$`)

// Place gives a field's path in the started recipe as it is in the whole recipe and the lot.
func (s Started) Place(field string) string {
	if rest, ofLot := cutLot(field, s.lot.ID); ofLot {
		return "from_lot" + rest
	}
	found := stageField.FindStringSubmatch(field)
	if found == nil {
		return field
	}
	index, _ := strconv.Atoi(found[1])
	addition := found[2]
	if index == 0 && addition != "" {
		which, _ := strconv.Atoi(found[3])
		if which == 0 {
			return "from_lot"
		}
		addition = fmt.Sprintf(".additions[%d]", which-1)
	}
	return fmt.Sprintf("stages[%d]%s%s", index+s.Skipped, addition, found[4])
}

func cutLot(field, id string) (rest string, ofLot bool) {
	prefix := fmt.Sprintf("materials[%s%s]", lotPrefix, id)
	if len(field) < len(prefix) || field[:len(prefix)] != prefix {
		return field, false
	}
	return field[len(prefix):], true
}
