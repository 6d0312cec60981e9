package air

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/data"
	"saggar/chem/finding"
)

func refused(t require.TestingT, zone Zone, sources []Source) bool {
	excesses, err := exceeds(zone, sources, nil)
	require.NoError(t, err)
	return slices.ContainsFunc(excesses, func(e Excess) bool { return e.Limit.Severity == finding.Block })
}

func TestFlowNeededIsEnoughAndNoMoreThanEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, sources := drawZone(t), drawSources(t, "sources")
		for range rapid.IntRange(0, 2).Draw(t, "closed") {
			from := rapid.Float64Range(0, 500).Draw(t, "from")
			zone.Unoccupied = append(zone.Unoccupied, Interval{from, from + rapid.Float64Range(1, 400).Draw(t, "for")})
		}
		got, err := CheckRoom(RoomCheck{Zone: zone, Sources: sources})
		require.NoError(t, err)
		require.NotNil(t, got.FlowNeeded, "enough flow always helps where the incoming air is clean")
		zone.Flow = ConstantFlow(*got.FlowNeeded)
		assert.False(t, refused(t, zone, sources), "flow %v", *got.FlowNeeded)
		if *got.FlowNeeded > 0 {
			zone.Flow = ConstantFlow((1 - 1e-6) * *got.FlowNeeded)
			assert.True(t, refused(t, zone, sources), "a millionth less than %v", *got.FlowNeeded)
		}
		for _, s := range got.Species {
			require.NotNil(t, s.FlowNeeded)
			assert.LessOrEqual(t, *s.FlowNeeded, *got.FlowNeeded*(1+1e-5))
		}
	})
}

func TestChargeShareAndCaptureAreEnoughAndNoMoreThanEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, sources := drawZone(t), drawSources(t, "sources")
		got, err := CheckRoom(RoomCheck{Zone: zone, Sources: sources})
		require.NoError(t, err)
		require.NotNil(t, got.ChargeShareEnough)
		share := *got.ChargeShareEnough
		if !refused(t, zone, sources) {
			assert.Equal(t, 1.0, share)
			assert.Empty(t, got.CaptureEnough)
			return
		}
		scaled := func(factor float64) []Source {
			result := make([]Source, len(sources))
			for i, s := range sources {
				s.Releases = slices.Clone(s.Releases)
				for j := range s.Releases {
					s.Releases[j].GramsPerMinute *= factor
				}
				result[i] = s
			}
			return result
		}
		assert.False(t, refused(t, zone, scaled(share*0.999999)))
		assert.True(t, refused(t, zone, scaled(share*1.01)))
		for i, cure := range got.CaptureEnough {
			sources[i].CaptureFraction = min(1, cure.CaptureFraction+1e-9)
			sources[i].DoorOpenFraction = min(1, cure.DoorOpenFraction+1e-9)
		}
		assert.False(t, refused(t, zone, sources), "the capture that it names is enough")
	})
}

func sulfurCase() RoomCheck {
	return RoomCheck{
		Zone: Zone{ID: "kiln-room", VolumeCubicMeters: 180, Flow: ConstantFlow(0.4)},
		Sources: []Source{{Name: "muffle", CaptureFraction: 0.5, DoorOpenFraction: 0.25,
			Releases: []Release{{"SO2", 0, 45, 4}, {"CO", 0, 90, 1}, {"C2H2", 0, 45, 0.01}, {"H2O", 0, 45, 20}}}},
	}
}

func TestCheckRoomSaysWhatIsWrongAndWhatCuresIt(t *testing.T) {
	got, err := CheckRoom(sulfurCase())
	require.NoError(t, err)
	codes := map[string]finding.Severity{}
	for _, f := range got.Findings {
		if _, seen := codes[f.Code]; !seen {
			codes[f.Code] = f.Severity
		}
		assert.NotEmpty(t, f.Source, f.Code)
		assert.NotEmpty(t, f.Cure, f.Code)
		assert.Equal(t, "kiln-room", f.About)
	}
	assert.Equal(t, finding.Block, codes["AIR_SHORT_TERM_LIMIT"])
	assert.Equal(t, finding.Warn, codes["AIR_NO_LIMIT"], "acetylene has no limit here; water needs none")
	assert.Len(t, slices.DeleteFunc(slices.Clone(got.Findings), func(f finding.Finding) bool { return f.Code != "AIR_NO_LIMIT" }), 1)
	assert.Equal(t, finding.Block, got.Findings[0].Severity, "worst first")
	assert.Contains(t, got.Findings[0].Cure, "m3/s")
	assert.Contains(t, got.Findings[0].Cure, "of the charge")
	assert.Contains(t, got.Findings[0].Cure, "muffle")
	assert.Equal(t, Caution, got.Caution)
	assert.NotEmpty(t, got.Assumptions)

	so2 := got.Species[slices.IndexFunc(got.Species, func(s SpeciesAssessment) bool { return s.Species == "SO2" })]
	assert.Equal(t, 45.0, so2.PeakMinute)
	assert.GreaterOrEqual(t, so2.PeakPPM, so2.Max15MinutePPM)
	assert.GreaterOrEqual(t, so2.Max15MinutePPM, so2.Max8HourPPM)
	assert.Equal(t, 0.2, so2.ReentryPPM, "a tenth of NIOSH's 2 ppm")
	require.NotNil(t, so2.ReentryMinute)
	curve := only(t, sulfurCase().Zone, []Source{{CaptureFraction: 0.5, Releases: []Release{{"SO2", 0, 45, 4}}}})
	assert.InDelta(t, 0.2, curve.At(*so2.ReentryMinute), 1e-9)
	assert.Nil(t, got.ReentryMinute, "one species has no limit, so none can be told")
	text, err := json.Marshal(got)
	require.NoError(t, err, "no NaN and no infinity")
	assert.Contains(t, string(text), `"max_15_minute_ppm"`)
}

func TestCheckRoomWithoutFlow(t *testing.T) {
	check := sulfurCase()
	check.Zone.Flow = nil
	got, err := CheckRoom(check)
	require.NoError(t, err)
	for _, s := range got.Species {
		assert.Nil(t, s.ReentryMinute, "the gas stays")
	}
	_, err = json.Marshal(got)
	require.NoError(t, err)
	require.NotNil(t, got.FlowNeeded)
}

// One gas at nineteen times its limit must not read as a mixture ratio of none.
func TestMixtureRatioOfOneGasIsItsOwn(t *testing.T) {
	check := sulfurCase()
	check.Sources[0].Releases = []Release{{"SO2", 0, 45, 4}}
	got, err := CheckRoom(check)
	require.NoError(t, err)
	ratio := func(authority string, kind data.LimitKind) float64 {
		limits := got.Species[0].Limits
		return limits[slices.IndexFunc(limits, func(l LimitCheck) bool { return l.Authority == authority && l.Kind == kind })].Ratio
	}
	assert.InEpsilon(t, ratio("NIOSH", data.TimeWeighted), got.ShiftMixtureRatio, 1e-12)
	assert.InEpsilon(t, ratio("NIOSH", data.ShortTerm), got.ShortTermMixtureRatio, 1e-12)
	assert.Equal(t, max(got.ShiftMixtureRatio, got.ShortTermMixtureRatio), got.MixtureRatio)
	assert.Greater(t, got.MixtureRatio, 1.0)
	assert.NotContains(t, codesOf(got.Findings), "AIR_MIXTURE", "it takes two to be a mixture")
	check.Sources[0].Releases = []Release{{"C2H2", 0, 45, 4}}
	got, err = CheckRoom(check)
	require.NoError(t, err)
	assert.Zero(t, got.MixtureRatio, "no limit, no ratio")
}

func codesOf(found []finding.Finding) []string {
	var list []string
	for _, f := range found {
		list = append(list, f.Code)
	}
	return list
}

func TestARoomWithoutAnyFlowWarns(t *testing.T) {
	const code = "AIR_NO_EXTRACTION"
	for name, test := range map[string]struct {
		flow    []FlowStep
		release Release
		warns   bool
	}{
		"no flow stated":      {nil, Release{"CO2", 0, 45, 1e-6}, true},
		"a flow of nothing":   {ConstantFlow(0), Release{"HF", 0, 45, 1e-6}, true},
		"the least flow":      {ConstantFlow(1e-9), Release{"CO2", 0, 45, 1e-6}, false},
		"steam alone":         {nil, Release{"H2O", 0, 45, 10}, false},
		"nothing comes off":   {nil, Release{"CO2", 0, 45, 0}, false},
		"it flows for a time": {[]FlowStep{{0, 0}, {10, 1}}, Release{"CO2", 0, 45, 1e-6}, false},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := CheckRoom(RoomCheck{Zone: Zone{ID: "cellar", VolumeCubicMeters: 100, Flow: test.flow},
				Sources: []Source{{Releases: []Release{test.release}}}})
			require.NoError(t, err)
			at := slices.IndexFunc(got.Findings, func(f finding.Finding) bool { return f.Code == code })
			require.Equal(t, test.warns, at >= 0)
			if test.warns {
				assert.Equal(t, finding.Warn, got.Findings[at].Severity)
				assert.Contains(t, got.Findings[at].Message, "cellar")
				assert.Contains(t, got.Findings[at].Cure, "make-up air")
				assert.Contains(t, got.Assumptions, "no flow of fresh air")
			}
		})
	}
}

func TestAssumptionsSayWhenARoomMayBeEnteredAgain(t *testing.T) {
	got, err := CheckRoom(sulfurCase())
	require.NoError(t, err)
	assert.Contains(t, strings.Join(got.Assumptions, "\n"), "re-entry below 0.1 of the strictest shift limit")
}

func TestCheckRoomWithForeignGasInTheIncomingAir(t *testing.T) {
	check := sulfurCase()
	check.Zone.BackgroundPPM = map[string]float64{"SO2": 2.5}
	got, err := CheckRoom(check)
	require.NoError(t, err)
	assert.Nil(t, got.FlowNeeded, "no flow of foul air is enough")
	assert.Nil(t, got.ChargeShareEnough)
	assert.True(t, finding.Blocks(got.Findings))
}

func TestCheckRoomOfNothing(t *testing.T) {
	got, err := CheckRoom(RoomCheck{Zone: Zone{VolumeCubicMeters: 10}})
	require.NoError(t, err)
	assert.Empty(t, got.Species)
	assert.Empty(t, got.Findings)
	assert.Empty(t, got.Series)
	_, err = CheckRoom(RoomCheck{Zone: Zone{VolumeCubicMeters: 10}, SeriesStepMinutes: math.NaN()})
	assert.ErrorContains(t, err, "series_step_minutes")
}

func TestSeriesCoversTheStay(t *testing.T) {
	check := sulfurCase()
	check.SeriesStepMinutes = 5
	got, err := CheckRoom(check)
	require.NoError(t, err)
	require.NotEmpty(t, got.Series)
	assert.Equal(t, 0.0, got.Series[0].Minute)
	assert.Equal(t, 5.0, got.Series[len(got.Species)].Minute)
	curves, err := Curves(check.Zone, check.Sources)
	require.NoError(t, err)
	stay, gone := Stay(curves)
	assert.True(t, gone)
	last := got.Series[len(got.Series)-1]
	assert.GreaterOrEqual(t, last.Minute, stay.EndMinute)
	for _, curve := range curves {
		if limit, ok := strictest(Limits(curve.Species()), func(Limit) bool { return true }); ok {
			assert.LessOrEqual(t, curve.At(stay.EndMinute), 0.01*limit.PPM*(1+1e-9))
		}
	}
	check.Zone.Flow = nil
	still, err := Curves(check.Zone, check.Sources)
	require.NoError(t, err)
	stay, gone = Stay(still)
	assert.False(t, gone)
	assert.Equal(t, 90.0+endlessTailMinutes, stay.EndMinute)
	check.SeriesStepMinutes = 1e-9
	got, err = CheckRoom(check)
	require.NoError(t, err)
	assert.LessOrEqual(t, len(got.Series), (seriesPointsAtMost+2)*len(got.Species), "a step too fine is widened")
}

// Warnings keep their own cure: what passes the stricter published value.
func TestWarningNamesTheFlowForItsOwnLimit(t *testing.T) {
	check := sulfurCase()
	check.Sources[0].Releases = []Release{{"SO2", 0, 45, 1}}
	got, err := CheckRoom(check)
	require.NoError(t, err)
	at := slices.IndexFunc(got.Findings, func(f finding.Finding) bool {
		return f.Severity == finding.Warn && f.Code == "AIR_SHORT_TERM_LIMIT"
	})
	require.GreaterOrEqual(t, at, 0)
	figures := got.Findings[at].Figures
	flow := figures[slices.IndexFunc(figures, func(f finding.Figure) bool { return f.Name == "flow_needed" })].Value
	check.Zone.Flow = ConstantFlow(flow)
	mean, _ := only(t, check.Zone, check.Sources).MaxMean(15)
	assert.InEpsilon(t, limitOf(t, "SO2", "EU", data.ShortTerm).PPM, mean, 1e-4)
}

// A room of 100 m3 without flow holds G t 24.45/M/V: 1e6 ppm of SO2 are 262 kg, and more is no room's air.
func TestMoreGasThanTheRoomHoldsIsRefused(t *testing.T) {
	zone := Zone{VolumeCubicMeters: 100, MixingFactor: 1}
	for share, refused := range map[float64]bool{0.999: false, 1.001: true} {
		sources := []Source{{Name: "pot", Releases: []Release{{"SO2", 0, 100, share * 1e6 * 100 * 64.058 / 24.45 / 1000 / 100}}}}
		_, err := CheckRoom(RoomCheck{Zone: zone, Sources: sources})
		_, failed := CheckFanFailure(FanFailureCheck{Zone: zone, Sources: sources})
		for _, err := range []error{err, failed} {
			assert.Equal(t, refused, err != nil, share)
			if refused {
				assert.Equal(t, "sources", finding.FaultsOf(err)[0].Field)
			}
		}
	}
}

// TestCureOnlyLeavesOutTheFlowOfARoomThatPasses and nothing else; what is refused gets its cure all the same.
func TestCureOnlyLeavesOutTheFlowOfARoomThatPasses(t *testing.T) {
	for _, c := range []struct {
		name  string
		grams float64
		left  bool
	}{{"passes", 0.01, true}, {"refused", 50, false}} {
		check := RoomCheck{
			Zone: Zone{ID: "bay", VolumeCubicMeters: 100, MixingFactor: 3, Flow: ConstantFlow(0.2)},
			Sources: []Source{{Name: "kiln", Releases: []Release{
				{Species: "CO", StartMinute: 0, EndMinute: 60, GramsPerMinute: c.grams}, {Species: "SO2", StartMinute: 0, EndMinute: 30, GramsPerMinute: c.grams},
			}}},
		}
		whole, err := CheckRoom(check)
		require.NoError(t, err)
		require.NotNil(t, whole.FlowNeeded)
		check.CureOnly = true
		short, err := CheckRoom(check)
		require.NoError(t, err)
		if c.left {
			require.Nil(t, short.FlowNeeded, c.name)
			whole.FlowNeeded = nil
			for i := range whole.Species {
				require.Nil(t, short.Species[i].FlowNeeded)
				whole.Species[i].FlowNeeded = nil
			}
		}
		require.Equal(t, whole, short, c.name)
	}
}
