package assess

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
)

func TestAProgramHotterThanItsVesselIsRefused(t *testing.T) {
	for _, c := range []struct {
		name             string
		vessel           chem.Vessel
		celsius, charged float64
		refused          bool
	}{
		{"cooler", chem.Vessel{Kind: chem.Crucible, TopCelsius: 1100}, 1000, 0, false},
		{"at its top", chem.Vessel{Kind: chem.Crucible, TopCelsius: 1000}, 1000, 0, false},
		{"just above", chem.Vessel{Kind: chem.Crucible, TopCelsius: 999.9}, 1000, 0, true},
		{"charged hotter than fired", chem.Vessel{Kind: chem.Tray, TopCelsius: 1050}, 1000, 1100, true},
		{"of no kind", chem.Vessel{TopCelsius: 900}, 1000, 0, true},
		{"of no figure", chem.Vessel{Kind: chem.Saggar}, 1000, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			stage := fired(chem.Sinter, c.celsius, add("quartz", 100))
			stage.Vessel, stage.ChargeAtCelsius = c.vessel, c.charged
			found := withCode(charge(t, stage).Findings, CodeVesselTooHot)
			if !c.refused {
				assert.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			assert.Equal(t, finding.Block, found[0].Severity)
			assert.Equal(t, "stages[0].vessel.top_celsius", found[0].Field)
			assert.Contains(t, found[0].Cure, "fire to at most")
			assert.NotEmpty(t, found[0].Source)
		})
	}
	stage := fired(chem.Sinter, 1000, add("quartz", 100))
	stage.Vessel = chem.Vessel{Kind: chem.Saggar, TopCelsius: 950}
	found := withCode(charge(t, stage).Findings, CodeVesselTooHot)
	require.Len(t, found, 1)
	assert.Equal(t, "stage s-sinter fires to 1000 C, its saggar takes at most 950 C", found[0].Message)
	assert.Equal(t, "fire to at most 950 C, or use a saggar that takes 1000 C", found[0].Cure)
}

func TestTheFurnacesToleranceNearAVesselsTopIsNoted(t *testing.T) {
	furnace := pot()
	furnace.ToleranceCelsius = 10
	for top, noted := range map[float64]bool{0: false, 999: false, 1000: true, 1009: true, 1010: false} {
		stage := fired(chem.Sinter, 1000, add("quartz", 100))
		stage.Vessel.TopCelsius = top
		found := withCode(treat(t, site(furnace), "pot", stage).Findings, CodeVesselNearTop)
		assert.Equal(t, noted, len(found) == 1, "%g C", top)
	}
}
