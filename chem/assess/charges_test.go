package assess

import (
	"encoding/csv"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// chargeCase is a line of testdata/charges.csv. A charge is "FORMULA[declared hazard]{moisture}:grams" joined by ";", with +
// before what is fed hot and @ before a material of analysed. What came before is "kind@celsius/atmosphere>product: charge".
// Expected are all findings that refuse or warn, as "SEVERITY:CODE".
type chargeCase map[string]string

// analysed are invented materials that an oxide analysis describes.
var analysed = map[string][]chem.Oxide{
	"frit":      {{Formula: "SiO2", MassFraction: 0.6}, {Formula: "Na2O", MassFraction: 0.15}, {Formula: "B2O3", MassFraction: 0.25}},
	"lead-frit": {{Formula: "SiO2", MassFraction: 0.7}, {Formula: "PbO", MassFraction: 0.3}},
	"red-clay": {{Formula: "SiO2", MassFraction: 0.62}, {Formula: "Al2O3", MassFraction: 0.25}, {Formula: "Fe2O3", MassFraction: 0.08},
		{Formula: "K2O", MassFraction: 0.05}},
	"manganese-clay": {{Formula: "SiO2", MassFraction: 0.6}, {Formula: "Al2O3", MassFraction: 0.3}, {Formula: "MnO2", MassFraction: 0.1}},
}

func chargeCases(t testing.TB) []chargeCase {
	t.Helper()
	file, err := os.Open("testdata/charges.csv")
	require.NoError(t, err)
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	var cases []chargeCase
	for _, record := range records[1:] {
		c := chargeCase{}
		for i, name := range records[0] {
			c[name] = record[i]
		}
		cases = append(cases, c)
	}
	return cases
}

func TestCharges(t *testing.T) {
	cases := chargeCases(t)
	good, ids := 0, map[string]bool{}
	for _, c := range cases {
		require.False(t, ids[c["id"]], "%s stands twice", c["id"])
		ids[c["id"]] = true
		require.NotEmpty(t, c["why"], c["id"])
		require.NotEmpty(t, c["source"], c["id"])
		if !strings.Contains(c["expect"], "BLOCK") {
			good++
		}
		t.Run(c["id"]+" "+c["title"], func(t *testing.T) {
			materials, stages := c.recipe(t)
			assert.Equal(t, c.expected(), refusals(chargeOf(t, materials, stages...).Findings), c["why"])
		})
	}
	assert.GreaterOrEqual(t, good, 45, "rules that cry wolf are not believed")
	assert.GreaterOrEqual(t, len(cases), 100)
}

func (c chargeCase) expected() []string {
	expected := strings.Fields(c["expect"])
	slices.Sort(expected)
	return append([]string{}, expected...)
}

// refusals are the findings that refuse or warn, each once and in order.
func refusals(found []finding.Finding) []string {
	refused := []string{}
	for _, f := range found {
		if f.Severity != finding.Note {
			refused = append(refused, fmt.Sprintf("%s:%s", f.Severity, f.Code))
		}
	}
	slices.Sort(refused)
	return slices.Compact(refused)
}

func (c chargeCase) recipe(t testing.TB) (chem.Materials, []chem.Stage) {
	materials := chem.Materials{}
	var stages []chem.Stage
	if how, charge, ok := strings.Cut(c["before"], ": "); ok {
		how, product, _ := strings.Cut(how, ">")
		kind, rest, _ := strings.Cut(how, "@")
		celsius, atmosphere, _ := strings.Cut(rest, "/")
		before := fired(chem.StageKind(kind), number(t, celsius), additions(t, materials, charge)...)
		before.ID, before.Atmosphere, before.Product, before.Lid = "before", heat.Atmosphere(atmosphere), product, chem.LooseLid
		stages = append(stages, before)
	}
	added := additions(t, materials, c["charge"])
	stage := worked(chem.StageKind(c["kind"]), added...)
	if c["celsius"] != "" {
		stage = fired(chem.StageKind(c["kind"]), number(t, c["celsius"]), added...)
		stage.Atmosphere, stage.Lid = heat.Atmosphere(c["atmosphere"]), chem.Lid(c["lid"])
		stage.ChargeAtCelsius, stage.WareGrams = number(t, c["charge_at"]), number(t, c["ware"])
	}
	return materials, append(stages, stage)
}

func additions(t testing.TB, materials chem.Materials, charge string) []chem.Addition {
	var added []chem.Addition
	for item := range strings.SplitSeq(charge, ";") {
		if item == "" {
			continue
		}
		what, grams, ok := strings.Cut(item, ":")
		require.True(t, ok, item)
		what, hot := strings.CutPrefix(what, "+")
		id := fmt.Sprintf("m%d", len(materials)+1)
		materials[id] = material(t, id, what)
		added = append(added, chem.Addition{Material: id, MassGrams: number(t, grams), FedHot: hot})
	}
	return added
}

func material(t testing.TB, id, what string) chem.Material {
	if name, ok := strings.CutPrefix(what, "@"); ok {
		require.Contains(t, analysed, name)
		return chem.Material{ID: id, Oxides: analysed[name]}
	}
	m := chem.Material{ID: id}
	what, moisture, _ := strings.Cut(what, "{")
	m.MoistureFraction = number(t, strings.TrimSuffix(moisture, "}"))
	if formula, declared, ok := strings.Cut(what, "["); ok {
		what, m.Hazards = formula, []chem.Hazard{chem.Hazard(strings.TrimSuffix(declared, "]"))}
	}
	m.Phases = []chem.Phase{{Formula: what, MassFraction: 1}}
	return m
}

// number reads a cell; an empty one is 0.
func number(t testing.TB, cell string) float64 {
	t.Helper()
	if cell == "" {
		return 0
	}
	value, err := strconv.ParseFloat(cell, 64)
	require.NoError(t, err)
	return value
}
