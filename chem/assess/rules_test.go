package assess

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

func TestContentsThatMustNotMeet(t *testing.T) {
	const fuel, thermite, sulfide = "OXIDISER_WITH_FUEL", "METAL_POWDER_WITH_OXIDE", "SULFIDE_WITH_ACID"
	cases := []struct {
		name   string
		stages []chem.Stage
		code   string // "" where they may meet
	}{
		{"nitrate with sulfur", []chem.Stage{worked(chem.Mix, add("saltpetre", 10), add("sulfur", 1))}, fuel},
		{"chlorate with carbon", []chem.Stage{worked(chem.Grind, add("chlorate", 10), add("charcoal", 1))}, fuel},
		{"perchlorate with metal powder", []chem.Stage{worked(chem.Mix, add("perchlorate", 10), add("aluminium", 1))}, fuel},
		{"permanganate with sulfur, fired", []chem.Stage{fired(chem.Calcine, 300, add("permanganate", 10), add("sulfur", 1))}, fuel},
		{"met at a later bench stage", []chem.Stage{worked(chem.Mix, add("saltpetre", 10)), worked(chem.Grind, add("sulfur", 1))}, fuel},
		{"met when fired", []chem.Stage{worked(chem.Mix, add("saltpetre", 10)), fired(chem.Calcine, 500, add("sulfur", 1))}, fuel},
		{"dried before it is met", []chem.Stage{fired(chem.Dry, 110, add("saltpetre", 10)), worked(chem.Grind, add("sulfur", 1))}, fuel},
		{"fired away before it would be met", []chem.Stage{fired(chem.Calcine, 1000, add("saltpetre", 10), add("quartz", 50)),
			worked(chem.Grind, add("sulfur", 1))}, ""},
		{"nitrate alone", []chem.Stage{worked(chem.Mix, add("saltpetre", 10), add("quartz", 10))}, ""},
		{"sulfur with carbon", []chem.Stage{worked(chem.Mix, add("sulfur", 10), add("charcoal", 10))}, ""},
		{"metal powder with oxide", []chem.Stage{worked(chem.Mix, add("aluminium", 1), add("haematite", 1))}, thermite},
		{"metal powder alone", []chem.Stage{worked(chem.Mix, add("aluminium", 1), add("quartz", 1))}, ""},
		{"sulfide with acid", []chem.Stage{worked(chem.Wash, add("sulfide", 1), add("alum", 1))}, sulfide},
		{"ore with acid", []chem.Stage{worked(chem.Wash, add("pyrite", 1), add("alum", 1))}, sulfide},
		{"sulfate with acid", []chem.Stage{worked(chem.Wash, add("gypsum", 1), add("alum", 1))}, ""},
		{"sulfide product washed with acid", []chem.Stage{blueStage(), worked(chem.Wash, add("alum", 1))}, sulfide},
		{"sulfide product washed with water", []chem.Stage{blueStage(), worked(chem.Wash)}, ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			found := severities(charge(t, c.stages...).Findings)
			for _, code := range []string{fuel, thermite, sulfide} {
				want := finding.Severity("")
				if code == c.code {
					want = finding.Block
				}
				assert.Equal(t, want, found[code], code)
			}
		})
	}
}

// blueStage makes a sodalite-type product with sulfur in it.
func blueStage() chem.Stage {
	stage := fired(chem.Reduce, 750, add("kaolin", 71), add("soda-ash", 52), add("sulfur", 30), add("charcoal", 6))
	stage.Atmosphere, stage.Lid, stage.Product = heat.Reducing, chem.LooseLid, "Na8Al6Si6O24S4"
	return stage
}

func TestClashNamesWhatBringsIt(t *testing.T) {
	found := withCode(charge(t, worked(chem.Mix, add("saltpetre", 10)), worked(chem.Grind, add("sulfur", 1))).Findings, "OXIDISER_WITH_FUEL")
	require.Len(t, found, 1)
	assert.Equal(t, "stages[1].additions", found[0].Field)
	assert.Contains(t, found[0].Message, "saltpetre (oxidiser) with sulfur (sulfur)")
}

func TestBannedContents(t *testing.T) {
	cases := map[string]string{
		"red-lead": "CONTENTS_TOXIC", "arsenic": "CONTENTS_TOXIC", "chromate": "CONTENTS_TOXIC", "dichromate": "CONTENTS_TOXIC",
		"chromic": "CONTENTS_TOXIC", "remedy": "CONTENTS_TOXIC", "fluorspar": "CONTENTS_FLUORIDE",
		"chrome-green": "", "chromite": "", "quartz": "", "zinc": "",
	}
	for material, code := range cases {
		t.Run(material, func(t *testing.T) {
			found := severities(charge(t, worked(chem.Weigh, add(material, 1))).Findings)
			for _, banned := range []string{"CONTENTS_TOXIC", "CONTENTS_FLUORIDE"} {
				assert.Equal(t, banned == code, found[banned] == finding.Block, banned)
			}
		})
	}
}

func TestHazardsShowInAnOxideAnalysis(t *testing.T) {
	of := materials()
	of["frit"] = chem.Material{ID: "frit", Oxides: []chem.Oxide{{Formula: "SiO2", MassFraction: 0.7}, {Formula: "PbO", MassFraction: 0.3}}}
	found := withCode(chargeOf(t, of, worked(chem.Weigh, add("frit", 1))).Findings, "CONTENTS_TOXIC")
	require.Len(t, found, 1, "said once, however often it shows")
	assert.Equal(t, "stages[0].additions", found[0].Field)
}

func TestSilicaDustIsNoted(t *testing.T) {
	found := withCode(charge(t, worked(chem.Grind, add("flint", 1))).Findings, "SILICA_DUST")
	require.Len(t, found, 1)
	assert.Equal(t, finding.Note, found[0].Severity)
	// 29 CFR 1910.1053(b), (c): action level 25, limit 50 micrograms of respirable crystalline silica per cubic metre as an
	// 8-hour mean; NIOSH 50 micrograms; Directive 2004/37/EC Annex III 0.1 milligram.
	assert.Equal(t, []finding.Figure{
		{Name: "limit_osha_al", Value: 0.025, Unit: "mg/m3"}, {Name: "limit_osha_twa", Value: 0.05, Unit: "mg/m3"},
		{Name: "limit_niosh_twa", Value: 0.05, Unit: "mg/m3"}, {Name: "limit_eu_twa", Value: 0.1, Unit: "mg/m3"},
	}, found[0].Figures)
	for _, source := range []string{"1910.1053(c)", "NIOSH", "2004/37/EC"} {
		assert.Contains(t, found[0].Source, source)
	}
	assert.Empty(t, withCode(charge(t, worked(chem.Grind, add("corundum", 1))).Findings, "SILICA_DUST"))
}

func TestWaterIntoTheHotFurnace(t *testing.T) {
	cases := []struct {
		name     string
		kind     chem.StageKind
		chargeAt float64
		moisture float64
		want     finding.Severity
	}{
		{"cold, however wet", chem.Calcine, 0, 0.3, ""},
		{"at the coldest that counts as hot", chem.Calcine, heat.ColdChargeCelsius, 0.3, ""},
		{"just above it", chem.Calcine, heat.ColdChargeCelsius + 1, 0.3, finding.Block},
		{"dry", chem.Calcine, 600, 0, ""},
		{"half a per cent", chem.Calcine, 600, hotWaterWarnShare - 1e-9, ""},
		{"above half a per cent", chem.Calcine, 600, hotWaterWarnShare + 1e-6, finding.Warn},
		{"two per cent", chem.Calcine, 600, hotWaterBlockShare - 1e-9, finding.Warn},
		{"above two per cent", chem.Calcine, 600, hotWaterBlockShare + 1e-6, finding.Block},
		{"into a melt, dry", chem.Melt, 1000, 0, ""},
		{"into a melt, any", chem.Melt, 1000, 1e-5, finding.Block},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			of := materials()
			of["sand"] = chem.Material{ID: "sand", Phases: []chem.Phase{{Formula: "SiO2", MassFraction: 1}}, MoistureFraction: c.moisture}
			stage := fired(c.kind, 1100, add("sand", 100))
			stage.ChargeAtCelsius = c.chargeAt
			found := withCode(chargeOf(t, of, stage).Findings, "WATER_INTO_HOT")
			if c.want == "" {
				assert.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			assert.Equal(t, c.want, found[0].Severity)
			assert.Equal(t, "stages[0].charge_at_celsius", found[0].Field)
			assert.InDelta(t, 100*c.moisture, found[0].Figures[0].Value, 1e-6)
		})
	}
}

func TestBoundWaterCountsToo(t *testing.T) {
	stage := fired(chem.Calcine, 700, add("kaolin", 100))
	stage.ChargeAtCelsius = 600
	found := withCode(charge(t, stage).Findings, "WATER_INTO_HOT")
	require.Len(t, found, 1)
	assert.Equal(t, finding.Block, found[0].Severity)
	// Theoretical loss on ignition of kaolinite: 2 H2O of Al2Si2O5(OH)4, 36.03 of 258.16 g/mol.
	assert.InDelta(t, 13.96, found[0].Figures[0].Value, 0.01)
}

func TestFedHot(t *testing.T) {
	cases := []struct {
		name     string
		addition chem.Addition
		sulfur   bool
		water    finding.Severity
	}{
		{"sulfur", feed("sulfur", 5), true, ""},
		{"sulfur with the charge", add("sulfur", 5), false, ""},
		{"a sulfate is no sulfur, and this one is wet", feed("gypsum", 5), false, finding.Block},
		{"a hydroxide", feed("kaolin", 5), false, finding.Block},
		{"quartz", feed("quartz", 5), false, ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			found := charge(t, fired(chem.Oxidise, 500, add("quartz", 100), c.addition)).Findings
			assert.Equal(t, c.sulfur, severities(found)["SULFUR_FED_HOT"] == finding.Block)
			assert.Equal(t, c.water, severities(found)["WATER_INTO_HOT"])
			for _, f := range append(withCode(found, "SULFUR_FED_HOT"), withCode(found, "WATER_INTO_HOT")...) {
				assert.Equal(t, "stages[0].additions[1].fed_hot", f.Field)
			}
		})
	}
}

func TestWaterShareOfWhatIsFed(t *testing.T) {
	for moisture, want := range map[float64]finding.Severity{
		0: "", hotWaterWarnShare - 1e-9: "", hotWaterWarnShare + 1e-6: finding.Warn, hotWaterBlockShare + 1e-6: finding.Block,
	} {
		of := materials()
		of["sand"] = chem.Material{ID: "sand", Phases: []chem.Phase{{Formula: "SiO2", MassFraction: 1}}, MoistureFraction: moisture}
		c := chargeOf(t, of, fired(chem.Calcine, 700, add("corundum", 1000), feed("sand", 1)))
		assert.Equal(t, want, severities(c.Findings)["WATER_INTO_HOT"], "moisture %v", moisture)
	}
}

func TestSealedLid(t *testing.T) {
	cases := []struct {
		lid     chem.Lid
		content string
		blocks  bool
	}{
		{chem.SealedLid, "calcite", true}, {chem.LooseLid, "calcite", false}, {chem.OpenLid, "calcite", false},
		{"", "calcite", false}, {chem.SealedLid, "corundum", false},
	}
	for _, c := range cases {
		t.Run(string(c.lid)+" over "+c.content, func(t *testing.T) {
			stage := fired(chem.Calcine, 1000, add(c.content, 100))
			stage.Lid = c.lid
			found := withCode(charge(t, stage).Findings, "SEALED_OVER_GAS")
			require.Equal(t, c.blocks, len(found) == 1)
			if c.blocks {
				assert.Equal(t, finding.Block, found[0].Severity)
				// Theoretical loss on ignition of calcite: 44.01 of 100.09 g/mol.
				assert.InDelta(t, 43.97, found[0].Figures[0].Value, 0.02)
			}
		})
	}
	cold := fired(chem.Calcine, 300, add("calcite", 100))
	cold.Lid = chem.SealedLid
	assert.Empty(t, withCode(charge(t, cold).Findings, "SEALED_OVER_GAS"), "calcite gives off nothing at 300 C")
}

func TestMeltsNeedSomebodysYes(t *testing.T) {
	assert.Equal(t, finding.Warn, severities(charge(t, fired(chem.Melt, 1100, add("copper", 100))).Findings)["FUME_NOT_MODELLED"])
	assert.Empty(t, withCode(charge(t, fired(chem.Sinter, 1000, add("corundum", 100))).Findings, "FUME_NOT_MODELLED"))
	uncounted := func(additions ...chem.Addition) []finding.Finding {
		return withCode(charge(t, fired(chem.Melt, 1100, additions...)).Findings, "MELTING_HEAT_NOT_COUNTED")
	}
	assert.Empty(t, uncounted(add("copper", 100), add("salt", 10)), "their liquids are tabled")
	found := uncounted(add("copper", 100), add("zinc-metal", 10))
	require.Len(t, found, 1)
	assert.Equal(t, finding.Note, found[0].Severity)
	assert.Contains(t, found[0].Message, "not counted for Zn, whose liquid")
}

func TestWordsForAFurnacesExclusions(t *testing.T) {
	cases := map[string][]string{
		"sulfur": {heat.Sulfur}, "gypsum": {heat.Sulfur}, "salt": {heat.Chloride}, "zinc-metal": {heat.VolatileMetal}, "zinc": nil,
		"charcoal": {heat.Carbon}, "calcite": nil, "fluorspar": {heat.Fluoride}, "quartz": nil,
	}
	for content, want := range cases {
		assert.Equal(t, want, charge(t, fired(chem.Calcine, 800, add(content, 1))).contentWords(0), content)
	}
	reduced := fired(chem.Calcine, 1000, add("zinc", 1))
	reduced.Atmosphere = heat.Reducing
	assert.Equal(t, []string{heat.VolatileMetal}, charge(t, reduced).contentWords(0), "zinc oxide leaves as zinc in reduction")
	fuelled := fired(chem.Calcine, 1000, add("zinc", 10), add("charcoal", 1))
	assert.Equal(t, []string{heat.Carbon, heat.VolatileMetal}, charge(t, fuelled).contentWords(0), "and with carbon")
	ware := fired(chem.Bisque, 1000)
	ware.WareGrams = 20000
	assert.Empty(t, charge(t, ware).contentWords(0), "ordinary ware is no sulfur load")
}

func TestEveryRefusalSaysWhatCuresIt(t *testing.T) {
	ids := slices.Sorted(func(yield func(string) bool) {
		for id := range materials() {
			if !yield(id) {
				return
			}
		}
	})
	for _, one := range ids {
		for _, other := range ids {
			stage := fired(chem.Melt, 1100, add(one, 10), feed(other, 10))
			stage.ChargeAtCelsius, stage.Lid = 900, chem.SealedLid
			for _, f := range charge(t, stage).Findings {
				where := fmt.Sprintf("%s with %s: %s", one, other, f.Code)
				require.NotEmpty(t, f.Cure, where)
				require.NotEmpty(t, f.Source, where)
				require.NotEmpty(t, f.Field, where)
			}
		}
	}
}

func TestWaterAtTheExactBoundary(t *testing.T) {
	cases := []struct {
		share float64
		kind  chem.StageKind
		want  finding.Severity
	}{
		{0, chem.Melt, ""}, {1e-12, chem.Melt, finding.Block}, {0.005, chem.Calcine, ""}, {0.0050001, chem.Calcine, finding.Warn},
		{0.02, chem.Calcine, finding.Warn}, {0.0200001, chem.Calcine, finding.Block}, // common practice, no source
	}
	for _, c := range cases {
		assert.Equal(t, c.want, severities(wetFinding(chem.Stage{Kind: c.kind}, c.share, "f"))["WATER_INTO_HOT"], "%v %v", c.kind, c.share)
	}
}

func TestTracesAreNoContents(t *testing.T) {
	share := func(sulfur float64) []string {
		s := site()
		recipe := chem.Recipe{ID: "clay", Stages: []chem.Stage{{
			ID: "fire", Kind: chem.Calcine, Additions: []chem.Addition{{Material: "clay", MassGrams: 100}},
			Program: &heat.Program{Segments: []heat.Segment{{ToCelsius: 600}}}, Atmosphere: heat.Oxidising,
		}}}
		materials := chem.Materials{"clay": {ID: "clay", Phases: []chem.Phase{
			{Formula: "SiO2", MassFraction: 1 - sulfur}, {Formula: "S", MassFraction: sulfur},
		}}}
		c, err := s.NewCharge(recipe, materials, chem.Scale{})
		require.NoError(t, err)
		return c.contentWords(0)
	}
	assert.Empty(t, share(0.0009))
	assert.Empty(t, share(0.001), "exactly at the share is a trace")
	assert.Equal(t, []string{heat.Sulfur}, share(0.0011))
}
