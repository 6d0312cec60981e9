package hazard

import (
	"math"
	"slices"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
)

// acids finds mineral acids, acid salts, salts of aluminium and iron whose solutions are acid, and the organic acids of the
// table. Boric acid is too weak to count.
func acids(c *compound) []Trait {
	if c.n("H") > 0 && (c.isMineralAcid() || c.isOrganicAcid()) || c.isAcidSalt() || c.isHydrolysing() {
		return []Trait{Acid}
	}
	return nil
}

// leastAcidState is what the middle of an oxygen acid has at least; below it lie hydrogen sulfide, ammonia and ammonium
// nitrate.
var leastAcidState = map[string]float64{"S": 3.5, "P": 0.9, "N": 2.9}

func (c *compound) isMineralAcid() bool {
	for _, halogen := range []string{"F", "Cl", "Br", "I"} {
		if c.n(halogen) > 0 && c.only("H", "O", halogen) {
			return true
		}
	}
	for middle, least := range leastAcidState {
		if c.n(middle) > 0 && c.only("H", "O", middle) {
			state, known := c.state(middle, high)
			return known && state >= least
		}
	}
	return false
}

// isAcidSalt finds sulfates with hydrogen that neither water nor ammonium accounts for, as in NaHSO4 or, with too little
// oxygen, K2S2O7; and phosphates with two such hydrogens for each phosphorus.
func (c *compound) isAcidSalt() bool {
	if c.sum("C", "Si", "F", "Cl") > 0 || c.n("O") == 0 {
		return false
	}
	switch {
	case c.n("S") > 0 && c.n("P") == 0 && slices.Contains(sulfurs(c), Sulfate):
		free := c.n("H") - 2*(c.n("O")-4*c.n("S")) - 4*c.n("N")
		return free > 0.1*c.n("S") && len(c.counts) > 2
	case c.n("P") > 0 && c.n("S") == 0 && c.n("H") > 0:
		free := c.n("H") - 2*(c.n("O")-4*c.n("P")) - 4*c.n("N")
		return free >= 1.5*c.n("P")
	default:
		return false
	}
}

// isHydrolysing finds sulfates and chlorides of aluminium and iron with at least one anion for each such metal, alums among
// them; basic ones such as alunite hardly dissolve.
func (c *compound) isHydrolysing() bool {
	metal := c.sum("Al", "Fe")
	if metal == 0 {
		return false
	}
	with := slices.Concat(alkali, []string{"Al", "Fe", "H", "O", "N"})
	switch {
	case c.n("S") > 0:
		return c.n("S") >= metal && c.only(append(with, "S")...) && slices.Contains(sulfurs(c), Sulfate)
	case c.n("Cl") > 0:
		return c.n("Cl") >= metal && c.only(append(with, "Cl")...) && c.halogenate("Cl") == ""
	default:
		return false
	}
}

var organicAcids = sync.OnceValue(func() []chem.Formula {
	var formulas []chem.Formula
	for _, acid := range data.OrganicAcids() {
		formula, err := chem.ParseFormula(acid.Formula)
		if err != nil {
			panic("bug: " + err.Error())
		}
		formulas = append(formulas, formula)
	}
	return formulas
})

// isOrganicAcid compares with the acids of the table, with up to three waters.
func (c *compound) isOrganicAcid() bool {
	if !c.only("C", "H", "O") {
		return false
	}
	return slices.ContainsFunc(organicAcids(), func(acid chem.Formula) bool {
		water := c.n("O") - acid.Count("O")
		return c.n("C") == acid.Count("C") && c.n("H")-acid.Count("H") == 2*water && water >= 0 && water <= 3 &&
			water == math.Trunc(water)
	})
}
