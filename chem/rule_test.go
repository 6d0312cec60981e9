package chem

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"saggar/chem/data"
)

// Only oxygen may differ between a compound and what it becomes, and hydrogen for the acid gases.
func TestRulesConserveTheirElements(t *testing.T) {
	for _, row := range data.Reactions() {
		if row.Kind == data.OfElement || !row.Decides() {
			continue
		}
		difference := Moles{}
		difference.Add(tabled(row.Formula).counts, 1)
		acid := false
		for _, yield := range append(tabledYields(row.Gases), tabledYields(row.Solids)...) {
			difference.Add(yield.Formula.counts, -yield.Moles)
			acid = acid || yield.Formula.String() == "HF" || yield.Formula.String() == "HCl"
		}
		for symbol, moles := range difference {
			if symbol == "O" || (symbol == "H" && acid) {
				continue
			}
			assert.InDelta(t, 0, moles, 1e-12, "%s: %s", row.Name, symbol)
		}
	}
}

// Reactions between several reactants and transitions decide nothing in the balance of single phases.
func TestRulesAreOfSinglePhases(t *testing.T) {
	for formula, ruled := range map[string]bool{
		"FeS2": false, "Cu2S": false, "ZnS": false, "C6H10O5": false, "S": true, "C": true, "Al(OH)3": true, "AlO(OH)": true,
		"KAl3Si3O10(OH)2": true,
	} {
		assert.Equal(t, ruled, rules().byPhase[tabled(formula).key()] != nil, formula)
	}
	assert.Equal(t, "sulfur", rules().byPhase[tabled("S").key()].Name, "it burns; that it melts and boils changes nothing")
}

// The rules' chains end: what a rule leaves behind never leads back to where it came from.
func TestRulesHaveNoCycle(t *testing.T) {
	for key, start := range rules().byPhase {
		open := []*rule{start}
		for steps := 0; len(open) > 0; steps++ {
			if !assert.Less(t, steps, maxBreakDownSteps-1, start.Name) {
				break
			}
			var next []*rule
			for _, r := range open {
				for _, solid := range r.solids {
					if follower := rules().byPhase[solid.Formula.key()]; follower != nil {
						assert.NotEqual(t, key, solid.Formula.key(), start.Name)
						next = append(next, follower)
					}
				}
			}
			open = next
		}
	}
}

func TestPassedIsTheShareOfTheRange(t *testing.T) {
	mica := rules().byPhase[tabled("KAl3Si3O10(OH)2").key()] // 400 to 900 C
	for celsius, want := range map[float64]float64{-20: 0, 399.9: 0, 400: 0, 550: 0.3, 900: 1, 1200: 1} {
		assert.InDelta(t, want, mica.passed(celsius), 1e-12, "%g", celsius)
	}
}

func TestOxidesHoldTheirElement(t *testing.T) {
	for _, row := range data.SimpleOxides() {
		assert.Positive(t, rules().oxides[row.Element].Count(row.Element), row.Element)
	}
	assert.Equal(t, "Au", rules().asOxide("Au", 1).Formula.String())
}
