package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/client/api"
	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

func lotArgs(flags ...string) []string {
	return append([]string{"recipe", "lot", demo + "sodalite-blue.yaml", "--material-file", demo + "materials.yaml"}, flags...)
}

// What the verb writes is what a check reads: the later stages start from it.
func TestALotOfAnIntermediateStartsTheLaterStages(t *testing.T) {
	r := at(t, "", lotArgs("--after", "calcine", "--id", "clay-3", "--made-on", "2027-02-20", "--output", "yaml")...)
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	path := filepath.Join(t.TempDir(), "lot.yaml")
	require.NoError(t, os.WriteFile(path, []byte(r.out), 0o600))
	lot := &saggarv1.Lot{}
	_, err := file.Read(path, lot, file.Options{})
	require.NoError(t, err)
	assert.Equal(t, "calcine", lot.GetFromStage())
	whole, _ := offlineDemo(t, []string{demo + "sodalite-blue.yaml"})
	assert.InEpsilon(t, whole.Stages[0].MassOutGrams, lot.GetMassGrams(), 1e-3)
	later, _ := offlineDemo(t, []string{demo + "sodalite-blue.yaml"}, "--lot-file", path, "--start-stage", "pack")
	require.Len(t, later.Stages, len(whole.Stages)-1)
	assert.InEpsilon(t, whole.Stages[1].MassInGrams, later.Stages[0].MassInGrams, 1e-3)
}

func TestALotIsOnATableToo(t *testing.T) {
	r := at(t, "", lotArgs("--after", "calcine", "--id", "clay-3", "--made-on", "2027-02-20")...)
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	assert.Contains(t, r.out, "Lot clay-3 after calcine: ")
	assert.Contains(t, r.out, "Al2Si2O7")
}

func TestWhatIsWrongWithALotIsNamedByItsFlag(t *testing.T) {
	for want, flags := range map[string][]string{
		"--after: there is no stage \"polish\"": {"--after", "polish", "--id", "x", "--made-on", "2027-02-20"},
		"--made-on: ":                           {"--after", "calcine", "--id", "x", "--made-on", "soon"},
		"--id: ":                                {"--after", "calcine", "--id", "No Id", "--made-on", "2027-02-20"},
	} {
		r := at(t, "", lotArgs(flags...)...)
		assert.Equal(t, api.ExitBadInput, r.code, want)
		assert.Contains(t, r.errOut, want)
	}
	r := at(t, "", "recipe", "lot", demo+"sodalite-blue.yaml", "--after", "calcine", "--id", "x", "--made-on", "2027-02-20")
	assert.Equal(t, api.ExitBadInput, r.code)
	assert.Contains(t, r.errOut, "--material-file")
}
