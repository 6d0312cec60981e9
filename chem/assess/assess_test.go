package assess

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

func TestCandidates(t *testing.T) {
	s := site(pot(), gasPot(), bench())
	named := func(stage chem.Stage, furnaces ...string) chem.Stage {
		stage.Furnaces = furnaces
		return stage
	}
	cases := []struct {
		name  string
		stage chem.Stage
		want  []string
	}{
		{"a heat treatment: all that are heated, by id", fired(chem.Calcine, 800), []string{"gas-pot", "pot"}},
		{"those that it names, by id", named(fired(chem.Calcine, 800), "pot", "gas-pot"), []string{"gas-pot", "pot"}},
		{"one that it names", named(fired(chem.Calcine, 800), "pot"), []string{"pot"}},
		{"none that stands", named(fired(chem.Calcine, 800), "lehr"), nil},
		{"bench work without a station", worked(chem.Mix), []string{""}},
		{"bench work at a station", named(worked(chem.Mix), "dust-hood"), []string{"dust-hood"}},
		{"bench work at a station that does not stand", named(worked(chem.Mix), "mill"), nil},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) { assert.Equal(t, c.want, s.Candidates(c.stage)) })
	}
}

func TestCapture(t *testing.T) {
	recirculating, still, other := fan(0.9), fan(0), fan(0.9)
	recirculating.Recirculating, other.ID = true, "other"
	smoke, never, closedOnly, without, unknown := pot(), pot(), pot(), pot(), pot()
	smoke.Capture.Method, never.Capture.Method, closedOnly.Capture.DoorOpenFraction = "smoke", "", 0
	without.Branch, unknown.Branch = "", "fan/none"
	cases := []struct {
		name         string
		furnace      heat.Furnace
		circuit      air.Circuit
		closed, open float64
	}{
		{"measured with tracer", pot(), fan(0.9), 0.95, 0.7},
		{"seen with smoke", smoke, fan(0.9), 0.5, 0.5},
		{"never measured", never, fan(0.9), 0, 0},
		{"door open not measured", closedOnly, fan(0.9), 0.95, 0.475},
		{"without a branch", without, fan(0.9), 0, 0},
		{"on a branch that is not there", unknown, fan(0.9), 0, 0},
		{"on a branch that draws nothing", pot(), still, 0, 0},
		{"on a circuit that gives the air back", pot(), recirculating, 0, 0},
		{"on a circuit that is not there", pot(), other, 0, 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			closed, open := Capture(c.furnace, []air.Circuit{c.circuit})
			assert.InDelta(t, c.closed, closed, 1e-12)
			assert.InDelta(t, c.open, open, 1e-12)
		})
	}
}

func TestStandingFindings(t *testing.T) {
	const old, spillage = "AIR_MEASUREMENT_OLD", "AIR_FLUE_SPILLAGE"
	cases := []struct {
		name     string
		furnace  heat.Furnace
		comesOff bool
		change   func(*Site, *heat.Furnace)
		old      []string // what was measured too long ago
		spills   bool
	}{
		{"all measured in time", pot(), true, func(*Site, *heat.Furnace) {}, nil, false},
		{"a year ago to the day", pot(), true, func(s *Site, _ *heat.Furnace) { s.OnDate = "2027-10-05" }, nil, false},
		{"a day more", pot(), true, func(s *Site, _ *heat.Furnace) { s.OnDate = "2027-10-06" }, []string{"pot", "fan/hood"}, false},
		{"a day more, and nothing comes off", pot(), false, func(s *Site, _ *heat.Furnace) { s.OnDate = "2027-10-06" }, nil, false},
		{"capture never measured", pot(), true, func(_ *Site, f *heat.Furnace) { f.Capture.MeasuredOn = "" }, []string{"pot"}, false},
		{"without a branch the room's flow still counts", pot(), true, func(s *Site, f *heat.Furnace) {
			f.Branch, s.Circuits[0].Branches[0].MeasuredOn = "", "2020-01-01"
		}, []string{"fan/hood"}, false},
		{"another branch of the room", pot(), true, func(s *Site, _ *heat.Furnace) {
			s.Circuits[0].Branches = append(s.Circuits[0].Branches, air.Branch{ID: "wall", Room: "bay", CubicMetersPerSecond: 0.1})
		}, []string{"fan/wall"}, false},
		{"another room's branch", pot(), true, func(s *Site, _ *heat.Furnace) {
			s.Circuits[0].Branches = append(s.Circuits[0].Branches, air.Branch{ID: "wall", Room: "hall", CubicMetersPerSecond: 0.1})
		}, nil, false},
		{"a flue with as much make-up air as extraction", gasPot(), false, func(s *Site, _ *heat.Furnace) {
			s.Circuits = []air.Circuit{fan(1.2)}
		}, nil, false},
		{"a flue with less make-up air", gasPot(), false, func(s *Site, _ *heat.Furnace) {
			s.Circuits = []air.Circuit{fan(1.2001)}
		}, nil, true},
		{"less make-up air without a flue", pot(), false, func(s *Site, _ *heat.Furnace) {
			s.Circuits = []air.Circuit{fan(1.2001)}
		}, nil, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s := site()
			c.change(&s, &c.furnace)
			found := s.standing(c.furnace, c.comesOff)
			var about []string
			for _, f := range withCode(found, old) {
				assert.Equal(t, finding.Warn, f.Severity)
				about = append(about, f.About)
			}
			assert.Equal(t, c.old, about)
			assert.Equal(t, c.spills, severities(found)[spillage] == finding.Block)
		})
	}
}

func TestStandingFindingsRefuseTheFurnace(t *testing.T) {
	s := site(gasPot())
	s.Circuits = []air.Circuit{fan(2)}
	treatment := treat(t, s, "gas-pot", fired(chem.Calcine, 800, add("quartz", 10)))
	assert.Equal(t, finding.Block, severities(treatment.Findings)["AIR_FLUE_SPILLAGE"])
}

func TestRecipeOnASmallSite(t *testing.T) {
	s := site(pot(), bench())
	grind := worked(chem.Grind, add("flint", 20))
	grind.Furnaces = []string{"dust-hood"}
	calcine := fired(chem.Calcine, 1000, add("calcite", 20))
	calcine.FireWatch = heat.InReach
	got, err := s.Recipe(recipe(grind, calcine), materials(), chem.Scale{Factor: 2})
	require.NoError(t, err)
	require.Len(t, got.Stages, 2)
	assert.Equal(t, "dust-hood", got.Stages[0].Treatment.Furnace.ID)
	assert.Nil(t, got.Stages[0].Air, "nothing comes off")
	assert.Equal(t, "pot", got.Stages[1].Treatment.Furnace.ID)
	room := got.Stages[1].Air
	require.NotNil(t, room)
	assert.Equal(t, "bay", room.Room)
	assert.Equal(t, 0.9, room.FlowCubicMetersPerSecond, "the branch draws less than the make-up air gives")
	require.Len(t, room.Species, 1)
	assert.Equal(t, "CO2", room.Species[0].Species)
	assert.Positive(t, room.Species[0].PeakPPM)
	assert.False(t, finding.Blocks(got.Findings), "%v", got.Findings)
	assert.Equal(t, chem.Caution, got.Caution)
	assert.NotEmpty(t, got.Assumptions)
	assert.InDelta(t, 40, got.Charge.Balance.Stages[0].WeighOut[0].MassGrams, 1e-9)
}

func TestRecipeRefusesByTheAir(t *testing.T) {
	stage := fired(chem.Oxidise, 500, add("sulfur", 200), add("quartz", 500))
	got, err := site(pot()).Recipe(recipe(stage), materials(), chem.Scale{})
	require.NoError(t, err)
	require.True(t, finding.Blocks(got.Stages[0].Air.Findings))
	assert.True(t, finding.Blocks(got.Findings))
	for _, f := range got.Findings {
		assert.Contains(t, f.Field, "stages[0]", f.Code)
		if f.Severity == finding.Block {
			assert.NotEmpty(t, f.Cure, f.Code)
		}
	}
	small := fired(chem.Oxidise, 500, add("sulfur", 0.2), add("quartz", 500))
	got, err = site(pot()).Recipe(recipe(small), materials(), chem.Scale{})
	require.NoError(t, err)
	assert.False(t, finding.Blocks(got.Findings), "%v", got.Findings)
}

func TestRecipeTakesAFurnaceThatTheAirCarries(t *testing.T) {
	bare := pot()
	bare.ID, bare.Capture = "an-open-pot", heat.Capture{}
	stage := fired(chem.Oxidise, 500, add("sulfur", 100), add("quartz", 500))
	both, err := site(bare, pot()).Recipe(recipe(stage), materials(), chem.Scale{})
	require.NoError(t, err)
	alone, err := site(bare).Recipe(recipe(stage), materials(), chem.Scale{})
	require.NoError(t, err)
	require.True(t, finding.Blocks(alone.Findings), "without capture the room goes over")
	assert.Equal(t, "an-open-pot", alone.Stages[0].Treatment.Furnace.ID)
	assert.Equal(t, "pot", both.Stages[0].Treatment.Furnace.ID)
	assert.False(t, finding.Blocks(both.Findings), "%v", both.Findings)
}

func TestRecipeListsTheWorstFirst(t *testing.T) {
	melt := fired(chem.Melt, 1100, add("flint", 10))
	melt.Lid = chem.SealedLid
	got, err := site(pot()).Recipe(recipe(melt, fired(chem.Calcine, 1500, add("calcite", 10))), materials(), chem.Scale{})
	require.NoError(t, err)
	var order []finding.Severity
	for _, f := range got.Findings {
		order = append(order, f.Severity)
	}
	assert.Equal(t, []finding.Severity{finding.Block, finding.Warn, finding.Note}, slices.Compact(order), "%v", got.Findings)
}

func TestRecipeSaysEachAssumptionOnce(t *testing.T) {
	again := fired(chem.Sinter, 1000, add("calcite", 20))
	got, err := site(pot()).Recipe(recipe(fired(chem.Calcine, 900, add("calcite", 20)), again), materials(), chem.Scale{})
	require.NoError(t, err)
	count := map[string]int{}
	for _, a := range got.Assumptions {
		count[a]++
		assert.Equal(t, 1, count[a], a)
	}
}

func TestCrucibleFilledTooFull(t *testing.T) {
	stage := fired(chem.Calcine, 900, add("calcite", 20))
	stage.TampedDensityGramsPerMilliliter = 1
	for fill, want := range map[float64]finding.Severity{2.0 / 3: "", 0.7: finding.Warn} { // common practice, no source
		c, err := site(pot()).NewCharge(recipe(stage), materials(), chem.Scale{
			CrucibleCount: 2, CrucibleMilliliters: 300, CrucibleFillFraction: fill, CrucibleStage: stage.ID,
		})
		require.NoError(t, err)
		assert.Equal(t, want, severities(c.Findings)["CHARGE_CRUCIBLE_OVERFILLED"], "%v", fill)
		assert.InDelta(t, 600*fill, c.Balance.Stages[0].MassInGrams, 1e-6)
	}
}

func TestWhatComesOffAtTheOpenDoorSpills(t *testing.T) {
	tight := pot()
	tight.Capture.ClosedFraction, tight.Capture.DoorOpenFraction = 1, 0.5
	stage := fired(chem.Oxidise, 500, add("sulfur", 20), add("quartz", 50))
	for chargeAt, spills := range map[float64]bool{0: false, 500: true} {
		stage.ChargeAtCelsius = chargeAt
		got, err := site(tight).Recipe(recipe(stage), materials(), chem.Scale{})
		require.NoError(t, err)
		assert.Equal(t, spills, got.Stages[0].Air.Species[0].PeakPPM > 0, "charged at %v C", chargeAt)
		near := slices.ContainsFunc(got.Findings, func(f finding.Finding) bool { return strings.HasPrefix(f.Message, "beside the open furnace") })
		assert.Equal(t, spills, near, "%v", got.Findings)
	}
}

func TestRecipeWithoutADetector(t *testing.T) {
	s := site(pot())
	room := s.Rooms["bay"]
	room.Detectors = room.Detectors[:1]
	s.Rooms["bay"] = room
	for content, want := range map[string]finding.Severity{"sulfur": finding.Block, "charcoal": ""} {
		got, err := s.Recipe(recipe(fired(chem.Oxidise, 500, add(content, 0.2), add("quartz", 50))), materials(), chem.Scale{})
		require.NoError(t, err)
		assert.Equal(t, want, severities(got.Findings)["AIR_DETECTOR_MISSING"], content)
	}
}

func TestRecipeThatNoFurnaceCanDo(t *testing.T) {
	hot := fired(chem.Sinter, 1500, add("corundum", 10))
	got, err := site(pot(), gasPot()).Recipe(recipe(hot), materials(), chem.Scale{})
	require.NoError(t, err)
	assert.Nil(t, got.Stages[0].Treatment)
	found := withCode(got.Findings, heat.CodeAboveTop)
	require.Len(t, found, 2, "each furnace says why")
	assert.Equal(t, "gas-pot", found[0].About)
	assert.Equal(t, "pot", found[1].About)

	got, err = site(bench()).Recipe(recipe(fired(chem.Sinter, 900, add("corundum", 10))), materials(), chem.Scale{})
	require.NoError(t, err)
	assert.Equal(t, finding.Block, severities(got.Findings)["STAGE_NO_FURNACE"])

	unmeasured := pot()
	unmeasured.HeatingTimes = nil
	got, err = site(unmeasured).Recipe(recipe(fired(chem.Sinter, 900, add("corundum", 10))), materials(), chem.Scale{})
	require.NoError(t, err)
	assert.Equal(t, finding.Block, severities(got.Findings)[heat.CodeFurnaceUnmeasured], "no constants from the plate")
}

func TestRecipeFaults(t *testing.T) {
	stage := fired(chem.Calcine, 900, add("moon-dust", 10))
	_, err := site(pot()).Recipe(recipe(stage), materials(), chem.Scale{})
	assert.ErrorContains(t, err, "stages[0].additions[0].material")
	_, err = site(pot()).NewCharge(recipe(fired(chem.Calcine, 900, add("quartz", 10))), materials(), chem.Scale{Factor: -1})
	require.NotEmpty(t, finding.FaultsOf(err))
}

// 1000 g of CaCO3 (100.086 g/mol) hold 439.7 g of CO2 (44.009 g/mol); no furnace goes to 1500 C.
func TestAStageThatFitsNoFurnaceStillSaysWhatLeavesIt(t *testing.T) {
	hot := fired(chem.Sinter, 1500, add("calcite", 1000), add("kaolin", 10))
	got, err := site(pot(), gasPot()).Recipe(recipe(hot), materials(), chem.Scale{})
	require.NoError(t, err)
	require.Nil(t, got.Stages[0].Treatment)
	found := withCode(got.Findings, CodeAirNotJudged)
	require.Len(t, found, 1, "one a stage, not one a furnace")
	assert.Equal(t, finding.Note, found[0].Severity)
	assert.Regexp(t, `gives off 439\.7 g of CO2 in the cautious case; no furnace fits it, so the air of bay was not judged`, found[0].Message)
	require.Len(t, found[0].Figures, 1, "water is left out")
	assert.InDelta(t, 1000*44.009/100.086, found[0].Figures[0].Value, 0.1)

	for name, c := range map[string]struct {
		site  Site
		stage chem.Stage
	}{
		"nothing comes off": {site(pot()), fired(chem.Sinter, 1500, add("corundum", 10))},
		"no such furnace":   {site(bench()), fired(chem.Sinter, 1500, add("calcite", 1000))},
		"it fits":           {site(pot()), fired(chem.Sinter, 1000, add("calcite", 1000))},
	} {
		got, err := c.site.Recipe(recipe(c.stage), materials(), chem.Scale{})
		require.NoError(t, err, name)
		assert.Empty(t, withCode(got.Findings, CodeAirNotJudged), name)
	}
}
