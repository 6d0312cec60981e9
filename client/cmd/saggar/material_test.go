package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/client/api"
)

func TestTheLibraryCanBeLoadedAsItIsPrinted(t *testing.T) {
	for _, format := range []string{"yaml", "json"} {
		printed := at(t, "", "material", "library", "--output", format)
		require.Equal(t, api.ExitOK, printed.code, printed.errOut)
		path := filepath.Join(t.TempDir(), "library."+format)
		require.NoError(t, os.WriteFile(path, []byte(printed.out), 0o600))
		known, err := (&shell{}).readMaterials([]string{path}, "bench")
		require.NoError(t, err)
		assert.Len(t, known.materials, len(chem.Library()))
		for _, material := range chem.Library() {
			assert.Equal(t, material, known.materials[material.ID])
		}
	}
	one := at(t, "", "material", "library", "show", "ball-clay", "--output", "yaml")
	path := filepath.Join(t.TempDir(), "one.yaml")
	require.NoError(t, os.WriteFile(path, []byte(one.out), 0o600))
	known, err := (&shell{}).readMaterials([]string{path}, "bench")
	require.NoError(t, err)
	clay, _ := chem.LibraryMaterial("ball-clay")
	assert.Equal(t, chem.Materials{"ball-clay": clay}, known.materials)
	table := at(t, "", "material", "library")
	assert.Contains(t, table.out, "from memory", "each with its source")
	for line := range strings.Lines(table.out) {
		assert.NotContains(t, line, "version")
	}
}

func TestSubstituteOnTheCommandLine(t *testing.T) {
	for name, c := range map[string]struct {
		args string
		code int
	}{
		"substitute":         {"--replace potash-feldspar --with pearl-ash,kaolin,quartz", api.ExitOK},
		"substitute-not-met": {"--replace kaolin --with talc,alumina", api.ExitRefused},
	} {
		for _, format := range []string{"table", "json", "yaml", "csv"} {
			r := at(t, "", append(strings.Fields("material substitute testdata/glaze.yaml "+c.args), "--output", format)...)
			assert.Equal(t, c.code, r.code, "%s %s: %s", name, format, r.errOut)
			assert.Empty(t, r.errOut)
			golden(t, name+"."+format+".golden", r.out)
		}
	}
	answer := decoded[chem.Substitution](t, "", strings.Fields("material substitute testdata/glaze.yaml --replace whiting --with dolomite,slaked-lime --tolerance 0.02")...)
	assert.True(t, answer.Met)
	assert.Zero(t, answer.Amounts[0].MassGrams, "dolomite brings magnesium that nobody wants")
	// 150 g of CaCO3 of 100.086 g/mol as Ca(OH)2 of 74.092 g/mol (abridged atomic weights, CIAAW 2021).
	assert.InDelta(t, 150/100.086*74.092, answer.Amounts[1].MassGrams, 0.01)
	own := at(t, "", strings.Fields("material substitute testdata/oxidise.yaml --replace sulfur --with sand --material-file testdata/mixtures.yaml")...)
	assert.Equal(t, api.ExitBadInput, own.code)
	assert.Contains(t, own.errOut, "testdata/mixtures.yaml:7: materials[2].parts[0].material: there is no material \"gold\"")
}

func TestARecipeIsCheckedFromALot(t *testing.T) {
	answer := checked(t, strings.Fields(offlineOxidise+"--lot-file testdata/lot.yaml --start-stage oxidise"))
	require.Len(t, answer.WeighOut, 2)
	assert.Equal(t, "lots/burnt-2", answer.WeighOut[0].Material)
	assert.InDelta(t, 12, answer.WeighOut[0].MassGrams, 1e-9)
	assert.InDelta(t, 20, answer.WeighOut[1].MassGrams, 1e-9)
	asked := checked(t, strings.Fields(offlineOxidise+"--lot-file testdata/lot.yaml --factor 2"))
	var codes []string
	for _, f := range asked.Findings {
		codes = append(codes, f.Code)
	}
	assert.Contains(t, codes, "LOT_TOO_SMALL")
}

const offlineOxidise = "recipe check testdata/oxidise.yaml --offline --studio-file testdata/studio.yaml --material-file testdata/sulfur.yaml --on-date 2027-02-27 "

// checked reads the answer of a check, refused by a finding or not.
func checked(t *testing.T, args []string) recipeCheck {
	t.Helper()
	r := at(t, "", append(args, "--output", "json")...)
	require.Contains(t, []int{api.ExitOK, api.ExitRefused}, r.code, r.errOut)
	return readCheck(t, r.out)
}

func TestALotGoesToTheServer(t *testing.T) {
	c := &checker{t: t, err: errBadLot(t)}
	r := c.onServer("testdata/oxidise.yaml", "--lot-file", "testdata/lot.yaml", "--start-stage", "oxidise")
	assert.Equal(t, "oxidise", c.request.GetStartStage())
	assert.Equal(t, "burnt-2", c.request.GetFromLot().GetId())
	assert.InDelta(t, 0.01, c.request.GetFromLot().GetMoistureFraction(), 0)
	assert.Equal(t, api.ExitBadInput, r.code)
	assert.Contains(t, r.errOut, "testdata/lot.yaml:3: mass_grams: too little: weigh it")
	assert.Contains(t, r.errOut, "--start-stage: no such stage: use another")
}

func TestBadMaterialsAndLotsAreNamedWithTheirPlace(t *testing.T) {
	const substitute = "material substitute testdata/glaze.yaml "
	for name, c := range map[string]badCommand{
		"no raw material":     {"material library show unobtainium", "", []string{"unobtainium", "material library"}},
		"nothing to replace":  {substitute + "--with quartz", "", []string{"--replace"}},
		"nothing to use":      {substitute + "--replace kaolin", "", []string{"--with"}},
		"not in the recipe":   {substitute + "--replace talc --with quartz", "", []string{"--replace", `no "talc"`}},
		"not known":           {substitute + "--replace kaolin --with gold", "", []string{"--with", `"gold"`}},
		"no element":          {substitute + "--replace kaolin --with quartz --count Xx", "", []string{"--count", `"Xx"`}},
		"nothing that counts": {"material substitute - --replace charcoal --with starch", "name: r\nstages:\n  - {id: a, kind: mix, bench_minutes: 5, additions: [{material: charcoal, mass_grams: 5}]}\n", []string{"--replace", "count only when named"}},
		"tolerance too wide":  {substitute + "--replace kaolin --with quartz --tolerance 2", "", []string{"--tolerance", "at most 1"}},
		"recipe not there":    {"material substitute absent.yaml --replace kaolin --with quartz", "", []string{"absent.yaml"}},
		"materials from -":    {substitute + "--replace kaolin --with quartz --material-file -", "", []string{"--material-file"}},
		"material not known":  {"material substitute - --replace gold --with quartz", "name: r\nstages:\n  - {id: a, kind: mix, bench_minutes: 5, additions: [{material: gold, mass_grams: 5}]}\n", []string{"standard input:3", "stages[0].additions[0].material"}},
		"stage without a lot": {offlineOxidise + "--start-stage oxidise", "", []string{"--start-stage", "--lot-file"}},
		"no such stage":       {offlineOxidise + "--start-stage polish --lot-file testdata/lot.yaml", "", []string{"--start-stage", `"polish"`}},
		"lot from -":          {offlineOxidise + "--lot-file -", "", []string{"--lot-file"}},
		"lot not there":       {offlineOxidise + "--lot-file absent.yaml", "", []string{"absent.yaml"}},
		"lot of tomorrow":     {offlineOxidise + "--lot-file testdata/lot-late.yaml", "", []string{"testdata/lot-late.yaml:4: made_on", "is after"}},
		"a lot that is none":  {offlineOxidise + "--lot-file testdata/muffle.yaml", "", []string{"muffle.yaml"}},
		"mixture of nothing":  {offlineOxidise + "--material-file testdata/mixtures.yaml", "", []string{"testdata/mixtures.yaml:7: materials[2].parts[0].material", `no material "gold"`}},
	} {
		r := at(t, c.input, strings.Fields(c.args)...)
		assert.Equal(t, api.ExitBadInput, r.code, "%s: %s", name, r.out)
		assert.Empty(t, r.out, name)
		for _, words := range c.says {
			assert.Contains(t, r.errOut, words, name)
		}
	}
}
