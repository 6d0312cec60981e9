package assess

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/hazard"
	"saggar/chem/heat"
)

// contentWords are what a stage's charge holds in the words of a furnace's exclusions. Traces and ordinary ware do not
// count.
func (c Charge) contentWords(index int) []string {
	words := map[string]bool{}
	balance, all := c.Balance.Stages[index], c.held[index].all
	if all.holdsFuel() {
		words[heat.Carbon] = true
	}
	inMoles := chem.Moles{}
	for _, e := range balance.Elements {
		inMoles[e.Element] = e.InMoles
	}
	for _, row := range data.ContentWords() {
		grams := chem.Moles{row.Element: inMoles[row.Element]}.Grams()
		if grams > traceShare*balance.MassInGrams && (row.When == "always" || c.isReduced(index, row.Element)) {
			words[row.Word] = true
		}
	}
	return slices.Sorted(maps.Keys(words))
}

// ordinaryOrganicCarbonShare is the carbon that organic matter may bring to a charge as ordinary clay and binders do, the
// same share as ordinary ware is taken to hold: common practice, no source.
const ordinaryOrganicCarbonShare = 0.005

// holdsFuel reports carbon, or more organic matter than ordinary clays and binders bring.
func (c contents) holdsFuel() bool {
	if c.has(hazard.Carbon) {
		return true
	}
	var grams float64
	for _, p := range c.portions {
		if slices.Contains(p.traits, hazard.Organic) {
			grams += p.grams * p.formula.Count("C") * chem.Moles{"C": 1}.Grams() / p.formula.MolarMass()
		}
	}
	return grams > ordinaryOrganicCarbonShare*c.grams
}

// isReduced reports an element that lies in the charge as a metal, or that the firing or fuel in the charge may make one.
func (c Charge) isReduced(index int, element string) bool {
	all := c.held[index].all
	if atmosphere(c.Recipe.Stages[index]) != oxidising || all.holdsFuel() {
		return true
	}
	return slices.ContainsFunc(all.portions, func(p portion) bool {
		return p.formula.Count(element) > 0 && hazard.MetalKind(p.formula) != ""
	})
}

// harmsWare are the contents that settle on glaze and ware beside them.
var harmsWare = []string{heat.Sulfur, heat.Chloride, heat.Fluoride, heat.VolatileMetal}

// besideWare finds a charge that harms the ware that is fired with it; it warns of a glaze or bisque whose own materials do.
func (c Charge) besideWare(index int) []finding.Finding {
	stage := c.Recipe.Stages[index]
	words := slices.DeleteFunc(c.contentWords(index), func(w string) bool { return !slices.Contains(harmsWare, w) })
	if len(words) == 0 {
		return nil
	}
	f := finding.Finding{
		Severity: finding.Block, Code: "DIRTY_BESIDE_WARE", Field: stagePath(index) + ".ware_grams", About: stage.ID,
		Source: commonPractice,
	}
	what := worded(strings.Join(words, ", "))
	switch {
	case stage.WareGrams > 0:
		f.Message = fmt.Sprintf("stage %s fires %s beside ware, on whose glaze it settles", stage.ID, what)
		f.Cure = "fire the charge and the ware apart"
	case stage.Kind == chem.Glaze || stage.Kind == chem.Bisque:
		f.Severity, f.Field = finding.Warn, stagePath(index)+".additions"
		f.Message = fmt.Sprintf("the %s of stage %s gives off %s, which settles on whatever is fired beside it", stage.Kind,
			stage.ID, what)
		f.Cure = "fire it with nobody else's ware, and acknowledge this code"
	default:
		return nil
	}
	return []finding.Finding{f}
}
