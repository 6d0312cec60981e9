package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestTheRiskOfARun(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetRiskAssessment", &saggarv1.RiskAssessment{
		Name: "studios/marl-lane/runs/tiles/riskAssessment", Title: "Marl Lane", TimeZone: "Europe/Lisbon", AsOfTime: instant("2027-03-01T12:00:00Z"),
		Run: &saggarv1.Run{
			Name: "studios/marl-lane/runs/tiles", Title: "Tiles", Recipe: "studios/marl-lane/recipes/bisque/versions/2", Department: "ceramics",
			Maker: "mira", State: saggarv1.RunState_RUN_STATE_CONFIRMED,
			StageWindows: []*saggarv1.StageWindow{{Stage: "bisque", Furnace: "muffle", Phases: bisquePhases()}},
		},
		Assessment: &saggarv1.CheckRecipeResponse{Findings: []*saggarv1.Finding{warning(saggarv1.Severity_SEVERITY_WARN)}, Caution: "Planning estimates."},
		Acknowledgements: []*saggarv1.Acknowledgement{
			{Code: "AIR_SHORT_TERM_LIMIT", Caller: "tess", AcknowledgeTime: instant("2027-02-27T09:00:00Z"), Stands: true}, {Code: "OLD_ONE"},
		},
		OpenFindingCodes: []string{"HEAT_OPENED_REDUCING"}, Missing: []string{"no stop steps are recorded for muffle"},
	})
	path := filepath.Join(t.TempDir(), "risk.html")
	golden(t, "risk.table.golden", f.succeed("run", "risk", "tiles", "--html", path))
	assertSame(t, &saggarv1.GetRiskAssessmentRequest{Name: "studios/marl-lane/runs/tiles/riskAssessment"}, asked[*saggarv1.GetRiskAssessmentRequest](f))
	page, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Contains(t, string(page), "Risk assessment: Tiles")
	assert.Contains(t, f.succeed("run", "risk", "tiles", "--output", "json"), `"open_finding_codes"`)
	assert.NotZero(t, f.run("run", "risk").code)
	assert.NotZero(t, f.run("run", "risk", "Not An Id").code)
}
