package assess

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

func TestWhatAChargeLeavesInItsVessel(t *testing.T) {
	reduced := fired(chem.Reduce, 800, add("quartz", 100), add("charcoal", 10), add("sulfur", 10))
	reduced.Atmosphere = heat.Reducing
	for name, c := range map[string]struct {
		stage chem.Stage
		want  []string
	}{
		"nothing that stays":        {fired(chem.Calcine, 600, add("kaolin", 100)), nil},
		"sulfur, and no carbon":     {reduced, []string{"sulfur"}},
		"a tenth of a per cent":     {fired(chem.Sinter, 900, add("quartz", 999.1), add("copper", 0.9)), nil},
		"more than that colours":    {fired(chem.Sinter, 900, add("quartz", 998.9), add("copper", 1.1)), []string{"copper"}},
		"lead, which also leaves":   {fired(chem.Sinter, 900, add("quartz", 100), add("red-lead", 10)), []string{"lead", "volatile_metal"}},
		"what melts onto the wall":  {fired(chem.Melt, 1000, add("quartz", 100)), []string{"melt"}},
		"a glaze":                   {fired(chem.Glaze, 1000, add("quartz", 100), add("chrome-green", 5)), []string{"chromium", "glaze"}},
		"salt and fluorspar":        {fired(chem.Sinter, 900, add("quartz", 100), add("salt", 5), add("fluorspar", 5)), []string{"chloride", "fluoride"}},
		"as little iron as in clay": {fired(chem.Sinter, 900, add("quartz", 90), add("pyrite", 10)), []string{"sulfur"}},
		"more iron than in clay":    {fired(chem.Sinter, 900, add("quartz", 85), add("pyrite", 15)), []string{"iron", "sulfur"}},
	} {
		assert.Equal(t, c.want, charge(t, c.stage).LeavesInVessel(0), name)
	}
	for _, word := range append(heat.Contents(), GlazeOnWall, MeltOnWall) {
		assert.Contains(t, words(data.VesselWords()), word, "the table knows every word of a furnace's exclusions")
	}
}

func words(rows []data.VesselWord) (list []string) {
	for _, row := range rows {
		list = append(list, row.Word)
	}
	return list
}

func TestWhatSpoilsIsWhatTheChargeDoesNotHold(t *testing.T) {
	assert.Empty(t, Spoils(nil, []string{"iron"}))
	assert.Empty(t, Spoils([]string{"iron"}, []string{"iron", "sulfur"}))
	assert.Equal(t, []string{"sulfur"}, Spoils([]string{"iron", "sulfur"}, []string{"iron"}))
}

func TestARealVesselStandsForTheRecipes(t *testing.T) {
	stage := fired(chem.Calcine, 900, add("calcite", 100))
	stage.Vessel = chem.Vessel{Kind: chem.Crucible, TopCelsius: 800}
	furnace := pot()
	furnace.ToleranceCelsius = 10
	c := charge(t, stage)
	codes := func(top float64, lid chem.Lid) (list []string) {
		for _, f := range c.InVessel(0, chem.Vessel{Kind: chem.Crucible, TopCelsius: top}, lid, furnace) {
			list = append(list, f.Code)
		}
		return list
	}
	assert.Empty(t, codes(910, ""))
	assert.Equal(t, []string{CodeVesselNearTop}, codes(909, chem.LooseLid))
	assert.Equal(t, []string{CodeVesselTooHot}, codes(899, chem.OpenLid))
	assert.Equal(t, []string{"SEALED_OVER_GAS"}, codes(0, chem.SealedLid))
	assert.True(t, finding.Blocks(c.InVessel(0, chem.Vessel{}, chem.SealedLid, furnace)))
	stage.Lid = chem.SealedLid
	assert.Empty(t, charge(t, stage).InVessel(0, chem.Vessel{}, chem.SealedLid, furnace), "the recipe's lid is refused already")
}
