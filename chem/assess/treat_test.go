package assess

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// span is one phase in minutes from the start of the first.
type span struct {
	heat.Phase
	start, end float64
}

func spans(t Treatment) []span {
	var list []span
	minute := 0
	for _, p := range t.Phases {
		list = append(list, span{p, float64(minute), float64(minute + p.Minutes)})
		minute += p.Minutes
	}
	return list
}

func spanOf(t testing.TB, treatment Treatment, kind heat.PhaseKind) span {
	t.Helper()
	for _, s := range spans(treatment) {
		if s.Kind == kind {
			return s
		}
	}
	require.Fail(t, "no phase "+string(kind))
	return span{}
}

func releasesOf(releases []air.Release, species string) []air.Release {
	var list []air.Release
	for _, r := range releases {
		if r.Species == species {
			list = append(list, r)
		}
	}
	return list
}

func kinds(t Treatment) []heat.PhaseKind {
	var list []heat.PhaseKind
	for _, p := range t.Phases {
		list = append(list, p.Kind)
	}
	return list
}

func TestBenchWork(t *testing.T) {
	stage := worked(chem.Grind, add("quartz", 10))
	for _, station := range []string{"", "dust-hood"} {
		treatment := treat(t, site(bench()), station, stage)
		assert.Equal(t, []heat.Phase{{Kind: heat.Work, Minutes: 30, MaxMinutes: 30, Watch: heat.InRoom, PeopleCount: 1}}, treatment.Phases)
		assert.Empty(t, treatment.Cautious)
		assert.Zero(t, treatment.PeakCelsius())
	}
	_, err := site(bench()).Treat(charge(t, stage), 0, "mill")
	assert.ErrorContains(t, err, `furnace: there is no furnace "mill"`)
}

func TestGasComesOffWhileTheRangeIsPassed(t *testing.T) {
	treatment := treat(t, site(pot()), "pot", fired(chem.Calcine, 1000, add("calcite", 100)))
	fire := spanOf(t, treatment, heat.Fire)
	assert.Equal(t, 20.0, fire.start, "after charging")
	carbon := releasesOf(treatment.Cautious, "CO2")
	require.NotEmpty(t, carbon)
	for i, r := range carbon {
		assert.Greater(t, r.StartMinute, fire.start+60, "calcite is stable when warm")
		assert.Less(t, r.EndMinute, spanOf(t, treatment, heat.Draw).start)
		assert.True(t, i == 0 || r.StartMinute == carbon[i-1].EndMinute, "without a gap")
	}
	assert.InDelta(t, 1000, treatment.PeakCelsius(), 1e-9)
}

func TestChargedHotGivesOffAtTheCharge(t *testing.T) {
	for lid, minutes := range map[chem.Lid]float64{chem.OpenLid: 5, chem.LooseLid: 20} { // common practice, no source
		stage := fired(chem.Oxidise, 500, add("sulfur", 10), add("quartz", 90))
		stage.ChargeAtCelsius, stage.Lid = 500, lid
		treatment := treat(t, site(pot()), "pot", stage)
		charging := spanOf(t, treatment, heat.Charge)
		assert.Positive(t, charging.start, "it is warmed first")
		assert.Equal(t, heat.SulfurChargePeople, charging.PeopleCount)
		sulfur := releasesOf(treatment.Cautious, "SO2")
		require.Len(t, sulfur, 1)
		assert.InDelta(t, charging.start, sulfur[0].StartMinute, 1e-6)
		assert.InDelta(t, minutes, sulfur[0].EndMinute-sulfur[0].StartMinute, 1e-6)
	}
	stage := fired(chem.Calcine, 700, add("quartz", 90))
	stage.ChargeAtCelsius = 500
	assert.Equal(t, 1, spanOf(t, treat(t, site(pot()), "pot", stage), heat.Charge).PeopleCount, "two are for sulfur only")
}

func TestFedHotGivesOffAtTheFeed(t *testing.T) {
	stage := fired(chem.Reduce, 900, add("quartz", 90), feed("charcoal", 10))
	stage.Atmosphere = heat.Reducing
	treatment := treat(t, site(pot()), "pot", stage)
	feeding := spanOf(t, treatment, heat.Feed)
	assert.Equal(t, FeedMinutes, feeding.Minutes)
	gas := releasesOf(treatment.Cautious, "CO")
	require.NotEmpty(t, gas)
	for _, r := range gas {
		assert.InDelta(t, feeding.start, r.StartMinute, 1e-6)
	}
	assert.Contains(t, treatment.doorOpen(), air.Interval{StartMinute: feeding.start, EndMinute: feeding.end})
}

func TestDoorIsOpenToChargeAndDraw(t *testing.T) {
	treatment := treat(t, site(pot()), "pot", fired(chem.Calcine, 1000, add("calcite", 100)))
	draw := spanOf(t, treatment, heat.Draw)
	assert.Equal(t, []air.Interval{{StartMinute: 0, EndMinute: 20}, {StartMinute: draw.start, EndMinute: draw.end}}, treatment.doorOpen())
}

func TestFlueOfAGasFurnace(t *testing.T) {
	stage := fired(chem.Calcine, 900, add("quartz", 100))
	treatment := treat(t, site(gasPot()), "gas-pot", stage)
	fire := spanOf(t, treatment, heat.Fire)
	flue := releasesOf(treatment.Cautious, "CO2")
	require.Len(t, flue, 1)
	assert.InDelta(t, fire.start, flue[0].StartMinute, 1e-9)
	full := 60 * treatment.Heat.InputKilowattHours / treatment.Constants.InputKilowatts
	assert.InDelta(t, fire.start+full, flue[0].EndMinute, 1e-9, "at full power until the energy is spent")
	assert.Less(t, flue[0].EndMinute, fire.end)
	grams := massOf(treatment.Cautious)
	assert.InDelta(t, 200*treatment.Heat.InputKilowattHours, grams["CO2"], 1e-6, "0.2 kg a kWh: common practice, no source")
	assert.InDelta(t, 0.5*treatment.Heat.InputKilowattHours, grams["CO"], 1e-6)
	assert.Empty(t, treat(t, site(pot()), "pot", stage).Cautious, "an electric one has no flue")
}

func TestFlueCountsWarmingAndTheOpenDoor(t *testing.T) {
	stage := fired(chem.Oxidise, 500, add("sulfur", 10), add("quartz", 90))
	stage.ChargeAtCelsius, stage.Atmosphere = 500, heat.Reducing
	treatment := treat(t, site(gasPot()), "gas-pot", stage)
	for _, kind := range []heat.PhaseKind{heat.Warm, heat.Charge} {
		phase := spanOf(t, treatment, kind)
		require.Positive(t, phase.Minutes)
		assert.Contains(t, treatment.Cautious, air.Release{
			Species: "CO2", StartMinute: phase.start, EndMinute: phase.end, GramsPerMinute: 200 * 15.0 / 60,
		}, kind)
		assert.Contains(t, treatment.Cautious, air.Release{
			Species: "CO", StartMinute: phase.start, EndMinute: phase.end, GramsPerMinute: 10 * 15.0 / 60,
		}, kind)
	}
	for _, r := range treatment.Cautious {
		assert.LessOrEqual(t, r.EndMinute, spanOf(t, treatment, heat.Draw).start, "%s comes off after an elastic wait", r.Species)
	}
}

func TestNobodyIsNeededOnceNothingComesOff(t *testing.T) {
	stage := fired(chem.Calcine, 1100, add("calcite", 100))
	treatment := treat(t, site(pot()), "pot", stage)
	require.Equal(t, []heat.PhaseKind{heat.Charge, heat.Fire, heat.Fire, heat.Cool, heat.Draw}, kinds(treatment))
	dirty, rest := treatment.Phases[1], treatment.Phases[2]
	assert.Equal(t, heat.InReach, dirty.Watch)
	assert.Equal(t, 1, dirty.PeopleCount)
	assert.Equal(t, heat.WatchNone, rest.Watch)
	assert.Zero(t, rest.PeopleCount)
	assert.Equal(t, rest.Minutes, rest.MaxMinutes)
	assert.Equal(t, dirty.Kilowatts, rest.Kilowatts)
	assert.Equal(t, heat.WholeMinutes(treatment.Heat.FireMinutes), dirty.Minutes+rest.Minutes, "the split takes no time")

	for name, change := range map[string]func(*heat.Furnace, *chem.Stage){
		"no cut-out":                   func(f *heat.Furnace, _ *chem.Stage) { f.OverTemperatureCutOut = false },
		"driven by hand":               func(f *heat.Furnace, _ *chem.Stage) { f.Control = heat.ByHand },
		"over a flame":                 func(f *heat.Furnace, _ *chem.Stage) { *f = gasPot(); f.ID = "pot"; f.OverTemperatureCutOut = true },
		"the recipe asks: in reach":    func(_ *heat.Furnace, s *chem.Stage) { s.FireWatch = heat.InReach },
		"the recipe asks: in room":     func(_ *heat.Furnace, s *chem.Stage) { s.FireWatch = heat.InRoom },
		"gas comes off until it cools": func(_ *heat.Furnace, s *chem.Stage) { s.Program.Segments[0].ToCelsius = 750 },
	} {
		t.Run(name, func(t *testing.T) {
			f, s := pot(), fired(chem.Calcine, 1100, add("calcite", 100))
			change(&f, &s)
			treatment := treat(t, site(f), "pot", s)
			for _, p := range treatment.Phases {
				if p.Kind == heat.Fire {
					assert.NotEqual(t, heat.WatchNone, p.Watch)
				}
			}
		})
	}
}

func TestSteamAloneNeedsNobody(t *testing.T) {
	of := materials()
	of["sand"] = chem.Material{ID: "sand", Phases: []chem.Phase{{Formula: "SiO2", MassFraction: 1}}, MoistureFraction: 0.1}
	stage := fired(chem.Calcine, 800, add("sand", 100))
	stage.FireWatch = heat.WatchNone
	treatment, err := site(pot()).Treat(chargeOf(t, of, stage), 0, "pot")
	require.NoError(t, err)
	require.NotEmpty(t, treatment.Cautious)
	require.Equal(t, []heat.PhaseKind{heat.Charge, heat.Fire, heat.Cool, heat.Draw}, kinds(treatment), "nothing is left to split off")
	assert.Equal(t, heat.WatchNone, treatment.Phases[1].Watch)
	assert.Empty(t, withCode(treatment.Findings, heat.CodeWatchRaised))

	dirty := fired(chem.Calcine, 1000, add("calcite", 100))
	dirty.FireWatch = heat.WatchNone
	assert.Equal(t, finding.Warn, severities(treat(t, site(pot()), "pot", dirty).Findings)[heat.CodeWatchRaised],
		"with gas the recipe may not ask for nobody")
}

func TestClearingIsOwedAfterDirtyWork(t *testing.T) {
	for content, owed := range map[string]bool{
		"sulfur": true, "gypsum": true, "salt": true, "zinc": false, "zinc-metal": true, "charcoal": false, "calcite": false,
		"fluorspar": true, "quartz": false,
	} {
		treatment := treat(t, site(pot()), "pot", fired(chem.Calcine, 800, add(content, 5), add("quartz", 95)))
		assert.Equal(t, owed, treatment.startOf(heat.Clear) > 0, content)
	}
	reduced := fired(chem.Reduce, 800, add("haematite", 5), add("quartz", 95))
	reduced.Atmosphere = heat.Reducing
	assert.Contains(t, kinds(treat(t, site(pot()), "pot", reduced)), heat.Clear, "the elements' skin must grow again")
	assert.NotContains(t, kinds(treat(t, site(gasPot()), "gas-pot", reduced)), heat.Clear, "a flame has no elements")
	tight := pot()
	tight.Atmospheres = []heat.Atmosphere{heat.Reducing}
	stage := fired(chem.Reduce, 800, add("sulfur", 5), add("quartz", 95))
	stage.Atmosphere = heat.Reducing
	assert.Equal(t, finding.Block, severities(treat(t, site(tight), "pot", stage).Findings)[heat.CodeCannotClear])
}

func TestExcludedContents(t *testing.T) {
	clean := pot()
	clean.Excludes = []string{heat.Sulfur}
	for content, blocks := range map[string]bool{"sulfur": true, "gypsum": true, "salt": false, "quartz": false} {
		treatment := treat(t, site(clean), "pot", fired(chem.Calcine, 800, add(content, 5), add("quartz", 95)))
		assert.Equal(t, blocks, severities(treatment.Findings)[heat.CodeExcludes] == finding.Block, content)
		assert.Equal(t, blocks, len(treatment.Phases) == 0, "what may not go in has no phases")
		for _, f := range treatment.Findings {
			assert.Contains(t, f.Field, "stages[0]", f.Code)
		}
	}
}

func TestChargeLargerThanTheChamber(t *testing.T) {
	for _, c := range []struct {
		grams, density float64
		blocks         bool
	}{{12000, 1, false}, {12001, 1, true}, {24000, 2, false}, {99999, 0, false}} {
		stage := fired(chem.Calcine, 800, add("quartz", c.grams))
		stage.TampedDensityGramsPerMilliliter = c.density
		found := withCode(treat(t, site(pot()), "pot", stage).Findings, "FURNACE_CHAMBER_TOO_SMALL")
		require.Equal(t, c.blocks, len(found) == 1, "%v g at %v g/ml in 12 l", c.grams, c.density)
	}
}

func TestMinutesThatTheStageDoesNotSay(t *testing.T) {
	s := site(pot())
	s.ChargeMinutes, s.DrawMinutes = 33, 44
	stage := fired(chem.Calcine, 800, add("quartz", 100))
	treatment := treat(t, s, "pot", stage)
	assert.Equal(t, 33, spanOf(t, treatment, heat.Charge).Minutes)
	assert.Equal(t, 44, spanOf(t, treatment, heat.Draw).Minutes)
	stage.ChargeMinutes, stage.DrawMinutes = 7, 8
	treatment = treat(t, s, "pot", stage)
	assert.Equal(t, 7, spanOf(t, treatment, heat.Charge).Minutes)
	assert.Equal(t, 8, spanOf(t, treatment, heat.Draw).Minutes)
}

func TestFlueOfAFireWithAFeedIsCountedOnce(t *testing.T) {
	treatment := treat(t, site(gasPot()), "gas-pot", fired(chem.Calcine, 900, add("quartz", 100), feed("corundum", 10)))
	require.Contains(t, kinds(treatment), heat.Feed)
	assert.InDelta(t, 200*treatment.Heat.InputKilowattHours, massOf(treatment.Cautious)["CO2"], 1e-6)
}

func TestWhatTheStageAsksOfTheFurnace(t *testing.T) {
	small := pot()
	small.MaxChargeGrams = 1000
	for _, c := range []struct {
		quartz, ware float64
		blocks       bool
	}{{1000, 0, false}, {1001, 0, true}, {500, 500, false}, {500, 501, true}} {
		stage := fired(chem.Bisque, 800, add("quartz", c.quartz))
		stage.WareGrams = c.ware
		got := severities(treat(t, site(small), "pot", stage).Findings)[heat.CodeChargeTooLarge] == finding.Block
		assert.Equal(t, c.blocks, got, "%v g and %v g of ware", c.quartz, c.ware)
	}
	stage := fired(chem.Calcine, 800, add("quartz", 10))
	assert.NotContains(t, kinds(treat(t, site(pot()), "pot", stage)), heat.Wait)
	closed := spanOf(t, treat(t, site(pot()), "pot", stage), heat.Cool).Minutes
	stage.MaxWaitMinutes, stage.OpenBelowCelsius = 600, 300
	treatment := treat(t, site(pot()), "pot", stage)
	assert.Equal(t, 600, spanOf(t, treatment, heat.Wait).MaxMinutes)
	assert.Less(t, spanOf(t, treatment, heat.Cool).Minutes, closed, "opened hotter, it waits less")
}

// TestMassThatComesOff holds the series against the balance: everything that the balance lets go at the stage's peak is in
// the releases of a furnace without a flame, in both cases, and nothing else but the sulfur gases of a starved charge, whose
// sulfur is never more than what the balance lets go.
func TestMassThatComesOff(t *testing.T) {
	contents := []string{"kaolin", "soda-ash", "sulfur", "charcoal", "calcite", "quartz", "gypsum", "pyrite", "salt", "zinc", "haematite"}
	rapid.Check(t, func(t *rapid.T) {
		stage := fired(chem.Calcine, rapid.Float64Range(150, 1150).Draw(t, "celsius"))
		for range rapid.IntRange(1, 4).Draw(t, "additions") {
			addition := add(rapid.SampledFrom(contents).Draw(t, "material"), rapid.Float64Range(1, 200).Draw(t, "grams"))
			addition.FedHot = len(stage.Additions) > 0 && rapid.Bool().Draw(t, "fed")
			stage.Additions = append(stage.Additions, addition)
		}
		stage.Atmosphere = rapid.SampledFrom([]heat.Atmosphere{heat.Oxidising, heat.Reducing}).Draw(t, "atmosphere")
		stage.Lid = rapid.SampledFrom([]chem.Lid{chem.OpenLid, chem.LooseLid}).Draw(t, "lid")
		stage.ChargeAtCelsius = rapid.SampledFrom([]float64{0, 400, 900}).Draw(t, "charged at")
		stage.WareGrams = rapid.SampledFrom([]float64{0, 5000}).Draw(t, "ware")
		s := site(pot())
		c, err := s.NewCharge(recipe(stage), materials(), chem.Scale{})
		require.NoError(t, err)
		treatment, err := s.Treat(c, 0, "pot")
		require.NoError(t, err)
		if finding.Blocks(treatment.Findings) {
			t.Skip("too much for the furnace: it is not fired at all")
		}
		c, err = s.after(c, treatment)
		require.NoError(t, err)
		for of, releases := range map[chem.Case][]air.Release{chem.Cautious: treatment.Cautious, chem.Likely: treatment.Likely} {
			want := map[string]float64{}
			for _, gas := range c.Balance.Stages[0].OffGasOf(of) {
				want[gas.Species] += gas.MassGrams
			}
			got := massOf(releases)
			for species, grams := range got {
				if starved := map[string]float64{"H2S": 34.08, "COS": 60.07, "CS2": 76.13 / 2}[species]; starved > 0 && of == chem.Cautious {
					require.LessOrEqual(t, grams/starved, want["SO2"]/64.06+want["H2SO4"]/98.07+1e-9, species)
					continue
				}
				require.Contains(t, want, species, of)
			}
			for species, grams := range want {
				require.InDelta(t, grams, got[species], 1e-6+1e-9*grams, "%s %s", of, species)
			}
			for _, r := range releases {
				require.GreaterOrEqual(t, r.StartMinute, 0.0, "%s comes off before the firing", r.Species)
			}
		}
	})
}
