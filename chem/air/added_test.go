package air

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
)

// burstAt gives off SO2 for half an hour; grams a minute.
func burstAt(minute, grams float64) Source {
	return Source{Releases: []Release{{Species: "SO2", StartMinute: minute, EndMinute: minute + 30, GramsPerMinute: grams}}}
}

var ventilated = Zone{ID: "bay", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5)}

func refuses(excesses []Excess) bool {
	return slices.ContainsFunc(excesses, func(e Excess) bool { return e.Limit.Severity == finding.Block })
}

func worsens(t testing.TB, standing, added []Source) []Excess {
	t.Helper()
	judged, err := Judge(ventilated, standing, added, nil)
	require.NoError(t, err)
	return judged.Excesses
}

func TestAWorseFiringAtAnotherTimeExcusesNothing(t *testing.T) {
	const over, far = 0.6, 600.0
	require.True(t, refuses(worsens(t, nil, []Source{burstAt(far, over)})), "the added one must be refused alone")
	morning := []Source{burstAt(0, 5*over)}
	assert.True(t, refuses(worsens(t, morning, []Source{burstAt(far, over)})))
}

func TestAWorseFiringAtAnotherTimeIsNotHeldAgainstACleanOne(t *testing.T) {
	const far = 3000.0
	clean := []Source{burstAt(far, 0.001)}
	morning := []Source{burstAt(0, 3)}
	exceeds, err := exceeds(ventilated, slices.Concat(morning, clean), nil)
	require.NoError(t, err)
	require.True(t, refuses(exceeds), "the room must be over its limit for this to show anything")
	assert.Empty(t, worsens(t, morning, clean))
	assert.Empty(t, worsens(t, morning, []Source{{Releases: []Release{{"H2O", 0, 30, 10}}}}), "another gas")
}

func TestTwoThatPassAloneAreRefusedTogether(t *testing.T) {
	const half = 0.25
	require.False(t, refuses(worsens(t, nil, []Source{burstAt(0, half)})))
	assert.True(t, refuses(worsens(t, []Source{burstAt(5, half)}, []Source{burstAt(0, half)})))
}

// With nothing standing Judge says what is over a limit at all; with more standing it never says less than the added ones alone.
func TestJudgeNeverSaysLessThanOfTheAddedAlone(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		draw := func(name string) []Source {
			var sources []Source
			for range rapid.IntRange(1, 3).Draw(rt, name) {
				sources = append(sources, burstAt(rapid.Float64Range(0, 2000).Draw(rt, "at"), rapid.Float64Range(0.01, 3).Draw(rt, "grams")))
			}
			return sources
		}
		standing, added := draw("standing"), draw("added")
		alone, err := exceeds(ventilated, added, nil)
		if err != nil {
			rt.Fatal(err)
		}
		same, together := worsens(t, nil, added), worsens(t, standing, added)
		for _, e := range alone {
			if e.Limit.Species == mixtureSpecies {
				continue
			}
			if !slices.ContainsFunc(same, func(x Excess) bool { return x.Limit == e.Limit && within1e9(x.PPM, e.PPM) }) {
				rt.Fatalf("alone %v, said %v", e, same)
			}
			if !slices.ContainsFunc(together, func(x Excess) bool { return x.Limit == e.Limit && x.PPM >= e.PPM*(1-1e-9) }) {
				rt.Fatalf("alone %v, with others %v", e, together)
			}
		}
	})
}

func within1e9(a, b float64) bool { return a >= b*(1-1e-9) && a <= b*(1+1e-9) }

func TestNearPeopleStandOnlyWhileTheDoorIsOpen(t *testing.T) {
	morning := burstAt(0, 5)
	mine := burstAt(3000, 0.001)
	mine.DoorOpen = []Interval{{StartMinute: 2990, EndMinute: 3010}}
	near, err := CheckNear(NearCheck{Zone: ventilated, Sources: []Source{mine, morning}})
	require.NoError(t, err)
	assert.Empty(t, near.Findings, "the morning's gas is gone when this door opens")
	morning.DoorOpen = []Interval{{StartMinute: 0, EndMinute: 20}}
	near, err = CheckNear(NearCheck{Zone: ventilated, Sources: []Source{mine, morning}, At: 1})
	require.NoError(t, err)
	assert.NotEmpty(t, near.Findings)
}

// Sulfur dioxide and hydrogen chloride that together pass their limits, while the standing gas was over its own hours before.
func TestAnEarlierExcessDoesNotHideAMixture(t *testing.T) {
	pair := func(minute, grams float64) Source {
		return Source{Releases: []Release{
			{Species: "SO2", StartMinute: minute, EndMinute: minute + 60, GramsPerMinute: grams},
			{Species: "HCl", StartMinute: minute, EndMinute: minute + 60, GramsPerMinute: grams * 0.57},
		}}
	}
	const far = 900.0
	grams := 0.0
	for g := 0.02; g < 1 && grams == 0; g += 0.01 { // the least that only the mixture refuses
		excesses := worsens(t, nil, []Source{pair(far, g)})
		if refuses(excesses) {
			require.Equal(t, mixtureSpecies, excesses[0].Limit.Species, "a single limit refuses first: the case shows nothing")
			grams = g
		}
	}
	require.Positive(t, grams)
	assert.True(t, refuses(worsens(t, []Source{burstAt(0, 3)}, []Source{pair(far, grams)})))
}

// What is not touched by the added gas is not counted, in a room whose gas never leaves.
func TestWhatComesAfterTheStayIsNotCounted(t *testing.T) {
	cut := Curve{segments: []segment{{start: 0, gain: 1}}}
	cut.close()
	part := cut.between(10, 20)
	peak, _ := part.Peak()
	assert.InDelta(t, 20, peak, 1e-9)
	mean, start := part.MaxMean(30)
	assert.InDelta(t, 150.0/30, mean, 1e-6, "10 to 20 over 10 of 30 minutes")
	assert.InDelta(t, 10, start, 1e-6)
}

// Where what spills fits into what the room leaves, CheckNear finds nothing.
func TestHeadroomIsEnoughForWhatFitsInIt(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		mine := burstAt(0, rapid.Float64Range(0.001, 3).Draw(rt, "grams"))
		mine.CaptureFraction, mine.DoorOpenFraction = 0.9, rapid.Float64Range(0, 1).Draw(rt, "capture")
		mine.DoorOpen = []Interval{{StartMinute: -10, EndMinute: rapid.Float64Range(0, 40).Draw(rt, "until")}}
		other := burstAt(rapid.Float64Range(-60, 60).Draw(rt, "at"), rapid.Float64Range(0, 1).Draw(rt, "others"))
		sources := []Source{mine, other}
		judgement, err := Judge(ventilated, sources[1:], sources[:1], nil)
		if err != nil {
			rt.Fatal(err)
		}
		headroom := judgement.HeadroomPPM
		spill, err := SpillPPM(mine)
		if err != nil {
			rt.Fatal(err)
		}
		near, err := CheckNear(NearCheck{Zone: ventilated, Sources: sources})
		if err != nil {
			rt.Fatal(err)
		}
		if spill["SO2"] <= headroom["SO2"] && len(near.Findings) > 0 {
			rt.Fatalf("spill %g fits into %g, found %v", spill["SO2"], headroom["SO2"], near.Findings)
		}
	})
}

// BenchmarkJudge is what is done under a booking's lock: one firing among fifty in the room.
func BenchmarkJudge(b *testing.B) {
	for name, grams := range map[string]float64{"clean": 0.001, "over": 2} {
		b.Run(name, func(b *testing.B) {
			zone, sources := crowded(grams)
			for b.Loop() {
				if _, err := Judge(zone, sources[1:], sources[:1], nil); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// No day of at most three averaging times, wherever it lies, has a mixture of more than three times the share.
func TestTheShiftShareBoundsEveryDay(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var sources []Source
		for _, species := range []string{"SO2", "CO"} {
			source := burstAt(rapid.Float64Range(0, 600).Draw(rt, "at"), rapid.Float64Range(0.01, 2).Draw(rt, "grams"))
			for k := range source.Releases {
				source.Releases[k].Species = species
			}
			sources = append(sources, source)
		}
		judgement, err := Judge(ventilated, nil, sources, nil)
		if err != nil {
			rt.Fatal(err)
		}
		survey, err := new(workspace).take(ventilated, sources, nil)
		if err != nil {
			rt.Fatal(err)
		}
		from := rapid.Float64Range(-60, 600).Draw(rt, "from")
		minutes := rapid.Float64Range(8*60, 24*60).Draw(rt, "minutes")
		mixture := 0.0
		for _, m := range survey {
			limit, _ := strictest(m.limits, refusesShift)
			mixture += m.whole.sum(from, from+minutes) / limit.AveragingMinutes / limit.PPM
		}
		if above(mixture, 3*judgement.ShiftShare) {
			rt.Fatalf("a day of %g min has %g, the share is %g", minutes, mixture, judgement.ShiftShare)
		}
	})
}
