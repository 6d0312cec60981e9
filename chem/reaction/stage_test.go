package reaction

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// fire is how a stage of a test is fired.
type fire struct {
	kind                 chem.StageKind
	celsius, hold, depth float64
}

// staged is a stage of one charge, masses in grams by formula.
func staged(t *testing.T, f fire, charge map[string]float64) Stage {
	t.Helper()
	kind, celsius, hold, depth := f.kind, f.celsius, f.hold, f.depth
	stage := chem.Stage{ID: "s", Kind: kind, Atmosphere: heat.Oxidising, BedDepthMillimeters: depth, Program: &heat.Program{
		Segments: []heat.Segment{{ToCelsius: celsius, RateCelsiusPerHour: 200, HoldMinutes: hold}}, Cooling: heat.CoolClosed,
	}}
	materials := chem.Materials{}
	for formula, grams := range charge {
		id := "m" + string(rune('a'+len(materials)))
		materials[id] = chem.Material{ID: id, Phases: []chem.Phase{{Formula: formula, MassFraction: 1}}}
		stage.Additions = append(stage.Additions, chem.Addition{Material: id, MassGrams: grams})
	}
	balance, err := chem.Balance(chem.Recipe{ID: "r", Stages: []chem.Stage{stage}}, materials, 1)
	require.NoError(t, err)
	return Stage{Kind: kind, Name: "s", Balance: balance.Stages[0], Along: Request{
		Profile: ramped(200.0/60, celsius, hold), InitialCelsius: 20, DepthMillimeters: depth,
	}}
}

func codes(found []finding.Finding) map[string]finding.Severity {
	list := map[string]finding.Severity{}
	for _, f := range found {
		list[f.Code] = f.Severity
	}
	return list
}

func TestFindingsOfAStage(t *testing.T) {
	const kaolin, quartz = "Al2Si2O5(OH)4", "SiO2"
	cases := []struct {
		name                 string
		kind                 chem.StageKind
		celsius, hold, depth float64
		charge               map[string]float64
		want                 map[string]finding.Severity
	}{
		{"long and hot enough", chem.Calcine, 600, 480, 20, map[string]float64{kaolin: 70}, map[string]finding.Severity{}},
		{"too deep for the hold", chem.Calcine, 600, 30, 100, map[string]float64{kaolin: 70}, map[string]finding.Severity{CodeShort: finding.Warn}},
		{"too cool for any hold", chem.Calcine, 400, 60, 20, map[string]float64{"CaCO3": 10, kaolin: 70}, map[string]finding.Severity{CodeShort: finding.Warn}},
		{"too cool to begin", chem.Calcine, 350, 60, 20, map[string]float64{kaolin: 70}, map[string]finding.Severity{CodeShort: finding.Warn}},
		{"a bisque of it may be cool", chem.Bisque, 350, 60, 20, map[string]float64{kaolin: 70}, map[string]finding.Severity{}},
		{"nothing to react", chem.Calcine, 600, 60, 20, map[string]float64{quartz: 70}, map[string]finding.Severity{}},
		{"no depth", chem.Calcine, 650, 480, 0, map[string]float64{kaolin: 70}, map[string]finding.Severity{CodeNoDepth: finding.Note}},
		{"no depth and short all the same", chem.Bisque, 450, 10, 0, map[string]float64{kaolin: 70}, map[string]finding.Severity{CodeShort: finding.Warn}},
		{"a trace, just below", chem.Calcine, 450, 1, 0, map[string]float64{kaolin: 4.99, quartz: 95.01}, map[string]finding.Severity{}},
		{"a trace no more", chem.Calcine, 450, 1, 0, map[string]float64{kaolin: 5, quartz: 95}, map[string]finding.Severity{CodeShort: finding.Warn}},
		{"no rate", chem.Calcine, 600, 60, 20, map[string]float64{"MgCO3": 70}, map[string]finding.Severity{CodeNoRate: finding.Note}},
		{"what burns waits for air", chem.Oxidise, 600, 60, 20, map[string]float64{"C": 70}, map[string]finding.Severity{}},
		{"a stage for something else", chem.Sinter, 500, 1, 200, map[string]float64{kaolin: 70}, map[string]finding.Severity{}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, found, err := Convert(staged(t, fire{c.kind, c.celsius, c.hold, c.depth}, c.charge))
			require.NoError(t, err)
			assert.Equal(t, c.want, codes(found))
			for _, f := range found {
				assert.NotEmpty(t, f.Cure)
				assert.NotEmpty(t, f.Source)
			}
		})
	}
}

func TestAShortHoldSaysWhatWouldDo(t *testing.T) {
	_, found, err := Convert(staged(t, fire{chem.Calcine, 600, 30, 100}, map[string]float64{"Al2Si2O5(OH)4": 70}))
	require.NoError(t, err)
	require.Len(t, found, 1)
	figures := map[string]float64{}
	for _, f := range found[0].Figures {
		figures[f.Name] = f.Value
	}
	assert.Greater(t, figures["hold that would do"], 300.0)
	_, again, err := Convert(staged(t, fire{chem.Calcine, 600, figures["hold that would do"] + 1, 100}, map[string]float64{"Al2Si2O5(OH)4": 70}))
	require.NoError(t, err)
	assert.Empty(t, again, "the cure cures")
	_, cool, err := Convert(staged(t, fire{chem.Calcine, 402, 60, 20}, map[string]float64{"Al2Si2O5(OH)4": 70}))
	require.NoError(t, err)
	require.Len(t, cool, 1)
	assert.Contains(t, cool[0].Cure+cool[0].Message, "C")
}

func TestPartsAreWhatTheBalanceLetsGo(t *testing.T) {
	s := staged(t, fire{chem.Calcine, 1000, 60, 20}, map[string]float64{"Al2Si2O5(OH)4": 258.157, "CaCO3": 100.086, "S": 32.06, "NaF": 42})
	parts := Parts(s.Balance)
	moles := map[string]float64{}
	for _, p := range parts {
		moles[p.Reaction.Name] = p.Moles
	}
	require.Len(t, moles, 3, "fluoride is a rule for an element")
	assert.InDelta(t, 1, moles["kaolinite"], 1e-3)
	assert.InDelta(t, 1, moles["calcite"], 1e-3)
	assert.InDelta(t, 1, moles["sulfur"], 1e-3, "sulfur dioxide and mist together")
	assert.Equal(t, "kaolinite", parts[0].Reaction.Name)
	assert.InDelta(t, 258.157/432.303, parts[0].MassFraction, 1e-3)
}

// The balance goes by the program as asked, a conversion by the temperatures of a furnace: where they are the same, and no
// bed lies between, the figure is one.
func TestTheBalanceAndTheConversionAreOneFigure(t *testing.T) {
	for _, c := range []struct {
		fire    fire
		formula string
	}{
		{fire{chem.Calcine, 480, 60, 0}, "Al2Si2O5(OH)4"}, {fire{chem.Calcine, 440, 30, 0}, "Al2Si2O5(OH)4"},
		{fire{chem.Sinter, 900, 1, 0}, "CaCO3"}, {fire{chem.Calcine, 350, 5, 0}, "Mg(OH)2"}, {fire{chem.Calcine, 110, 60, 0}, "NaHCO3"},
	} {
		stage := staged(t, c.fire, map[string]float64{c.formula: 500})
		conversions, _, err := Convert(stage)
		require.NoError(t, err)
		require.NotEmpty(t, conversions)
		converted, rated := conversions[0].Fraction()
		require.True(t, rated)
		part := conversions[0].Part
		lost := stage.Balance.MassInGrams - stage.Balance.MassOutGrams
		assert.InEpsilon(t, converted, lost/(part.Moles*part.Reaction.LossFraction()*part.Reaction.unitGrams), 1e-4, c.formula)
		assert.Positive(t, converted)
	}
}

func TestOfABedTheMeanCounts(t *testing.T) {
	conversions, _, err := Convert(staged(t, fire{chem.Calcine, 600, 30, 100}, map[string]float64{"Al2Si2O5(OH)4": 70, "MgCO3": 30}))
	require.NoError(t, err)
	require.Len(t, conversions, 2)
	fraction, rated := conversions[0].Fraction()
	assert.True(t, rated)
	assert.Equal(t, *conversions[0].Result.MeanConversion, fraction)
	assert.Less(t, fraction, conversions[0].Result.Conversion)
	_, rated = conversions[1].Fraction()
	assert.False(t, rated, "magnesite has no rate")
}

func TestConvertRefusesABadRequest(t *testing.T) {
	s := staged(t, fire{chem.Calcine, 600, 60, 20}, map[string]float64{"Al2Si2O5(OH)4": 70})
	s.Along.DepthMillimeters = -1
	_, _, err := Convert(s)
	assert.ErrorContains(t, err, "depth_millimeters")
}
