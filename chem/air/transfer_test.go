package air

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// chain solves two rooms in a row plainly, by small Euler-like midpoint steps: the second gets flow times the first's
// concentration.
func chain(first, second Zone, sources []Source, flow float64, minutes int) []float64 {
	const h = 1.0 / 64
	rate := func(z Zone) float64 {
		return z.Flow[0].CubicMetersPerSecond * 60 / z.MixingFactor / z.VolumeCubicMeters
	}
	a, b := 0.0, 0.0
	result := []float64{0}
	for i := range minutes * 64 {
		gain := plainSpill(sources, "SO2", (float64(i)+0.5)*h) * 1000 * 24.45 / 64.058 / first.VolumeCubicMeters
		middleA := a + h/2*(gain-rate(first)*a)
		middleB := b + h/2*(flow*60/second.VolumeCubicMeters*a-rate(second)*b)
		a += h * (gain - rate(first)*middleA)
		b += h * (flow*60/second.VolumeCubicMeters*middleA - rate(second)*middleB)
		if (i+1)%64 == 0 {
			result = append(result, b)
		}
	}
	return result
}

func TestCarriedAirIsNeverTooLittle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone := func(id string) Zone {
			return Zone{ID: id, VolumeCubicMeters: rapid.Float64Range(60, 300).Draw(t, "volume"), MixingFactor: 2,
				Flow: ConstantFlow(rapid.Float64Range(0.05, 1).Draw(t, "flow"))}
		}
		first, second, sources := zone("kilns"), zone("studio"), drawSources(t, "sources")
		const flow = 0.1
		brought, err := Carry([]Space{{second, nil, nil}, {first, sources, []Transfer{{"studio", flow}}}})
		require.NoError(t, err)
		require.Len(t, brought["studio"], 1)
		assert.Equal(t, "air from kilns", brought["studio"][0].Name)
		plain := chain(first, second, sources, flow, 900)
		highest := slices.Max(plain)
		giver, err := Curves(first, sources)
		require.NoError(t, err)
		given, _ := giver[len(giver)-1].Peak() // SO2 comes last
		left := carriedLeastShare * given * flow * second.MixingFactor / second.Flow[0].CubicMetersPerSecond
		curves, err := Curves(second, brought["studio"])
		require.NoError(t, err)
		for _, curve := range curves {
			if curve.Species() != "SO2" {
				continue
			}
			for minute := 0; minute <= 600; minute += 7 {
				got := curve.At(float64(minute))
				assert.GreaterOrEqual(t, got, plain[minute]-left-1e-4*highest, "minute %d", minute)
			}
			peak, _ := curve.Peak()
			assert.LessOrEqual(t, peak, 1.06*highest+1e-9, "and by a few per cent at most too much")
		}
	})
}

func TestCarryGoesOnAndRefusesCircles(t *testing.T) {
	zone := func(id string) Zone {
		return Zone{ID: id, VolumeCubicMeters: 100, MixingFactor: 1, Flow: ConstantFlow(0.5)}
	}
	source := []Source{{Name: "kiln", Releases: []Release{{"CO", 0, 60, 5}}}}
	spaces := []Space{
		{zone("third"), nil, nil},
		{zone("second"), nil, []Transfer{{"third", 0.1}}},
		{zone("first"), source, []Transfer{{"second", 0.1}}},
	}
	brought, err := Carry(spaces)
	require.NoError(t, err)
	one, two := only(t, spaces[1].Zone, brought["second"]), only(t, spaces[0].Zone, brought["third"])
	first, _ := only(t, spaces[2].Zone, source).Peak()
	second, _ := one.Peak()
	third, _ := two.Peak()
	assert.Greater(t, first, 4*second)
	assert.Greater(t, second, 4*third)
	assert.Positive(t, third)

	spaces[0].Transfers = []Transfer{{"first", 0.1}}
	_, err = Carry(spaces)
	assert.ErrorContains(t, err, "circle among third, second, first")
	spaces[0].Transfers = []Transfer{{"cellar", 0.1}}
	_, err = Carry(spaces)
	assert.ErrorContains(t, err, `spaces[0].transfers[0].to_room: there is no room "cellar"`)
	spaces[0].Transfers = []Transfer{{"first", -0.1}}
	_, err = Carry(spaces)
	assert.ErrorContains(t, err, "cubic_meters_per_second")
	spaces[0].Zone.ID = "second"
	_, err = Carry(spaces)
	assert.ErrorContains(t, err, "twice")
}

// A room without any flow keeps its gas: what it passes on ends all the same.
func TestCarryFromAStillRoomEnds(t *testing.T) {
	still := Zone{ID: "still", VolumeCubicMeters: 100}
	brought, err := Carry([]Space{
		{still, []Source{{Releases: []Release{{"CO", 0, 60, 5}}}}, []Transfer{{"next", 0.1}}},
		{Zone{ID: "next", VolumeCubicMeters: 100, Flow: ConstantFlow(1)}, nil, nil},
	})
	require.NoError(t, err)
	last := brought["next"][0].Releases[len(brought["next"][0].Releases)-1]
	assert.Equal(t, 60+carriedStayMinutes, last.EndMinute)
}

// A trace released while far more stops leaves a rounding error larger than itself: the gain must not turn negative,
// or the air falls below nothing and the steps down to it never end.
func TestRoundingNeverTakesGasOutOfTheRoom(t *testing.T) {
	zone := Zone{ID: "kilns", VolumeCubicMeters: 60, Flow: ConstantFlow(1)}
	sources := []Source{{Releases: []Release{
		{"SO2", 0, 10, 0.7}, {"SO2", 1, 8, 0.1}, {"SO2", 3, 9, 0.2}, {"SO2", 5, 400, 1e-290},
	}}}
	curve := only(t, zone, sources)
	for minute := range 500 {
		assert.GreaterOrEqual(t, curve.At(float64(minute)), 0.0)
	}
	next := Zone{ID: "next", VolumeCubicMeters: 60, Flow: ConstantFlow(1)}
	brought, err := Carry([]Space{{zone, sources, []Transfer{{"next", 0.1}}}, {next, nil, nil}})
	require.NoError(t, err)
	assert.Less(t, len(brought["next"][0].Releases), 1000)
}
