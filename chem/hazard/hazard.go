// Package hazard says what a compound's composition alone shows of its dangers, in words that the rules of the trade ask
// about. It judges by the counts of the elements and their usual oxidation states, never by how the formula is written,
// so that K(NO3), N1O3K and KNO3 are one thing; the text helps only where the counts leave it open. It knows nothing of
// amounts, furnaces or recipes, and a danger that no composition shows (fine powder, radiation, a trade product) is not
// seen: materials declare those.
package hazard

import (
	"slices"

	"strings"

	"saggar/chem"
)

// Trait is one thing that a rule of the trade asks of what lies in a charge. Those that a material can declare have the
// same words as chem.Hazard.
type Trait string

const (
	Oxidiser     Trait = "oxidiser" // any of the seven below
	Nitrate      Trait = "nitrate"  // nitrites too
	Chlorate     Trait = "chlorate" // chlorates, chlorites, hypochlorites, and those of bromine and iodine
	Perchlorate  Trait = "perchlorate"
	Permanganate Trait = "permanganate" // manganates too
	Chromate     Trait = "chromate"     // chromium(VI)
	Ferrate      Trait = "ferrate"      // iron(V) and iron(VI)
	Peroxide     Trait = "peroxide"     // more oxygen than the elements bind: peroxides, perborates, persulfates

	Sulfur     Trait = "sulfur" // the element
	Sulfide    Trait = "sulfide"
	Sulfite    Trait = "sulfite" // thiosulfates too
	Sulfate    Trait = "sulfate"
	Carbon     Trait = "carbon" // the element
	Organic    Trait = "organic"
	Phosphorus Trait = "phosphorus" // the element

	Metal          Trait = "metal_powder" // any metal or alloy but the noble ones, powder or not
	EnergeticMetal Trait = "energetic_metal"
	StrongReducer  Trait = "strong_reducer"
	WaterReactive  Trait = "water_reactive" // alkali metals, and hydrides, carbides and phosphides that water takes apart
	MetalOxide     Trait = "metal_oxide"    // reducible; hydroxides and carbonates that become such too
	HardOxide      Trait = "hard_oxide"     // reducible by strong reducers only
	ReducibleSalt  Trait = "reducible_salt" // halides and sulfides of the metals with reducible oxides
	Carbonate      Trait = "carbonate"      // of other metals
	Halogen        Trait = "halogen"        // the element
	Carbide        Trait = "carbide"        // of silicon or boron
	Silicide       Trait = "silicide"       // ferrosilicon and the like

	Acid            Trait = "acid"
	StrongAlkali    Trait = "strong_alkali"
	AlkaliSalt      Trait = "alkali_salt"       // free alkali: carbonate, hydroxide, oxide, nitrate or organic salt
	EarthAlkaliSalt Trait = "earth_alkali_salt" // the same of calcium, strontium and barium
	Ammonium        Trait = "ammonium"          // urea and amines too
	Azide           Trait = "azide"
	Cyanide         Trait = "cyanide"

	Explosive        Trait = "explosive" // of itself, as far as composition shows
	HydrogenPeroxide Trait = "hydrogen_peroxide"
	SilverOxide      Trait = "silver_oxide"     // or gold's; hydroxides and carbonates too
	AsbestosMineral  Trait = "asbestos_mineral" // has the composition of one, fibre or not

	ChromiumThree Trait = "chromium_three" // chromium that is not chromium(VI)
	Silica        Trait = "silica_dust"
)

// Of lists what a formula shows, each trait once; nil for the zero formula. The order of the traits is fixed.
func Of(formula chem.Formula) []Trait {
	if formula.IsZero() {
		return nil
	}
	c := newCompound(formula)
	var found []Trait
	for _, judge := range []func(*compound) []Trait{
		oxidisers, sulfurs, carbons, metals, waterReactive, reducibleOxides, acids, alkalis, nitrogens, plain,
		explosives, salts, minerals,
	} {
		for _, trait := range judge(c) { // two elements of one compound may show the same
			if !slices.Contains(found, trait) {
				found = append(found, trait)
			}
		}
	}
	return found
}

// oxidisers finds the oxidising anions; each also counts as an oxidiser, which is named first.
func oxidisers(c *compound) []Trait {
	if c.n("O") == 0 {
		return nil
	}
	found := c.otherAnions()
	if len(found) == 0 && c.isNitrate() { // else the nitrogen is ammonium, or it would not have come to the other anion
		found = append(found, Nitrate)
	}
	if c.isPeroxide() {
		found = append(found, Peroxide)
	}
	if len(found) > 0 {
		found = append([]Trait{Oxidiser}, found...)
	}
	return found
}

// otherAnions finds the oxidising anions that hold no nitrogen.
func (c *compound) otherAnions() []Trait {
	var found []Trait
	if c.n("O") == 0 {
		return nil
	}
	for _, halogen := range []string{"Cl", "Br", "I"} {
		if trait := c.halogenate(halogen); trait != "" {
			found = append(found, trait)
		}
	}
	if c.reaches("Mn", leastManganateState, c.mostState(), "MnO4") {
		found = append(found, Permanganate)
	}
	if c.isChromate() {
		found = append(found, Chromate)
	}
	if !c.isChromate() && c.reaches("Fe", leastFerrateState, mostAnionState) {
		found = append(found, Ferrate)
	}
	return found
}

// States from which an element counts as part of an oxidising anion. Each lies between what the harmless and the oxidising
// compounds have (chloride -1 and hypochlorite 1, manganite 4 and manganate 6, chromium dioxide 4 and chromate 6), so that
// rounded subscripts do no harm.
const (
	leastNitrateState     = -1.5 // ammonium has -3, ammonium nitrate 1 on average
	leastHalogenateState  = -0.3 // bleaching powder, half chloride and half hypochlorite, has 0 on average
	leastBesideFramework  = 0.9  // where a rounded silicate or phosphate holds chloride, such an average decides nothing
	leastPerchlorateState = 5.9
	leastManganateState   = 5.3
	leastChromateState    = 4.7
	leastFerrateState     = 4.5
	mostAnionState        = 7.5
	anyHigher             = 1e9
)

// mostState bounds the state of an oxidising anion's middle: beside nitrogen, of which it is not known what it is, by what
// such an anion can have; else not at all, since what a firing has half taken apart may show more.
func (c *compound) mostState() float64 {
	if c.n("N") > 0 {
		return mostAnionState
	}
	return anyHigher
}

func (c *compound) isNitrate() bool {
	if c.reaches("N", leastNitrateState, anyHigher, "NO3", "NO2") {
		return true
	}
	return c.n("N") > 0 && c.n("C") > 0 && c.writes("NO3", "NO2") // carbon's own state is open there
}

func (c *compound) halogenate(symbol string) Trait {
	least := leastHalogenateState
	if c.sum("Si", "Al", "P") > 0 {
		least = leastBesideFramework
	}
	switch {
	case symbol == "Cl" && c.reaches(symbol, leastPerchlorateState, c.mostState(), "ClO4"):
		return Perchlorate
	case c.reaches(symbol, least, c.mostState(), symbol+"O3", symbol+"O2", symbol+"O4"):
		return Chlorate
	default:
		return ""
	}
}

func (c *compound) isChromate() bool {
	return c.reaches("Cr", leastChromateState, mostAnionState, "CrO4", "Cr2O7")
}

// leastPeroxideShare is the share of the oxygen, water aside, that nothing binds in a peroxide: an eighth in persulfate,
// half in barium peroxide.
const leastPeroxideShare = 0.1

// isPeroxide looks only at elements with one state, where oxygen in excess can be nothing else.
func (c *compound) isPeroxide() bool {
	if !c.only("H", "Li", "Na", "K", "Rb", "Cs", "Mg", "Ca", "Sr", "Ba", "Zn", "B", "C", "S", "N", "O") {
		return false
	}
	if c.n("H") < 3*c.n("N") || c.n("N") > 0 && c.n("S") == 0 {
		return false // nitrogen has one state only as ammonium, here of a persulfate
	}
	excess := 2 * c.n("O")
	for _, e := range c.elements {
		if e.Symbol != "O" {
			excess -= e.Count * states()[e.Symbol].High
		}
	}
	return excess > leastPeroxideShare*2*c.dryOxygen()
}

// writes reports whether the formula's text has one of the groups.
func (c *compound) writes(groups ...string) bool {
	for _, group := range groups {
		if strings.Contains(c.text, group) {
			return true
		}
	}
	return false
}
