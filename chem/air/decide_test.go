package air

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// held is a room that holds a species at a steady concentration for two days: every mean over any window is that.
// exceeds are the limits that the sources together go over in the zone, the worst first.
func exceeds(zone Zone, sources []Source, own []OwnLimit) ([]Excess, error) {
	survey, err := new(workspace).take(zone, sources, own)
	if err != nil {
		return nil, err
	}
	excesses := survey.excesses()
	sortWorstFirst(excesses)
	return excesses, nil
}

func held(ppm map[string]float64) (Zone, []Source) {
	zone := Zone{ID: "kiln-room", VolumeCubicMeters: 100, MixingFactor: 1, InitialPPM: ppm}
	return zone, nil
}

func has(excesses []Excess, limit Limit) bool {
	return slices.ContainsFunc(excesses, func(e Excess) bool { return e.Limit == limit })
}

// Each limit of each species: just below, exactly at, just above.
func TestEachLimitAcceptsToItsBoundary(t *testing.T) {
	for species, limits := range limitTable() {
		for _, limit := range limits {
			for factor, over := range map[float64]bool{0.999: false, 1: false, 1.001: true} {
				zone, sources := held(map[string]float64{species: limit.PPM * factor})
				excesses, err := exceeds(zone, sources, nil)
				require.NoError(t, err)
				assert.Equal(t, over, has(excesses, limit), "%s at %v times %s %s", species, factor, limit.Authority, limit.Kind)
			}
		}
	}
}

// A limit over a long time is not a limit on a short burst.
func TestAveragingTimeDecides(t *testing.T) {
	zone := Zone{VolumeCubicMeters: 100, MixingFactor: 1, Flow: ConstantFlow(1)}
	burst := func(grams float64) []Excess {
		excesses, err := exceeds(zone, []Source{{Releases: []Release{{"SO2", 0, 5, grams}}}}, nil)
		require.NoError(t, err)
		return excesses
	}
	short, shift := limitOf(t, "SO2", "NIOSH", data.ShortTerm), limitOf(t, "SO2", "NIOSH", data.TimeWeighted)
	excesses := burst(5)
	assert.True(t, has(excesses, short))
	assert.False(t, has(excesses, shift), "ten hours' mean of a five-minute burst")
	assert.Equal(t, finding.Block, excesses[0].Limit.Severity, "worst first")
}

// The worked example of 29 CFR 1910.1000(d)(1)(ii): 150 ppm for 2 h, 75 ppm for 2 h, 50 ppm for 4 h is 81.25 ppm.
// The example of 1910.1000(d)(2)(ii): 500/1000 + 45/200 + 40/200 = 0.925 passes.
func TestPublishedExposureExamples(t *testing.T) {
	rows := map[string]published{}
	for _, row := range readPublished(t, "exposure-examples.csv") {
		rows[row.cells["id"]] = row
	}
	stepped := func(parts ...[2]float64) Curve { // ppm, minutes
		curve, minute := Curve{}, 0.0
		for _, p := range parts {
			curve.segments = append(curve.segments, segment{start: minute, x0: p[0]})
			minute += p[1]
		}
		curve.segments = append(curve.segments, segment{start: minute})
		curve.close()
		return curve
	}
	check := func(id string, got float64) {
		t.Run(id, func(t *testing.T) {
			assert.InDelta(t, rows[id].number("expected"), got, rows[id].number("tolerance"), rows[id].cells["source"])
		})
	}
	mean, _ := stepped([2]float64{150, 120}, [2]float64{75, 120}, [2]float64{50, 240}).MaxMean(480)
	check("twa-1", mean)
	mean, _ = stepped([2]float64{0.12, 440}).MaxMean(480)
	check("twa-2", mean)

	sum := func(parts ...[2]float64) float64 { // ppm, limit
		x := mixture{}
		for _, p := range parts {
			m := &measured{curve: stepped([2]float64{p[0], 600}), peak: p[0]}
			x.parts = append(x.parts, part{m, Limit{PPM: p[1], AveragingMinutes: 480}})
		}
		ratio, _ := x.ratio()
		return ratio
	}
	check("mix-1", sum([2]float64{500, 1000}, [2]float64{45, 200}, [2]float64{40, 200}))
	osha := func(species string) float64 { return limitOf(t, species, "OSHA", data.TimeWeighted).PPM }
	check("mix-2", sum([2]float64{2, osha("SO2")}, [2]float64{20, osha("CO")}))
}

// Two gases that each pass can fail together: 29 CFR 1910.1000(d)(2).
func TestMixture(t *testing.T) {
	for share, over := range map[float64]bool{0.49: false, 0.5: false, 0.51: true} {
		zone, sources := held(map[string]float64{
			"SO2": share * limitOf(t, "SO2", "NIOSH", data.TimeWeighted).PPM,
			"CO":  share * limitOf(t, "CO", "NIOSH", data.TimeWeighted).PPM,
		})
		excesses, err := exceeds(zone, sources, nil)
		require.NoError(t, err)
		found := slices.ContainsFunc(excesses, func(e Excess) bool { return e.Limit.Kind == MixtureShift })
		assert.Equal(t, over, found, "each at %v of its limit", share)
		for _, e := range excesses {
			if e.Limit.Kind == MixtureShift {
				assert.InDelta(t, 2*share, e.Ratio, 1e-9)
				assert.Equal(t, "AIR_MIXTURE", e.Code())
			}
		}
	}
}

// Gases that peak at different times do not add up their peaks.
func TestMixtureAddsMomentByMoment(t *testing.T) {
	zone := Zone{VolumeCubicMeters: 100, MixingFactor: 1, Flow: ConstantFlow(1)}
	survey, err := new(workspace).take(zone, []Source{{Releases: []Release{{"SO2", 0, 15, 2}, {"CO", 1000, 1015, 10}}}}, nil)
	require.NoError(t, err)
	mixture := survey.mixture(MixtureShift)
	require.Len(t, mixture.parts, 2)
	ratio, _ := mixture.ratio()
	assert.Less(t, ratio, 0.6*mixture.atMost())
	apart := 0.0
	for _, p := range mixture.parts {
		apart = max(apart, p.m.mean(600).ppm/p.limit.PPM)
	}
	assert.InEpsilon(t, apart, ratio, 1e-6)
}

func TestOwnLimitRefuses(t *testing.T) {
	own := []OwnLimit{{Species: "COS", Name: "studio", Kind: data.Ceiling, PPM: 1, Source: "studio rule 7"}}
	zone, sources := held(map[string]float64{"COS": 1.5})
	excesses, err := exceeds(zone, sources, own)
	require.NoError(t, err)
	require.Len(t, excesses, 1)
	assert.Equal(t, "studio", excesses[0].Limit.Authority)
	assert.InDelta(t, 1.5, excesses[0].Ratio, 1e-12)
}

func TestExceedsNamesFaultsOfTheInput(t *testing.T) {
	good := func() (Zone, []Source) {
		return Zone{VolumeCubicMeters: 50, Flow: ConstantFlow(0.1)},
			[]Source{{Releases: []Release{{"SO2", 0, 10, 1}}, DoorOpen: []Interval{{0, 5}}}}
	}
	nan := func() float64 { zero := 0.0; return zero / zero }()
	cases := map[string]func(*Zone, *Source){
		"volume_cubic_meters":          func(z *Zone, _ *Source) { z.VolumeCubicMeters = 0 },
		"mixing_factor":                func(z *Zone, _ *Source) { z.MixingFactor = 0.5 },
		"flow[0].cubic_meters":         func(z *Zone, _ *Source) { z.Flow[0].CubicMetersPerSecond = nan },
		"flow[1].start_minute":         func(z *Zone, _ *Source) { z.Flow = append(z.Flow, z.Flow[0]) },
		"background_ppm[SO2]":          func(z *Zone, _ *Source) { z.BackgroundPPM = map[string]float64{"SO2": -1} },
		"initial_ppm[Xx]":              func(z *Zone, _ *Source) { z.InitialPPM = map[string]float64{"Xx": 1} },
		"releases[0].start_minute":     func(z *Zone, _ *Source) { z.InitialPPM, z.StartMinute = map[string]float64{"CO": 1}, 5 },
		"capture_fraction":             func(_ *Zone, s *Source) { s.CaptureFraction = 1.1 },
		"door_open_fraction":           func(_ *Zone, s *Source) { s.DoorOpenFraction = nan },
		"releases[0].grams_per_minute": func(_ *Zone, s *Source) { s.Releases[0].GramsPerMinute = -1 },
		"releases[0].end_minute":       func(_ *Zone, s *Source) { s.Releases[0].EndMinute = 0 },
		"releases[0].species":          func(_ *Zone, s *Source) { s.Releases[0].Species = "Qq3" },
		"door_open[0].end_minute":      func(_ *Zone, s *Source) { s.DoorOpen[0].EndMinute = -5 },
	}
	for want, spoil := range cases {
		t.Run(want, func(t *testing.T) {
			zone, sources := good()
			spoil(&zone, &sources[0])
			_, err := exceeds(zone, sources, nil)
			require.Error(t, err)
			faults := finding.FaultsOf(err)
			require.NotEmpty(t, faults)
			assert.True(t, slices.ContainsFunc(faults, func(f finding.Fault) bool { return strings.Contains(f.Field, want) }), err)
		})
	}
	zone, sources := good()
	_, err := exceeds(zone, sources, nil)
	assert.NoError(t, err)
}

// Exceeds and the plain comparison of every limit with every mean agree: skipping what a peak settles loses nothing.
func TestExceedsAgreesWithPlainComparison(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, sources := drawZone(t), drawSources(t, "sources")
		excesses, err := exceeds(zone, sources, nil)
		require.NoError(t, err)
		curves, err := Curves(zone, sources)
		require.NoError(t, err)
		count := 0
		for _, curve := range curves {
			for _, limit := range Limits(curve.Species()) {
				if mean, _ := curve.MaxMean(limit.AveragingMinutes); mean > limit.PPM*(1+rounding) {
					count++
					assert.True(t, has(excesses, limit), "%s %s %s", curve.Species(), limit.Authority, limit.Kind)
				}
			}
		}
		single := slices.DeleteFunc(excesses, func(e Excess) bool { return e.Limit.Species == mixtureSpecies })
		assert.Len(t, single, count)
	})
}

// crowded is a room with fifty overlapping firings, each of four releases of three species.
func crowded(grams float64) (Zone, []Source) {
	random := rand.New(rand.NewPCG(4, 2))
	zone := Zone{ID: "kiln-room", VolumeCubicMeters: 250, MixingFactor: 3, Flow: ConstantFlow(1.2)}
	sources := make([]Source, 50)
	for i := range sources {
		start := float64(random.IntN(4000))
		sources[i] = Source{Name: "kiln", CaptureFraction: 0.8, DoorOpenFraction: 0.4,
			DoorOpen: []Interval{{start, start + 10}, {start + 700, start + 730}}}
		for j := range 4 {
			for _, species := range []string{"SO2", "CO", "H2SO4"} {
				from := start + float64(j*180+random.IntN(60))
				sources[i].Releases = append(sources[i].Releases, Release{species, from, from + 150, grams * random.Float64()})
			}
		}
	}
	return zone, sources
}

func BenchmarkExceeds(b *testing.B) {
	for name, grams := range map[string]float64{"clean": 0.001, "over": 2} {
		b.Run(name, func(b *testing.B) {
			zone, sources := crowded(grams)
			for b.Loop() {
				if _, err := exceeds(zone, sources, nil); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkCheckRoom(b *testing.B) {
	zone, sources := crowded(2)
	for b.Loop() {
		if _, err := CheckRoom(RoomCheck{Zone: zone, Sources: sources}); err != nil {
			b.Fatal(err)
		}
	}
}
