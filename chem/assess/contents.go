package assess

import (
	"fmt"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/chem/hazard"
)

// portion is one compound in a charge, or what a material declares of itself.
type portion struct {
	name    string // the material that brings it, or the formula of what a firing left
	formula chem.Formula
	grams   float64
	traits  []hazard.Trait
	// declared portions count however little of them there is.
	declared bool
}

// contents are all that lies in a stage's charge.
type contents struct {
	portions []portion
	grams    float64 // all of it without free water, what nobody described included
}

// names lists what brings a trait, each once; nil when nothing does, or only traces do.
func (c contents) names(trait hazard.Trait) []string {
	var names []string
	var grams float64
	declared := false
	for _, p := range c.portions {
		if slices.Contains(p.traits, trait) {
			names, grams, declared = append(names, p.name), grams+p.grams, declared || p.declared
		}
	}
	if !declared && grams <= traceShare*c.grams {
		return nil
	}
	return once(names)
}

func (c contents) has(trait hazard.Trait) bool { return len(c.names(trait)) > 0 }

func (c contents) and(other contents) contents {
	return contents{slices.Concat(c.portions, other.portions), c.grams + other.grams}
}

// stageContents is a stage's charge: what its additions bring, and that together with what came before.
type stageContents struct{ added, all contents }

// follow finds the contents of every stage. What a stage leaves is in the next one; a firing leaves what the balance says.
func (c Charge) follow() []stageContents {
	var stages []stageContents
	var carried contents
	for i, stage := range c.Recipe.Stages {
		added := c.addedAt(i)
		carried = carried.and(added)
		stages = append(stages, stageContents{added, carried})
		if stage.Program != nil {
			carried = c.leftBy(i, carried)
		}
	}
	return stages
}

func (c Charge) addedAt(index int) contents {
	var added contents
	for _, weighed := range c.Balance.Stages[index].WeighOut {
		added = added.and(broughtBy(c.Materials[weighed.Material], weighed.MassGrams))
	}
	return added
}

// broughtBy is what a mass of a material brings: what it declares, and what its compounds show. A material that cannot be
// divided never comes here: the balance has refused it.
func broughtBy(material chem.Material, massGrams float64) contents {
	parts, err := material.Breakdown(massGrams)
	if err != nil {
		return contents{}
	}
	brought := contents{grams: massGrams - parts.FreeWaterGrams}
	for _, amount := range parts.Phases {
		traits := hazard.Of(amount.Formula)
		if len(material.Oxides) > 0 {
			traits = shownInAnalysis(traits, amount.Grams()/brought.grams)
		}
		brought.portions = append(brought.portions, portion{material.ID, amount.Formula, amount.Grams(), traits, false})
	}
	if declared := declaredBy(material); len(declared) > 0 {
		brought.portions = append(brought.portions, portion{name: material.ID, traits: declared, declared: true})
	}
	return brought
}

// leastOxideShare is how much of a material an oxide of its analysis must be to lie there as such: common practice, no
// source.
const leastOxideShare = 0.5

// shownInAnalysis leaves of an oxide's traits those that hold though the oxide is bound in some other compound.
func shownInAnalysis(traits []hazard.Trait, share float64) []hazard.Trait {
	if share >= leastOxideShare {
		return traits
	}
	bound := []hazard.Trait{hazard.Sulfur, hazard.Carbon, hazard.Organic, hazard.Chromate, hazard.ChromiumThree}
	return slices.DeleteFunc(traits, func(t hazard.Trait) bool { return !slices.Contains(bound, t) })
}

// declaredBy turns what a material declares into traits. A metal powder counts as energetic unless its composition shows a
// metal that is not.
func declaredBy(material chem.Material) []hazard.Trait {
	var traits []hazard.Trait
	for _, h := range material.Hazards {
		traits = append(traits, hazard.Trait(h))
		if h == chem.HazardMetalPowder && !isTameMetal(material) {
			traits = append(traits, hazard.EnergeticMetal)
		}
	}
	return traits
}

func isTameMetal(material chem.Material) bool {
	return len(material.Phases) > 0 && !slices.ContainsFunc(material.Phases, func(p chem.Phase) bool {
		formula, err := chem.ParseFormula(p.Formula)
		return err != nil || !hazard.IsTame(hazard.MetalKind(formula))
	})
}

// leftBy is what a firing leaves: what reacts has reacted, so it shows by the formulas of what remains and of the product,
// and what a material declares holds on only while all its compounds are still there. A product with sulfur that is no
// sulfate counts as a sulfide, from which acid would set hydrogen sulfide free.
func (c Charge) leftBy(index int, before contents) contents {
	var left contents
	remaining := map[string]bool{}
	for _, amount := range c.Balance.Stages[index].Remaining {
		formula := amount.Compound
		remaining[ratios(formula)] = true
		left.portions = append(left.portions, portion{amount.Formula, formula, amount.MassGrams, hazard.Of(formula), false})
		left.grams += amount.MassGrams
	}
	left.grams += c.Balance.Stages[index].InertGrams
	for _, p := range before.portions {
		if p.declared && c.untouched(p.name, remaining) {
			left.portions = append(left.portions, p)
		}
	}
	product, err := chem.ParseFormula(c.Recipe.Stages[index].Product)
	if err == nil && product.Count("S") > 0 && !slices.Contains(hazard.Of(product), hazard.Sulfate) {
		left.portions = append(left.portions,
			portion{name: product.String(), formula: product, traits: []hazard.Trait{hazard.Sulfide}, declared: true})
	}
	return left
}

// untouched reports whether all compounds of a material are among what remains.
func (c Charge) untouched(id string, remaining map[string]bool) bool {
	phases := c.Materials[id].Phases
	return len(phases) > 0 && !slices.ContainsFunc(phases, func(p chem.Phase) bool {
		formula, err := chem.ParseFormula(p.Formula)
		return err != nil || !remaining[ratios(formula)]
	})
}

// ratios is the same text for all formulas with the same atom ratios.
func ratios(formula chem.Formula) string {
	total := 0.0
	for _, e := range formula.Elements() {
		total += e.Count
	}
	var text strings.Builder
	for _, e := range formula.Elements() {
		fmt.Fprintf(&text, "%s%.5f", e.Symbol, e.Count/total)
	}
	return text.String()
}
