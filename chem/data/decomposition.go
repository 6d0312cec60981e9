package data

import (
	"slices"
	"strings"
	"sync"
)

// RuleKind says what a decomposition rule applies to.
type RuleKind string

const (
	// OfPhase rules apply to a phase with the rule's composition, however its formula is written.
	OfPhase RuleKind = "phase"
	// OfElement rules apply to the element named in phases that have no rule of their own.
	OfElement RuleKind = "element"
	// OfFreeWater is the drying of a moist charge.
	OfFreeWater RuleKind = "free_water"
	// OfWare rules apply to the impurities of ordinary ware.
	OfWare RuleKind = "ware"
)

// Yield is moles of a compound for each formula unit that breaks down.
type Yield struct {
	Formula string
	Moles   float64
}

// DecompositionRule says what a compound becomes between two temperatures. Only oxygen may differ between the
// compound and its yields, and hydrogen for the acid gases: the air of the furnace makes up for them.
type DecompositionRule struct {
	Kind    RuleKind
	Name    string
	Formula string
	Gases   []Yield
	Solids  []Yield
	// Nothing breaks down below LowCelsius and everything has at HighCelsius.
	LowCelsius, HighCelsius float64
	Read                    Read
	Source                  string
}

// SimpleOxide is the oxide that an element is stated as when nothing else is known of it.
type SimpleOxide struct {
	Element string
	Formula string
	Read    Read
	Source  string
}

var (
	decompositionRules = sync.OnceValue(func() []DecompositionRule {
		return mustRead("releases.csv", toDecompositionRule)
	})
	simpleOxides = sync.OnceValue(func() []SimpleOxide { return mustRead("oxides.csv", toSimpleOxide) })
)

// DecompositionRules returns every rule in the table's order. The yields' slices are shared: do not write to them.
func DecompositionRules() []DecompositionRule { return slices.Clone(decompositionRules()) }

// SimpleOxides returns the oxides in the order of the elements.
func SimpleOxides() []SimpleOxide { return slices.Clone(simpleOxides()) }

func toDecompositionRule(r *row) DecompositionRule {
	return DecompositionRule{
		Kind:        RuleKind(r.text("kind")),
		Name:        r.text("name"),
		Formula:     r.text("formula"),
		Gases:       r.yields("gases"),
		Solids:      r.yields("solids"),
		LowCelsius:  r.number("low_c"),
		HighCelsius: r.number("high_c"),
		Read:        Read(r.text("read")),
		Source:      r.text("source"),
	}
}

func toSimpleOxide(r *row) SimpleOxide {
	return SimpleOxide{
		Element: r.text("element"),
		Formula: r.text("formula"),
		Read:    Read(r.text("read")),
		Source:  r.text("source"),
	}
}

// yields reads "H2O:2;CO2:1".
func (r *row) yields(column string) []Yield {
	var list []Yield
	for part := range strings.SplitSeq(r.text(column), ";") {
		if part == "" {
			continue
		}
		formula, moles, _ := strings.Cut(part, ":")
		list = append(list, Yield{formula, r.positive(column, moles)})
	}
	return list
}
