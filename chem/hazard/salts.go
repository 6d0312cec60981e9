package hazard

import (
	"math"
	"slices"

	"saggar/chem"
)

var (
	halogens    = []string{"F", "Cl", "Br", "I"}
	fulminating = []string{"Ag", "Au"}
)

// leastCarbonateOxygen is below the three oxygens that a carbonate has for each carbon, so that rounding does no harm.
const leastCarbonateOxygen = 2.7

// salts finds what metals take oxygen, sulfur or halogens from beside the oxides, and what silver and gold turn explosive
// from.
func salts(c *compound) []Trait {
	var found []Trait
	for _, asked := range []struct {
		trait Trait
		shown bool
	}{
		{Halogen, c.isElement("Cl") || c.isElement("Br") || c.isElement("I")},
		{Carbonate, c.isCarbonate()},
		{ReducibleSalt, c.isReducibleSalt()},
		{Carbide, c.n("C") > 0 && c.sum("Si", "B") > 0 && c.only("Si", "B", "C")},
		{Silicide, c.isSilicide()},
		{SilverOxide, c.isSilverOxide()},
		{HydrogenPeroxide, c.n("H") > 0 && c.only("H", "O") && c.n("O") > leastPeroxideOxygen*c.n("H")},
	} {
		if asked.shown {
			found = append(found, asked.trait)
		}
	}
	return found
}

// leastPeroxideOxygen is above the half oxygen that water has for each hydrogen; hydrogen peroxide has one.
const leastPeroxideOxygen = 0.55

// isSilverOxide finds oxides, hydroxides and carbonates of silver and gold.
func (c *compound) isSilverOxide() bool {
	with := append(slices.Clone(fulminating), "O", "H", "C")
	return c.n("O") > 0 && c.sum(fulminating...) > 0 && c.only(with...) && !c.isOrganic()
}

// isCarbonate finds carbonates of metals that are not reducible themselves.
func (c *compound) isCarbonate() bool {
	easy, _ := reducible()
	return c.n("C") > 0 && c.n("O") >= leastCarbonateOxygen*c.n("C") && len(c.counts) > 2 && !c.isOrganic() &&
		c.sum(append(slices.Clone(easy), "N", "Si", "P", "S")...) == 0
}

// isReducibleSalt finds halides and sulfides, with water at most, of the metals whose oxides are easily reduced.
func (c *compound) isReducibleSalt() bool {
	easy, _ := reducible()
	with := slices.Concat(easy, alkali, halogens, []string{"S", "H", "O"})
	water := math.Abs(c.n("H")-2*c.n("O")) <= 0.02*math.Max(1, c.n("H"))
	return c.sum(easy...) > 0 && c.sum(append(slices.Clone(halogens), "S")...) > 0 && c.only(with...) && water
}

// leastSilicideShare is the mass share of silicon from which an alloy counts as one of silicon: common practice, no source.
// Silicon bronze and electrical steel lie below it, ferrosilicon above.
const leastSilicideShare = 0.14

// isSilicide finds alloys of silicon with metals that are not energetic by themselves.
func (c *compound) isSilicide() bool {
	if c.n("Si") == 0 || len(c.counts) < 2 {
		return false
	}
	kind := c.metalKind()
	if kind == "" || slices.Contains(metals(c), EnergeticMetal) {
		return false
	}
	i := slices.IndexFunc(c.elements, func(e chem.ElementCount) bool { return e.Symbol == "Si" })
	return c.elements[i].MassFraction >= leastSilicideShare
}

// mineral is the make-up of a group of minerals, in atoms for each silicon.
type mineral struct{ cations, oxygen, hydrogen float64 }

// The minerals of which some are asbestos by 29 CFR 1910.1001(b), with their formulas from general mineralogy: serpentine
// Mg3Si2O5(OH)4; tremolite, actinolite, anthophyllite and grunerite (Ca, Mg, Fe)7Si8O22(OH)2; riebeckite Na2Fe5Si8O22(OH)2,
// which has the same seven.
var asbestiform = []mineral{{cations: 1.5, oxygen: 4.5, hydrogen: 2}, {cations: 0.875, oxygen: 3, hydrogen: 0.25}}

// mineralTolerance is how far an atom ratio may lie from the mineral's. Talc is 14 % away from the amphiboles in its cations.
const mineralTolerance = 0.06

// minerals finds silicates that have the composition of an asbestos. Whether they are fibres, no composition shows.
func minerals(c *compound) []Trait {
	silicon := c.n("Si")
	if silicon == 0 || c.n("H") == 0 || !c.only("Mg", "Fe", "Mn", "Ca", "Na", "Si", "O", "H") {
		return nil
	}
	near := func(atoms, ratio float64) bool { return math.Abs(atoms/silicon-ratio) <= mineralTolerance*ratio }
	cations := c.sum("Mg", "Fe", "Mn", "Ca", "Na")
	if slices.ContainsFunc(asbestiform, func(m mineral) bool {
		return near(cations, m.cations) && near(c.n("O"), m.oxygen) && near(c.n("H"), m.hydrogen)
	}) {
		return []Trait{AsbestosMineral}
	}
	return nil
}
