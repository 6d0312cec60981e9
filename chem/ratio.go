package chem

// AtomRatio is how much of one element a stage's charge holds for each atom of the element that limits its product.
type AtomRatio struct {
	Element string `json:"element"`
	// Charged is what goes in; for oxygen it includes what the air gives.
	Charged float64 `json:"charged"`
	// Ideal is what the product holds; 0 for an element that it does not.
	Ideal float64 `json:"ideal"`
}

// AtomRatios states a stage's charge beside its ideal product, by atomic number, each relative to the limiting element.
// It is empty for a stage that names no product, or whose product cannot form.
func (b StageBalance) AtomRatios() []AtomRatio {
	product, err := ParseFormula(b.Product)
	if err != nil || b.LimitingElement == "" {
		return nil
	}
	limiting := 0.0
	for _, e := range b.Elements {
		if e.Element == b.LimitingElement {
			limiting = e.InMoles
		}
	}
	if !(limiting > 0) {
		return nil
	}
	ratios := make([]AtomRatio, 0, len(b.Elements))
	for _, e := range b.Elements {
		ratios = append(ratios, AtomRatio{
			Element: e.Element, Charged: e.InMoles / limiting, Ideal: product.Count(e.Element) / product.Count(b.LimitingElement),
		})
	}
	return ratios
}
