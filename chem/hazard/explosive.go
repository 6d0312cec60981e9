package hazard

import "slices"

// Bounds by which a compound of carbon, hydrogen, nitrogen and oxygen counts as one that may explode: common practice, no
// source. TNT has an oxygen balance of -74 % (published example), dinitrotoluene, which does not explode of itself, -114 %.
const (
	leastExplosiveBalance = -100.0 // per cent
	// Carbon has at most state 4; were all nitrogen that of ammonia, nitroglycerine's would have more.
	mostCarbonState = 4.05
	// Amides, amines and ammonium salts have more hydrogen or less oxygen for each nitrogen than nitro compounds.
	leastNitroOxygen, mostNitroHydrogen = 1.5, 3.9
	// Half-nitrated cellulose has as much hydrogen for each nitrogen as an ammonium salt, but more oxygen.
	leastNitrateEsterOxygen, mostNitrateEsterHydrogen = 4.2, 4.1
	// leastHalideState lies above ammonium, -3, and hydrazine, -2.
	leastHalideState = -1.9
)

// gramsOfOxygen is what the definition of the oxygen balance multiplies with: 100 times the molar mass of an oxygen atom.
const gramsOfOxygen = 1600

// explosives finds what can explode of itself by what its composition shows: nitrogen trihalides and chloramines, silver,
// gold and platinum metals with nitrogen, fulminates of these, and organic nitro compounds and nitrate esters.
func explosives(c *compound) []Trait {
	if c.isNitrogenHalide() || c.isFulminating() || c.isOrganicExplosive() {
		return []Trait{Explosive}
	}
	return nil
}

func (c *compound) isNitrogenHalide() bool {
	halogen := c.sum(halogens...)
	return c.n("N") > 0 && halogen > 0 && c.only(append(slices.Clone(halogens), "N", "H")...) &&
		(halogen-c.n("H"))/c.n("N") > leastHalideState
}

// isFulminating finds the nitrides and amides of silver and gold and their cyanates or fulminates, which have one composition.
func (c *compound) isFulminating() bool {
	noble := c.sum(fulminating...)
	if noble == 0 || c.n("N") == 0 {
		return false
	}
	return c.only(append(slices.Clone(fulminating), "N", "H")...) ||
		c.only(append(slices.Clone(fulminating), "C", "N", "O")...) && c.n("C") == c.n("N") && c.n("C") == c.n("O")
}

// isOrganicExplosive judges by the oxygen balance, in per cent -1600 (2 C + H/2 - O) / M, and by whether the nitrogen can be
// bound to oxygen.
func (c *compound) isOrganicExplosive() bool {
	carbon, nitrogen, hydrogen, oxygen := c.n("C"), c.n("N"), c.n("H"), c.n("O")
	if carbon == 0 || nitrogen == 0 || oxygen == 0 || !c.only("C", "H", "N", "O") {
		return false
	}
	if -gramsOfOxygen*(2*carbon+hydrogen/2-oxygen)/c.molarMass < leastExplosiveBalance {
		return false
	}
	oxygens, hydrogens := oxygen/nitrogen, hydrogen/nitrogen
	return (2*oxygen+3*nitrogen-hydrogen)/carbon > mostCarbonState ||
		oxygens >= leastNitroOxygen && hydrogens <= mostNitroHydrogen ||
		oxygens >= leastNitrateEsterOxygen && hydrogens <= mostNitrateEsterHydrogen
}
