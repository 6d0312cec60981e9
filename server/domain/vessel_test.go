package domain

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"saggar/chem/finding"
)

func TestAnInspectionCountsForItsDays(t *testing.T) {
	assert.Empty(t, Vessel{}.InspectedUntil())
	assert.Equal(t, "2028-01-11", Vessel{InspectedOn: "2027-01-11"}.InspectedUntil(), "365 days unless said")
	assert.Equal(t, "2027-03-01", Vessel{InspectedOn: "2027-02-28", InspectionDays: 1}.InspectedUntil())
}

func TestVesselsAreOpenToTheirOwnAndWhereTheyAreShared(t *testing.T) {
	assert.True(t, Vessel{}.OpenTo("glass"))
	assert.True(t, Vessel{Department: "glass"}.OpenTo("glass"))
	assert.False(t, Vessel{Department: "glass"}.OpenTo("ceramics"))
	assert.True(t, Vessel{Department: "glass", Shared: true}.OpenTo("ceramics"))
}

func fields(faults finding.Faults) (list []string) {
	for _, f := range faults {
		list = append(list, f.Field)
	}
	return list
}

func TestFaultsOfVesselsAndGear(t *testing.T) {
	now := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	assert.Empty(t, Vessel{Held: []string{"lead", "cobalt", "glaze"}, InspectedOn: "2027-02-28"}.Check(now))
	assert.Equal(t, []string{"held[1]", "inspected_on"}, fields(Vessel{Held: []string{"lead", "jam"}, InspectedOn: "2027-02-29"}.Check(now)))
	assert.Empty(t, Vessel{HeldTime: now.Add(clockLead)}.Check(now), "a clock may be ahead")
	assert.Equal(t, []string{"held_time"}, fields(Vessel{HeldTime: now.Add(clockLead + time.Second)}.Check(now)))
	const half = "air_purifying/negative pressure/half_mask"
	for name, c := range map[string]struct {
		gear Gear
		want []string
	}{
		"gloves":                    {Gear{Kind: Gloves, Count: 3}, nil},
		"a half mask":               {Gear{Kind: Respirator, Class: half, CartridgeGases: []string{"SO2"}, CartridgeHours: 8}, nil},
		"without a class":           {Gear{Kind: Respirator}, []string{"respirator_class"}},
		"of a class that is none":   {Gear{Kind: Respirator, Class: "half_mask"}, []string{"respirator_class"}},
		"gloves with a class":       {Gear{Kind: Gloves, Class: half}, []string{"respirator_class"}},
		"a cartridge without hours": {Gear{Kind: Respirator, Class: half, CartridgeGases: []string{"SO2"}}, []string{"cartridge_hours"}},
		"hours without a cartridge": {Gear{Kind: Respirator, Class: half, CartridgeHours: 8}, []string{"cartridge_gases"}},
		"two cartridges as one":     {Gear{Kind: Respirator, Class: half, CartridgeGases: []string{"SO2"}, CartridgeHours: 8, Count: 2}, []string{"count"}},
		"an air line's cartridge":   {Gear{Kind: Respirator, Class: "supplied_air/demand/half_mask", CartridgeGases: []string{"SO2"}, CartridgeHours: 8}, []string{"cartridge_gases"}},
		"two for one person":        {Gear{Kind: Suit, FittedTo: "mira", Count: 2}, []string{"count"}},
		"renewed in an hour":        {Gear{Kind: Respirator, Class: half, UsedTime: now.Add(time.Hour)}, []string{"used_time"}},
		"a date that is none":       {Gear{Kind: Suit, InstalledOn: "soon"}, []string{"installed_on"}},
	} {
		assert.Equal(t, c.want, fields(c.gear.Check(now)), name)
	}
}

func TestARunHoldsWhatItsStandingStagesHave(t *testing.T) {
	run := Run{
		Loads: []Load{{Stage: "calcine", State: LoadDrawn}, {Stage: "reduce", State: LoadCancelled}},
		Inputs: RunInputs{Holds: []Hold{
			{Kind: KindVessel, ID: "pot", Count: 2, Stage: "calcine", Mark: "P"}, {Kind: KindVessel, ID: "pot", Count: 1, Stage: "reduce", Named: true},
			{Kind: KindGear, ID: "mask", Count: 1, Stage: "calcine"}, {Kind: KindGear, ID: "mask", Count: 1, Stage: "calcine"},
		}},
	}
	assert.Len(t, run.StandingHolds(), 3)
	assert.Equal(t, []VesselUse{{Vessel: "pot", Count: 2, Mark: "P"}}, run.VesselsOf("calcine", false))
	assert.Empty(t, run.VesselsOf("calcine", true))
	assert.Equal(t, []VesselUse{{Vessel: "pot", Count: 1}}, run.VesselsOf("reduce", true))
	assert.Equal(t, []string{"mask"}, run.GearOf("calcine"))
	assert.Equal(t, []string{"vessels/pot", "gear/mask"}, run.Summary().Loads[0].Holds)
}
