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

func drawClosed(t *rapid.T) []Interval {
	var closed []Interval
	for range rapid.IntRange(1, 4).Draw(t, "closures") {
		from := float64(rapid.IntRange(-50, 700).Draw(t, "closes"))
		closed = append(closed, Interval{from, from + float64(rapid.IntRange(1, 300).Draw(t, "stays closed"))})
	}
	return closed
}

func isClosed(closed []Interval, minute float64) bool {
	return slices.ContainsFunc(closed, func(i Interval) bool { return i.StartMinute <= minute && minute < i.EndMinute })
}

func TestTimeInsideAndByTheClock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		closed := drawClosed(t)
		occupied := newOccupancy(closed)
		minute := rapid.Float64Range(-100, 1200).Draw(t, "minute")
		inside := 0.0 // counted in quarters of a minute from -100
		for m := -100.0; m < math.Floor(minute*4)/4; m += 0.25 {
			if !isClosed(closed, m) {
				inside += 0.25
			}
		}
		assert.InDelta(t, inside-100, occupied.inside(minute), 0.26)
		if !isClosed(closed, minute) {
			assert.InDelta(t, minute, occupied.clock(occupied.inside(minute)), 2*cutMinutes)
		}
	})
}

// The greatest mean over time inside, against a plain integration from which the closed minutes are struck out.
func TestMeansInsideAgainstPlainIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, sources := drawZone(t), drawSources(t, "sources")
		zone.Unoccupied = drawClosed(t)
		checked, err := CheckRoom(RoomCheck{Zone: zone, Sources: sources})
		require.NoError(t, err)
		_, err = json.Marshal(checked)
		require.NoError(t, err, "never a NaN")
		survey, err := new(workspace).take(zone, sources, nil)
		require.NoError(t, err)
		for _, m := range survey {
			gramsPerMole := map[string]float64{"SO2": 64.058, "CO": 28.010}[m.curve.species]
			plain := plainlySolved(zone, sources, m.curve.species, gramsPerMole, 1300)
			struck := plainly{ppm: []float64{plain.ppm[0]}, sum: []float64{0}}
			highest := 0.0
			for i := range len(plain.ppm) - 1 {
				if !isClosed(zone.Unoccupied, (float64(i)+0.5)/plainSteps) {
					struck.sum = append(struck.sum, struck.sum[len(struck.sum)-1]+plain.sum[i+1]-plain.sum[i])
					highest = max(highest, plain.ppm[i], plain.ppm[i+1])
				}
			}
			assert.InDelta(t, highest, m.peak, 1e-6*highest+1e-9, "the peak while people may be inside")
			for _, window := range []int{15, 60, 480} {
				got := m.mean(float64(window))
				assert.GreaterOrEqual(t, got.ppm, struck.maxMean(window)*(1-1e-6)-1e-9, "window %d", window)
				// A mean is the difference of two sums over a curve of fewer than a hundred segments, each rounded to 1e-16 of it.
				sum := m.curve.segments[len(m.curve.segments)-1].area
				assert.LessOrEqual(t, got.ppm, m.peak*(1+1e-9)+1e-14*sum/float64(window))
			}
		}
	})
}

func TestGasWhileNobodyIsInsideIsNotHeldAgainstTheRoom(t *testing.T) {
	zone := Zone{ID: "kilns", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5)}
	sources := []Source{burstAt(60, 2)}
	require.True(t, refused(t, zone, sources), "it must be too much for people who are inside")
	zone.Unoccupied = []Interval{{55, 400}}
	got, err := CheckRoom(RoomCheck{Zone: zone, Sources: sources})
	require.NoError(t, err)
	assert.False(t, finding.Blocks(got.Findings), "%v", got.Findings)
	assert.Contains(t, strings.Join(got.Assumptions, "\n"), "closed and signed, from minute 55 to 400")
	assert.Less(t, got.Species[0].PeakPPM, 0.2, "what is left at the end")
	highest := slices.MaxFunc(got.Series, func(a, b SeriesPoint) int { return int(math.Copysign(1, a.PPM-b.PPM)) })
	assert.Greater(t, highest.PPM, 5.0, "the series shows the room as it is")

	brought, err := Carry([]Space{{zone, sources, []Transfer{{"studio", 0.2}}}, {Zone{ID: "studio", VolumeCubicMeters: 60}, nil, nil}})
	require.NoError(t, err)
	assert.NotEmpty(t, brought["studio"][0].Releases, "rooms that it gives air to are not empty")
}

func TestLimitsCountAgainOutsideTheSignedTime(t *testing.T) {
	zone := Zone{ID: "kilns", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5), Unoccupied: []Interval{{200, 400}}}
	got, err := CheckRoom(RoomCheck{Zone: zone, Sources: []Source{burstAt(60, 2)}})
	require.NoError(t, err)
	at := slices.IndexFunc(got.Findings, func(f finding.Finding) bool { return f.Code == "AIR_SHORT_TERM_LIMIT" })
	require.GreaterOrEqual(t, at, 0)
	open, err := CheckRoom(RoomCheck{Zone: Zone{ID: "kilns", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5)},
		Sources: []Source{burstAt(60, 2)}})
	require.NoError(t, err)
	assert.Equal(t, open.Findings[0].Message, got.Findings[0].Message, "with minutes by the clock")
}

func TestReentryAtTheEndOfTheSignedTime(t *testing.T) {
	level := 0.1 * limitOf(t, "SO2", "NIOSH", data.TimeWeighted).PPM
	zone := Zone{ID: "kilns", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5)}
	sources := []Source{burstAt(60, 2)}
	possible, ok := only(t, zone, sources).MinuteBelow(level)
	require.True(t, ok)
	check := func(until float64) []finding.Finding {
		zone.Unoccupied = []Interval{{55, until}}
		got, err := CheckRoom(RoomCheck{Zone: zone, Sources: sources})
		require.NoError(t, err)
		return slices.DeleteFunc(got.Findings, func(f finding.Finding) bool { return f.Code != "AIR_REENTRY" })
	}
	early := check(possible - 1)
	require.Len(t, early, 1)
	assert.Equal(t, finding.Block, early[0].Severity)
	figure := early[0].Figures[slices.IndexFunc(early[0].Figures, func(f finding.Figure) bool { return f.Name == "reentry_possible" })]
	assert.InDelta(t, possible, figure.Value, 1e-6)
	assert.Contains(t, early[0].Cure, "after a detector")
	assert.Empty(t, check(figure.Value), "exactly then it is possible")
	assert.Empty(t, check(possible+1))
	assert.NotEmpty(t, check(70), "still being given off")

	zone.Flow = nil
	still := check(500)
	require.Len(t, still, 1)
	assert.Contains(t, still[0].Cure, "without it the gas never goes")
}

func TestReentryAfterWhatOthersDoIsTheirs(t *testing.T) {
	zone := Zone{ID: "kilns", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5), Unoccupied: []Interval{{55, 95}}}
	codes := func(added Source) []string {
		got, err := CheckRoom(RoomCheck{Zone: zone, Standing: []Source{burstAt(60, 2)}, Sources: []Source{added}})
		require.NoError(t, err)
		var list []string
		for _, f := range got.Findings {
			list = append(list, f.Code)
		}
		return list
	}
	assert.NotContains(t, codes(burstAt(3000, 0.001)), "AIR_REENTRY")
	assert.Contains(t, codes(burstAt(60, 0.01)), "AIR_REENTRY")
}

func TestNobodyOpensAFurnaceInARoomThatIsSignedClosed(t *testing.T) {
	zone := Zone{ID: "kilns", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5), Unoccupied: []Interval{{50, 400}}}
	for name, c := range map[string]struct {
		open Interval
		said bool
	}{
		"within":        {Interval{60, 80}, true},
		"over the end":  {Interval{390, 410}, true},
		"up to it":      {Interval{40, 50}, false},
		"from its end":  {Interval{400, 410}, false},
		"long before":   {Interval{-10, 0}, false},
		"over it whole": {Interval{0, 500}, true},
	} {
		source := burstAt(60, 0.001)
		source.DoorOpen = []Interval{c.open}
		got, err := CheckRoom(RoomCheck{Zone: zone, Sources: []Source{source}})
		require.NoError(t, err)
		said := slices.ContainsFunc(got.Findings, func(f finding.Finding) bool { return f.Code == "AIR_OPENED_WHILE_SIGNED" })
		assert.Equal(t, c.said, said, name)
	}
}

func TestUnoccupiedTimesThatAreNone(t *testing.T) {
	zone := Zone{VolumeCubicMeters: 60, Unoccupied: []Interval{{0, 10}, {20, 20}}}
	_, err := CheckRoom(RoomCheck{Zone: zone})
	require.Error(t, err)
	assert.Equal(t, "unoccupied[1].end_minute", finding.FaultsOf(err)[0].Field)
}

func TestFirstBelowAndFirstAboveAgainstSampling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		curves, err := Curves(drawZone(t), drawSources(t, "sources"))
		require.NoError(t, err)
		for _, curve := range curves {
			peak, _ := curve.Peak()
			level := curve.background + rapid.Float64Range(0.02, 0.98).Draw(t, "level")*(peak-curve.background)
			from := float64(rapid.IntRange(-20, 600).Draw(t, "from"))
			if peak <= curve.background || peak < 1e-300 { // below it doubles lose figures
				continue
			}
			found := map[string]float64{}
			if minute, ok := curve.firstBelow(from, level); ok {
				found["below"] = minute
				assert.LessOrEqual(t, curve.At(minute), level*(1+1e-9))
			}
			if minute, ok := curve.firstAbove(from, level); ok {
				found["above"] = minute
				assert.GreaterOrEqual(t, curve.At(minute), level*(1-1e-9))
			}
			for minute := from; minute < 2000; minute += 0.25 {
				if below, ok := found["below"]; curve.At(minute) < level*(1-1e-9) && (!ok || below > minute+1e-6) {
					t.Fatalf("below %v at %v already, not at %v", level, minute, below)
				}
				if above, ok := found["above"]; curve.At(minute) > level*(1+1e-9) && (!ok || above > minute+1e-6) {
					t.Fatalf("above %v at %v already, not at %v", level, minute, above)
				}
			}
		}
	})
}

func TestFirstMeanAboveAgainstSampling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		curves, err := Curves(drawZone(t), drawSources(t, "sources"))
		require.NoError(t, err)
		window := rapid.SampledFrom([]float64{10, 15, 480}).Draw(t, "window")
		from := float64(rapid.IntRange(-20, 500).Draw(t, "from"))
		for _, curve := range curves {
			greatest, _ := curve.MaxMean(window)
			if greatest <= curve.background {
				continue
			}
			level := curve.background + rapid.Float64Range(0.05, 0.95).Draw(t, "level")*(greatest-curve.background)
			mean := func(ends float64) float64 { return curve.sum(ends-window, ends) / window }
			got, ok := curve.firstMeanAbove(from, window, level)
			if ok && got > from {
				assert.InEpsilon(t, level, mean(got), 1e-9)
			}
			for ends := from; ends < 2000; ends += 0.5 {
				if mean(ends) > level*(1+1e-9) && (!ok || got > ends+1e-6) {
					t.Fatalf("%v over %v min is passed at %v already, not at %v (%v)", level, window, ends, got, ok)
				}
			}
		}
	})
}
