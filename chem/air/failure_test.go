package air

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// drawnAway is a release that a fan keeps in check: without it the room fills.
func drawnAway() FanFailureCheck {
	return FanFailureCheck{
		Zone: Zone{ID: "kilns", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5)},
		Sources: []Source{{Name: "muffle", CaptureFraction: 0.95, DoorOpenFraction: 0.9,
			Releases: []Release{{"SO2", 0, 120, 1}, {"SO2", 120, 300, 4}}}},
	}
}

// passedAt is when a limit of NIOSH's is passed, minutes after the failure.
func passedAt(f FanFailure, kind data.LimitKind) (float64, bool) {
	at := slices.IndexFunc(f.Limits, func(p PassedLimit) bool { return p.Authority == "NIOSH" && p.Kind == kind })
	if at < 0 {
		return 0, false
	}
	return f.Limits[at].AfterMinutes, true
}

// Without flow the room fills in a straight line: G/V from what it held.
func TestAfterTheFailureTheRoomFills(t *testing.T) {
	check := drawnAway()
	minute := 150.0
	check.AtMinute = &minute
	got, err := CheckFanFailure(check)
	require.NoError(t, err)
	perMinute := func(grams, capture float64) float64 { return grams * (1 - capture) * 1000 * 24.45 / 64.058 / 60 }
	// Before: in balance with 0.5 air changes a minute, half an hour after the release rose.
	before := perMinute(4, 0.95)/0.5 + (perMinute(1, 0.95)-perMinute(4, 0.95))/0.5*math.Exp(-0.5*30)
	after, ok := passedAt(got, data.DangerousToLife)
	require.True(t, ok)
	assert.InEpsilon(t, (100-before)/perMinute(4, 0), after, 1e-6)
	require.NotNil(t, got.EvacuateMinutes)
	assert.Equal(t, after, *got.EvacuateMinutes, "SO2 has no ceiling below it")
	assert.False(t, got.Worst)
	assert.Nil(t, got.LeastMinutes)
	require.Len(t, got.Findings, 1)
	assert.Equal(t, finding.Warn, got.Findings[0].Severity)
	assert.Equal(t, "AIR_FAN_FAILURE", got.Findings[0].Code)
	assert.Contains(t, got.Findings[0].Cure, "leave the room")
	assert.True(t, slices.IsSortedFunc(got.Limits, func(a, b PassedLimit) int { return int(math.Copysign(1, a.AfterMinutes-b.AfterMinutes)) }))
}

func TestAFailureThatPassesNothingIsANote(t *testing.T) {
	check := drawnAway()
	check.Sources[0].Releases = []Release{{"SO2", 0, 120, 1e-4}}
	got, err := CheckFanFailure(check)
	require.NoError(t, err)
	assert.Equal(t, finding.Note, got.Findings[0].Severity)
	assert.Nil(t, got.EvacuateMinutes)
	assert.False(t, finding.Blocks(got.Findings))
}

// The room is over NIOSH's values with the fan running: that is said first, then the first limit that the failure adds.
func TestLimitsPassedBeforeTheFailureAreNamedFirst(t *testing.T) {
	minute := 55.0
	got, err := CheckFanFailure(FanFailureCheck{
		Zone: Zone{VolumeCubicMeters: 60, Flow: ConstantFlow(0.2)}, AtMinute: &minute,
		Sources: []Source{{Name: "pot", Releases: []Release{{"SO2", 0, 240, 0.5}}}},
	})
	require.NoError(t, err)
	after, passed := passedAt(got, data.ShortTerm)
	require.True(t, passed)
	require.Zero(t, after)
	message := got.Findings[0].Message
	assert.Contains(t, message, "minute 55, SO2 is over NIOSH TWA of 2 ppm and NIOSH STEL of 5 ppm already; "+
		"SO2 passes the further limit OSHA TWA of 5 ppm after")
	assert.Equal(t, finding.Warn, got.Findings[0].Severity)
}

func TestAGasWithoutALimitIsNoAllClear(t *testing.T) {
	check := drawnAway()
	check.Sources[0].Releases = []Release{{"CH4", 0, 120, 1}, {"COS", 0, 120, 1e-6}, {"H2O", 0, 120, 1}}
	got, err := CheckFanFailure(check)
	require.NoError(t, err)
	assert.Equal(t, finding.Warn, got.Findings[0].Severity)
	assert.Contains(t, got.Findings[0].Message, "no limit that refuses is known for CH4, COS")
	assert.NotContains(t, got.Findings[0].Message, "is passed")
	check.Own = []OwnLimit{{"CH4", "studio", data.Ceiling, 0, 1e5, "x"}, {"COS", "studio", data.Ceiling, 0, 1, "x"}}
	got, err = CheckFanFailure(check)
	require.NoError(t, err)
	assert.Equal(t, finding.Note, got.Findings[0].Severity, "a limit of the studio's own is one")
}

func TestOnlyTheFailingSourcesLoseTheirCapture(t *testing.T) {
	check := drawnAway()
	minute := 150.0
	check.AtMinute = &minute
	check.Sources = append(check.Sources, Source{Name: "pot", CaptureFraction: 1, DoorOpenFraction: 1, Releases: []Release{{"CO", 0, 300, 50}}})
	species := func(failing ...string) []string {
		check.Failing = failing
		got, err := CheckFanFailure(check)
		require.NoError(t, err)
		var list []string
		for _, p := range got.Limits {
			list = append(list, p.Species)
		}
		return list
	}
	assert.Contains(t, species(), "CO")
	assert.NotContains(t, species("muffle"), "CO")
	assert.Contains(t, species("pot"), "CO")
}

func TestWhatFlowsByItselfIsNeverMoreThanBefore(t *testing.T) {
	check := drawnAway()
	minute := 150.0
	check.AtMinute = &minute
	after := func(natural float64) float64 {
		check.NaturalCubicMetersPerSecond = natural
		got, err := CheckFanFailure(check)
		require.NoError(t, err)
		minutes, _ := passedAt(got, data.ShortTerm)
		return minutes
	}
	assert.Less(t, after(0), after(0.1))
	assert.Equal(t, after(0.5), after(50))
}

// A failure at any minute, against the worst one that was found: none leaves less time than is said.
func TestNoFailureLeavesLessTimeThanTheWorst(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		check := FanFailureCheck{Zone: drawZone(t), Sources: drawSources(t, "sources")}
		check.NaturalCubicMetersPerSecond = rapid.SampledFrom([]float64{0, 0.05}).Draw(t, "natural")
		worst, err := CheckFanFailure(check)
		require.NoError(t, err)
		assert.True(t, worst.Worst)
		_, err = json.Marshal(worst)
		require.NoError(t, err, "never a NaN")
		least := math.Inf(1)
		if worst.EvacuateMinutes != nil {
			least = *worst.EvacuateMinutes
		}
		first, last := check.span()
		for i := range 40 {
			minute := first + float64(i)/40*(last-first)
			check.AtMinute = &minute
			one, err := CheckFanFailure(check)
			require.NoError(t, err)
			if one.EvacuateMinutes == nil {
				continue
			}
			require.NotNil(t, worst.LeastMinutes, "at minute %v", minute)
			assert.GreaterOrEqual(t, *one.EvacuateMinutes, *worst.LeastMinutes-1e-6, "at minute %v", minute)
			assert.GreaterOrEqual(t, *one.EvacuateMinutes, least-failureSearchMinutes-1e-6, "at minute %v", minute)
		}
	})
}

// After a failure the room is never cleaner than with the fan running, and a later failure never dirtier than an earlier one.
func TestTheEarlierTheFailureTheMoreGas(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		check := FanFailureCheck{Zone: drawZone(t), Sources: drawSources(t, "sources")}
		early := float64(rapid.IntRange(-10, 500).Draw(t, "early"))
		late := early + float64(rapid.IntRange(0, 200).Draw(t, "later"))
		running, err := Curves(check.Zone, check.Sources)
		require.NoError(t, err)
		curves := func(minute float64) []Curve {
			failing, err := check.failing(nil)
			require.NoError(t, err)
			return failing.curves(minute)
		}
		first, second := curves(early), curves(late)
		minute := rapid.Float64Range(-20, 900).Draw(t, "minute")
		for i := range running {
			assert.GreaterOrEqual(t, second[i].At(minute), running[i].At(minute)*(1-1e-9)-1e-9)
			assert.GreaterOrEqual(t, first[i].At(minute), second[i].At(minute)*(1-1e-9)-1e-9)
			if minute < early {
				assert.InDelta(t, running[i].At(minute), first[i].At(minute), 1e-9*running[i].At(minute)+1e-12)
			}
		}
	})
}

func TestAFailureNamesItsFaults(t *testing.T) {
	nan := math.NaN()
	for want, spoil := range map[string]func(*FanFailureCheck){
		"at_minute":                       func(c *FanFailureCheck) { c.AtMinute = &nan },
		"natural_cubic_meters_per_second": func(c *FanFailureCheck) { c.NaturalCubicMetersPerSecond = -1 },
		"failing[0]":                      func(c *FanFailureCheck) { c.Failing = []string{"pot"} },
		"sources[0].capture_fraction":     func(c *FanFailureCheck) { c.Sources[0].CaptureFraction = 1.01 },
		"own_limits[0].name":              func(c *FanFailureCheck) { c.Own = []OwnLimit{{"CO", "", data.Ceiling, 0, 20, "x"}} },
	} {
		check := drawnAway()
		spoil(&check)
		_, err := CheckFanFailure(check)
		require.Error(t, err)
		assert.Equal(t, want, finding.FaultsOf(err)[0].Field)
	}
	got, err := CheckFanFailure(FanFailureCheck{Zone: Zone{VolumeCubicMeters: 10}})
	require.NoError(t, err, "nothing is given off")
	assert.Equal(t, finding.Note, got.Findings[0].Severity)
}

func BenchmarkCheckFanFailure(b *testing.B) {
	zone, sources := crowded(2)
	for b.Loop() {
		if _, err := CheckFanFailure(FanFailureCheck{Zone: zone, Sources: sources[:3]}); err != nil {
			b.Fatal(err)
		}
	}
}
