package assess

import (
	"maps"
	"slices"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// The words for what has melted onto a vessel's wall.
const (
	GlazeOnWall = "glaze"
	MeltOnWall  = "melt"
)

// LeavesInVessel are the words, in order, for what a stage's charge leaves in the wall of its vessel though it is brushed out
// (chem/data, vessel-words.csv: common practice, no source).
func (c Charge) LeavesInVessel(index int) []string {
	shown := map[string]bool{}
	stage, balance := c.Recipe.Stages[index], c.Balance.Stages[index]
	for _, word := range c.contentWords(index) {
		shown[word] = true
	}
	shown[GlazeOnWall], shown[MeltOnWall] = stage.Kind == chem.Glaze, stage.Kind == chem.Melt
	grams := map[string]float64{}
	for _, e := range balance.Elements {
		grams[e.Element] = chem.Moles{e.Element: e.InMoles}.Grams()
	}
	left := map[string]bool{}
	for _, row := range data.VesselWords() {
		if row.Element != "" {
			shown[row.Word] = grams[row.Element] > row.LeastFraction*balance.MassInGrams
		}
		if row.Stays && shown[row.Word] {
			left[row.Word] = true
		}
	}
	return slices.Sorted(maps.Keys(left))
}

// Spoils are the words that a vessel's wall holds and a charge does not: what it would bring into the charge.
func Spoils(held, charge []string) []string {
	return slices.DeleteFunc(slices.Clone(held), func(word string) bool { return slices.Contains(charge, word) })
}

// InVessel holds a stage against a real vessel in place of the recipe's: its top temperature, and a lid that closes tightly over
// what gives off gas. peak findings count the furnace's tolerance.
func (c Charge) InVessel(index int, vessel chem.Vessel, lid chem.Lid, furnace heat.Furnace) []finding.Finding {
	with := c
	with.Recipe.Stages = slices.Clone(c.Recipe.Stages)
	stage := &with.Recipe.Stages[index]
	stage.Vessel = vessel
	if lid == chem.SealedLid {
		stage.Lid = lid
	}
	found := with.overheated(index)
	if stage.Program != nil {
		found = append(found, nearTop(*stage, c.Balance.Stages[index].PeakCelsius, furnace, stagePath(index))...)
		if c.Recipe.Stages[index].Lid != chem.SealedLid { // else it is said of the recipe already
			found = append(found, with.sealed(index)...)
		}
	}
	return found
}
