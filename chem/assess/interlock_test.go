package assess

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

func TestAnInterlocksTestCountsToItsLastDay(t *testing.T) {
	for name, c := range map[string]struct {
		interlock heat.FanInterlock
		branch    string
		firing    string
		months    int
		code      string
	}{
		"tested":                     {heat.FanInterlock{Kind: heat.FlowSwitch, TestedOn: "2026-10-05"}, "fan/hood", "2027-03-01", 0, ""},
		"on the last day":            {heat.FanInterlock{Kind: heat.FlowSwitch, TestedOn: "2026-10-05"}, "fan/hood", "2027-10-05", 0, ""},
		"a day after it":             {heat.FanInterlock{Kind: heat.FlowSwitch, TestedOn: "2026-10-05"}, "fan/hood", "2027-10-06", 0, CodeInterlockDue},
		"sooner where a studio says": {heat.FanInterlock{Kind: heat.CurrentRelay, TestedOn: "2026-10-05"}, "fan/hood", "2027-04-06", 6, CodeInterlockDue},
		"never tested":               {heat.FanInterlock{Kind: heat.PressureSwitch}, "fan/hood", "2027-03-01", 0, CodeInterlockDue},
		"to be tested":               {heat.FanInterlock{Kind: heat.PressureSwitch, TestedOn: "2027-03-02"}, "fan/hood", "2027-03-05", 0, CodeInterlockDue},
		"none":                       {heat.FanInterlock{Kind: heat.NoInterlock, TestedOn: "2026-10-05"}, "fan/hood", "2027-03-01", 0, CodeInterlockMissing},
		"nobody has said":            {heat.FanInterlock{}, "fan/hood", "2027-03-01", 0, CodeInterlockMissing},
		"no branch, no fan":          {heat.FanInterlock{}, "", "2027-03-01", 0, ""},
	} {
		t.Run(name, func(t *testing.T) {
			f := pot()
			f.FanInterlock, f.Branch = c.interlock, c.branch
			found := Interlock{Furnace: f, OnDate: today, FiringDate: c.firing, TestMonths: c.months}.Findings()
			if c.code == "" {
				assert.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			assert.Equal(t, c.code, found[0].Code)
			assert.Equal(t, "pot", found[0].About)
			assert.NotEmpty(t, found[0].Cure)
			assert.NotEmpty(t, found[0].Source)
		})
	}
}

func TestAMissingInterlockWarnsWhereAStoppedFanPassesALimit(t *testing.T) {
	bare := pot()
	bare.FanInterlock = heat.FanInterlock{}
	for name, c := range map[string]struct {
		sulfurGrams float64
		severity    finding.Severity
	}{
		"much sulfur": {20, finding.Warn}, "next to none": {0.001, finding.Note},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := site(bare).Recipe(recipe(fired(chem.Oxidise, 500, add("sulfur", c.sulfurGrams), add("quartz", 500))), materials(), chem.Scale{})
			require.NoError(t, err)
			var found []finding.Finding
			for _, f := range got.Findings {
				if f.Code == CodeInterlockMissing {
					found = append(found, f)
				}
			}
			require.Len(t, found, 1)
			assert.Equal(t, c.severity, found[0].Severity)
			if c.severity == finding.Warn {
				assert.NotEqual(t, commonPractice, found[0].Source, "the limit's source")
				assert.NotEmpty(t, found[0].Figures)
			}
		})
	}
}

func TestAWorkingInterlockChangesWordsAndNoFigure(t *testing.T) {
	stage := recipe(fired(chem.Oxidise, 500, add("sulfur", 20), add("quartz", 500)))
	bare := pot()
	bare.FanInterlock = heat.FanInterlock{}
	with, err := site(pot()).Recipe(stage, materials(), chem.Scale{})
	require.NoError(t, err)
	without, err := site(bare).Recipe(stage, materials(), chem.Scale{})
	require.NoError(t, err)
	fitted, none := with.Stages[0].Air.Failure, without.Stages[0].Air.Failure
	assert.Equal(t, none.Limits, fitted.Limits)
	assert.Equal(t, none.Findings[0].Figures, fitted.Findings[0].Figures)
	assert.Equal(t, none.Findings[0].Message, fitted.Findings[0].Message)
	assert.Contains(t, fitted.Findings[0].Cure, "the flow switch of pot cuts the heat by itself")
	assert.Contains(t, fitted.Findings[0].Cure, "gives gas off all the same")
	assert.NotContains(t, none.Findings[0].Cure, "by itself")
	due := Interlock{Furnace: pot(), Failure: &air.FanFailure{Findings: []finding.Finding{{Cure: "leave"}}}, OnDate: "2028-01-01"}
	due.Say()
	assert.Equal(t, "leave", due.Failure.Findings[0].Cure, "one that is not tested is no help")
}
